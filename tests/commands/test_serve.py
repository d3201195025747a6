"""What `swingspread serve` opens, and to whom. Private addresses: RFC 1918; RFC 5737 for those
that stand for none."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import waitress

from app.cli import main
from app.commands import serve
from app.commands.serve import lan_address, listen
from imu.errors import SwingspreadError

WATCH = Path(__file__).parent / "watch_sockets.py"
SAMPLE = Path(__file__).resolve().parents[2] / "recordings" / "kim-7-iron-practice"


def test_the_dashboard_listens_on_loopback_alone() -> None:
    (listening,) = listen(None)
    with listening:
        assert listening.getsockname()[0] == "127.0.0.1"


@pytest.fixture
def other_address() -> str:
    """A second address of this machine, in place of the one in a network."""
    address = "127.0.0.2"
    with socket.socket() as probe:
        try:
            probe.bind((address, 0))
        except OSError:
            pytest.skip("this system has one loopback address only")
    return address


def test_a_port_taken_in_the_network_alone_is_passed_over(
    other_address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as taken:
        taken.bind((other_address, 0))
        taken.listen(1)
        number = taken.getsockname()[1]
        monkeypatch.setattr(serve, "FIRST_PORT", number)
        here, there = listen(None, other_address)
        with here, there:
            ports = {one.getsockname()[1] for one in (here, there)}
            assert len(ports) == 1 and number not in ports
        with pytest.raises(
            SwingspreadError, match=rf"--port {number}: cannot be used on .* and 127.0.0.2"
        ):
            listen(number, other_address)


@pytest.mark.parametrize("address", ["192.168.7.5", "10.0.0.9", "172.16.4.1", "169.254.3.3"])
def test_an_address_within_a_private_network_is_taken(address: str) -> None:
    assert lan_address(address) == address


@pytest.mark.parametrize(
    "address",
    ["0.0.0.0", "127.0.0.1", "8.8.8.8", "224.0.0.1", "somewhere", "192.168.7", "::1", "1.1.1.1:80"],
)
def test_any_other_is_refused(address: str) -> None:
    with pytest.raises(SwingspreadError, match="--lan"):
        lan_address(address)


def test_an_address_of_another_machine_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["serve", "--no-browser", "--library", str(tmp_path / "l"), "--lan", "10.255.254.253"]
    assert main(words) == 1
    assert "is that this machine's address?" in capsys.readouterr().err


@contextmanager
def running(tmp_path: Path, *words: str) -> Iterator[tuple[str, list[str]]]:
    """`swingspread` serving, watched: its address, and the sockets it reached out with."""
    log = tmp_path / "reached.txt"
    log.touch()
    environment = {
        **os.environ,
        "REACHED": str(log),
        "XDG_DATA_HOME": str(tmp_path),
        "XDG_CONFIG_HOME": str(tmp_path),
        "PYTHONUNBUFFERED": "1",
    }
    process = subprocess.Popen(
        [sys.executable, str(WATCH), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
    )
    said: list[str] = []
    assert process.stdout is not None
    try:
        for line in process.stdout:
            said.append(line)
            if line.startswith("Stop with"):
                break
        found = re.search(r"http://127\.0\.0\.1:\d+", "".join(said))
        assert found, "".join(said)
        reached: list[str] = []
        yield found[0], reached
        reached += log.read_text().splitlines()
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)


def answer(address: str) -> tuple[int, str]:
    for _ in range(50):
        try:
            with urllib.request.urlopen(address, timeout=20) as response:
                return response.status, response.read().decode()
        except urllib.error.HTTPError as refused:
            return refused.code, ""
        except urllib.error.URLError:
            time.sleep(0.1)
    raise AssertionError("nobody answers")


def test_serving_reaches_out_to_nobody(tmp_path: Path) -> None:
    """Audit hooks (PEP 578) see every name looked up and every connection asked for."""
    with running(tmp_path, "serve", "--no-browser", "--library", str(tmp_path / "l")) as (
        address,
        reached,
    ):
        assert answer(address)[0] == 200
        assert answer(f"{address}/_dash-layout")[0] == 200
        assert answer(f"{address}/_dash-dependencies")[0] == 200
    assert reached == []


@pytest.mark.parametrize(
    "words",
    [
        ["--version"],
        ["list"],
        ["plan"],
        ["sets", "list"],
        ["analyse", f".{os.sep}kim", "--out", "results"],
    ],
    ids=lambda words: words[0],
)
def test_no_command_reaches_out(tmp_path: Path, words: list[str]) -> None:
    log = tmp_path / "reached.txt"
    log.touch()
    shutil.copytree(SAMPLE, tmp_path / "kim", ignore=shutil.ignore_patterns("derived", ".*"))
    own = {name: str(tmp_path) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME")}
    ended = subprocess.run(
        [sys.executable, str(WATCH), *words],
        env={**os.environ, "REACHED": str(log), **own},
        cwd=tmp_path,
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert log.read_text() == ""


def test_the_watch_sees_what_it_should(tmp_path: Path) -> None:
    log = tmp_path / "reached.txt"
    code = (
        "import socket\n"
        "with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s: s.connect(('192.0.2.1', 9))\n"
    )
    subprocess.run(
        [sys.executable, str(WATCH), "-c", code],
        env={**os.environ, "REACHED": str(log)},
        check=False,
    )
    assert "192.0.2.1" in log.read_text()


def own_address() -> str:
    try:
        return lan_address()
    except SwingspreadError as problem:
        pytest.skip(str(problem))


def test_a_tablet_is_let_in_by_the_code_alone(tmp_path: Path) -> None:
    """Over real sockets, from this machine's address in its network."""
    own = own_address()
    from app.main import create_app
    from app.pairing import Pairing
    from app.shelf import LibraryShelf
    from app.store import Store
    from imu.recordings.library import Library

    codes: list[str] = []
    pairing = Pairing(frozenset({own}), codes.append)
    pairing.offer()

    with socket.socket() as listening:
        listening.bind((own, 0))
        listening.listen(8)
        store = Store(LibraryShelf(Library(tmp_path / "l")))
        server = waitress.create_server(create_app(store, pairing).server, sockets=[listening])

        def run() -> None:
            with contextlib.suppress(OSError):  # closed while it waits
                server.run()

        threading.Thread(target=run, daemon=True).start()
        base = f"http://{own}:{listening.getsockname()[1]}"
        try:
            assert answer(f"{base}/_dash-layout")[0] == 403
            assert "Pair this device" in answer(f"{base}/pair")[1]
            jar = urllib.request.HTTPCookieProcessor()
            opener = urllib.request.build_opener(jar)
            asked = urllib.request.Request(
                f"{base}/pair", f"code={codes[0]}".encode(), {"Origin": base}
            )
            assert opener.open(asked, timeout=20).status == 200
            assert opener.open(f"{base}/_dash-layout", timeout=20).status == 200
            assert answer(f"{base}/_dash-layout")[0] == 403
        finally:
            server.close()

"""After Ctrl-C or SIGTERM a command that serves ends, whatever it does. POSIX signals (IEEE Std
1003.1): a shell without job control starts what is in the background with SIGINT ignored."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from app.ending import INTERRUPTED, STOPPED

ROOT = Path(__file__).resolve().parents[2]

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")

MAIN_THREAD = {
    "swallows it": """
    print("there", flush=True)
    while True:
        try:
            time.sleep(0.01)
        except BaseException:
            pass
""",
    "loses it in a destructor": """
    class Dying:
        def __del__(self):
            print("there", flush=True)
            while not ending.asked:
                time.sleep(0.01)
    Dying()
    time.sleep(60)
""",
    "makes another error of it": """
    print("there", flush=True)
    try:
        time.sleep(60)
    except KeyboardInterrupt as interrupt:
        raise ImportError("initialisation failed") from interrupt
""",
    "waits for a thread at the exit": """
    threading.Thread(target=time.sleep, args=(60,)).start()
    print("there", flush=True)
    time.sleep(60)
""",
    "waits for a pool at the exit": """
    concurrent.futures.ThreadPoolExecutor().submit(time.sleep, 60)
    print("there", flush=True)
    time.sleep(60)
""",
    "waits for a lock": """
    lock = threading.Lock()
    lock.acquire()
    print("there", flush=True)
    lock.acquire()
""",
    "can say nothing more": """
    print("there", flush=True)
    os.set_blocking(2, False)
    try:
        while True:
            os.write(2, b"-" * 4096)
    except BlockingIOError:
        os.set_blocking(2, True)
    while True:
        try:
            sys.stderr.write("more")
            sys.stderr.flush()
        except BaseException:
            pass
""",
}

AROUND = """
import concurrent.futures, os, sys, threading, time
from app.ending import ending_on_signals
try:
  with ending_on_signals({grace}) as ending:
{work}
except KeyboardInterrupt:
    print("swingspread: stopped", file=sys.stderr)
    sys.exit(130)
"""

SERVED = """
import sys, threading, time
import app.shelf
def busy(*_):
    print("there", flush=True)
    while True:
        sum(range(1000))
app.shelf.LibraryShelf.analyse = busy
from app.cli import main
sys.exit(main(sys.argv[1:]))
"""
"""An analysis that neither ends nor lets itself be stopped."""


@contextmanager
def running(
    code: str, *words: str, folder: Path | None = None, ignored: bool = False
) -> Iterator[subprocess.Popen[str]]:
    """A process with its output; ignored : SIGINT ignored at its start. It is killed in the end."""
    own = {name: str(folder) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME") if folder}
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, **own},
        preexec_fn=(lambda: signal.signal(signal.SIGINT, signal.SIG_IGN)) if ignored else None,
    )
    with process:
        try:
            yield process
        finally:
            process.kill()


def wait_for(process: subprocess.Popen[str], beginning: str | tuple[str, ...]) -> str:
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith(beginning):
            return line
    raise AssertionError(process.communicate()[1])


def said_at_the_end(process: subprocess.Popen[str]) -> Sequence[str]:
    return process.communicate(timeout=30)[1].splitlines()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda one: one.name)
@pytest.mark.parametrize("what", MAIN_THREAD)
def test_it_ends_though_the_main_thread(what: str, number: signal.Signals) -> None:
    with running(AROUND.format(grace=0.3, work=MAIN_THREAD[what])) as process:
        wait_for(process, "there")
        process.send_signal(number)
        if what == "can say nothing more":
            process.wait(30)  # with nobody who reads what it says
        else:
            assert said_at_the_end(process) == [STOPPED]
        assert process.returncode == INTERRUPTED


def test_the_second_signal_ends_it_at_once() -> None:
    with running(AROUND.format(grace=3600, work=MAIN_THREAD["swallows it"])) as process:
        wait_for(process, "there")
        for number in (signal.SIGINT, signal.SIGTERM):  # of the same two, one could be lost
            process.send_signal(number)
        assert said_at_the_end(process) == [STOPPED]


def test_afterwards_signals_are_as_before() -> None:
    code = """
import signal, sys
from app.ending import ending_on_signals
before = [signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM), sys.unraisablehook]
with ending_on_signals():
    assert signal.getsignal(signal.SIGINT) is not before[0]
now = [signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM), sys.unraisablehook]
assert now == before and signal.set_wakeup_fd(-1) == -1
"""
    with running(code) as process:
        assert said_at_the_end(process) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda one: one.name)
def test_serving_ends_where_interrupts_were_ignored(tmp_path: Path, number: signal.Signals) -> None:
    words = ("serve", "--no-browser", "--library", str(tmp_path / "l"))
    with running(SERVED, *words, folder=tmp_path, ignored=True) as process:
        wait_for(process, "Stop with")
        process.send_signal(number)
        assert said_at_the_end(process) == [STOPPED]
        assert process.returncode == 0


def test_serving_ends_during_an_analysis_and_an_answer(tmp_path: Path) -> None:
    """Both in the background; the one started by the page, the other by its request."""
    code = SERVED.replace(
        "from app.cli import main",
        """import app.files, app.store
def ask(server, store):
    server.add_url_rule("/busy", view_func=busy)
    store.start([store.entries()[0].id])
app.files.add_file_routes = ask
def get():
    import urllib.request, waitress
    while "server" not in made:
        time.sleep(0.01)
    urllib.request.urlopen(f"http://127.0.0.1:{made['server'].effective_port}/busy")
made = {}
import waitress
create = waitress.create_server
def kept(*given, **named):
    made["server"] = create(*given, **named)
    return made["server"]
waitress.create_server = kept
threading.Thread(target=get, daemon=True).start()
from app.cli import main""",
    )
    words = ("serve", "--no-browser", "--library", str(tmp_path / "l"))
    with running(code, *words, folder=tmp_path) as process:
        there = [wait_for(process, ("there", "Stop with")) for _ in range(3)]
        assert len([line for line in there if line.startswith("there")]) == 2
        process.send_signal(signal.SIGINT)
        assert said_at_the_end(process) == [STOPPED]
        assert process.returncode == 0


def test_the_demo_ends_during_its_analysis(tmp_path: Path) -> None:
    words = ("demo", "--no-browser", "--library", str(tmp_path / "l"))
    with running(SERVED, *words, folder=tmp_path) as process:
        wait_for(process, "there")
        process.send_signal(signal.SIGINT)
        assert said_at_the_end(process) == [STOPPED]
        assert process.returncode == INTERRUPTED

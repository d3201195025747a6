"""A library analysed anew gives the same numbers one by one, over processes, and on a cluster;
what is done is not done again, and what is stopped goes on."""

from __future__ import annotations

import errno
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pandas as pd
import pytest

from app import reanalysing
from app.cli import main
from app.derived import cache_folder, is_kept, read_cached
from app.one_thread import ONE_THREAD
from imu.errors import SwingspreadError
from imu.recordings.library import Library
from imu.recordings.store import MANIFEST_FILE
from imu.settings import AnalysisSettings

ROOT = Path(__file__).resolve().parents[2]
NAMES = ("kim-7-iron-practice", "kim-7-iron-pressure")
SETTINGS = AnalysisSettings()


@pytest.fixture(autouse=True)
def usual_preferences(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture
def library(tmp_path: Path) -> Path:
    for name in NAMES:
        shutil.copytree(
            ROOT / "recordings" / name,
            tmp_path / "library" / name,
            ignore=shutil.ignore_patterns("derived"),
        )
    return tmp_path / "library"


@pytest.fixture(scope="module")
def serial(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pd.DataFrame]:
    """Swing tables worked out one after another, on one thread as each process has: with more,
    sums of products round differently in the last digits."""
    place = tmp_path_factory.mktemp("serial")
    found = {}
    for name in NAMES:
        shutil.copytree(
            ROOT / "recordings" / name, place / name, ignore=shutil.ignore_patterns("derived")
        )
    words = ["-m", "app.cli", "reanalyse", "--jobs", "1", "--library", str(place)]
    one_thread = dict.fromkeys(ONE_THREAD, "1")
    away = {"XDG_CONFIG_HOME": str(place / "config")}
    subprocess.run(
        [sys.executable, *words], cwd=ROOT, env={**os.environ, **one_thread, **away}, check=True
    )
    for name in NAMES:
        analysis = read_cached(place / name, SETTINGS)
        assert analysis is not None
        found[name] = analysis.swings
    return found


def check(library: Path, serial: dict[str, pd.DataFrame], exact: bool = True) -> None:
    for name, swings in serial.items():
        kept = read_cached(library / name, SETTINGS)
        assert kept is not None
        how = {"check_exact": True} if exact else {"rtol": 1e-6, "atol": 1e-6}
        pd.testing.assert_frame_equal(kept.swings, swings, **how)


def test_over_processes_the_numbers_are_the_same(
    library: Path, serial: dict[str, pd.DataFrame], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reanalyse", "--jobs", "2", "--library", str(library)]) == 0
    said = capsys.readouterr().out
    assert "2 to analyse, 0 up to date" in said and "2 analysed" in said
    check(library, serial)
    assert main(["reanalyse", "--library", str(library)]) == 0
    assert "0 to analyse, 2 up to date" in capsys.readouterr().out


def test_what_is_done_is_skipped_and_a_stop_goes_on_from_there(
    library: Path,
    serial: dict[str, pd.DataFrame],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    real = reanalysing.analyse_one
    asked: list[str] = []

    def stopping(folder: str, settings: AnalysisSettings) -> reanalysing.Done:
        asked.append(Path(folder).name)
        if len(asked) == 2:
            raise KeyboardInterrupt
        return real(folder, settings)

    monkeypatch.setattr(reanalysing, "analyse_one", stopping)
    words = ["reanalyse", "--jobs", "1", "--library", str(library)]
    assert main(words) == 130
    assert "stopped after 1 of 2" in capsys.readouterr().err
    assert [is_kept(library / name, SETTINGS) for name in asked] == [True, False]
    monkeypatch.setattr(reanalysing, "analyse_one", real)
    assert main(words) == 0
    assert "1 to analyse, 1 up to date" in capsys.readouterr().out
    check(library, serial, exact=False)


def test_a_damaged_result_is_not_up_to_date(library: Path) -> None:
    shutil.rmtree(library / NAMES[1])
    folder = cache_folder(library / NAMES[0], SETTINGS)
    folder.mkdir(parents=True)
    (folder / "analysis.json").write_text("{}")
    (folder / "swings.parquet").write_bytes(b"PAR1")
    (found,) = reanalysing.still_to_do(Library(library).entries(), SETTINGS)
    assert found == library / NAMES[0]


def test_one_that_fails_does_not_hold_up_the_rest(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (library / NAMES[1] / "club.parquet").write_bytes(b"nothing")
    assert main(["reanalyse", "--jobs", "2", "--library", str(library)]) == 1
    said = capsys.readouterr()
    assert "1 analysed" in said.out and "1 not" in said.out
    assert f"{NAMES[1]}" in said.err and "damaged" in said.err and "Traceback" not in said.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--jobs", "0"], "--jobs 0: give a number"),
        (["--jobs", "1000"], "--jobs 1000: give a number"),
        (["nobody"], "no recording 'nobody'"),
        (["player=Nobody"], "fits player=Nobody"),
    ],
)
def test_mistakes_are_told(
    library: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reanalyse", *words, "--library", str(library)]) == 1
    assert said in capsys.readouterr().err


def test_without_dask_the_mend_is_said(
    library: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = ["reanalyse", "--scheduler", "tcp://127.0.0.1:1", "--library", str(library)]
    assert main(words) == 1
    assert "install swingspread[dask]" in capsys.readouterr().err


@pytest.fixture
def cluster() -> Iterator[str]:
    distributed = pytest.importorskip("distributed", reason="Dask is an optional extra")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as running:
        yield running.scheduler_address


def test_on_a_cluster_the_numbers_are_the_same(
    library: Path,
    serial: dict[str, pd.DataFrame],
    cluster: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["reanalyse", "--scheduler", cluster, "--library", str(library)]) == 0
    assert "2 analysed" in capsys.readouterr().out
    check(library, serial)


def test_a_process_ended_from_outside_is_told_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Broken(ProcessPoolExecutor):
        def submit(self, *_: object, **__: object) -> Future:  # type: ignore[override]
            future: Future = Future()
            future.set_exception(BrokenProcessPool("a child process terminated abruptly"))
            return future

    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor", Broken)
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    with pytest.raises(SwingspreadError, match="what is done is kept"):
        list(reanalysing.on_this_machine([tmp_path], SETTINGS, 2))
    assert {name: os.environ.get(name) for name in ONE_THREAD} == before


ON_TWO = """
import sys
from pathlib import Path
from app.reanalysing import on_this_machine
from imu.settings import AnalysisSettings
list(on_this_machine([Path(word) for word in sys.argv[1:]], AnalysisSettings(), 2))
"""


def opened_with_a_reader(pipe: Path) -> int:
    """Wait until somebody reads the pipe; the descriptor of its other end (IEEE Std 1003.1: until
    then, opening it fails with ENXIO)."""
    until = time.monotonic() + 60
    while True:
        try:
            return os.open(pipe, os.O_WRONLY | os.O_NONBLOCK)
        except OSError as problem:
            if problem.errno != errno.ENXIO or time.monotonic() > until:
                raise
            time.sleep(0.02)


@pytest.mark.skipif(os.name == "nt", reason="pipes with a name are of POSIX")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL], ids=lambda one: one.name)
def test_the_processes_end_with_the_one_that_asked(tmp_path: Path, number: signal.Signals) -> None:
    """Each is at work on a recording that never comes: its manifest is a pipe nobody writes to."""
    folders = [tmp_path / name for name in ("one", "two")]
    for folder in folders:
        folder.mkdir()
        os.mkfifo(folder / MANIFEST_FILE)
    asking = subprocess.Popen([sys.executable, "-c", ON_TWO, *map(str, folders)], cwd=ROOT)
    ends = []
    try:
        ends = [opened_with_a_reader(folder / MANIFEST_FILE) for folder in folders]
        asking.send_signal(number)
        asking.wait(20)
        for end in ends:
            gone = select.poll()
            gone.register(end, 0)
            assert gone.poll(20_000), "a process goes on without the one that asked"
    finally:
        asking.kill()
        asking.wait()
        for end in ends:
            os.close(end)  # whoever still reads comes to the end of the pipe

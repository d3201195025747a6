"""Files after a process was killed at any file operation, on a full disk, in a folder that may not
be written, under two processes at once, from other versions, and with damaged caches."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
from pathlib import Path

import pytest
from kept_library import add_analysed

from app.derived import cache_folder, read_cached
from app.recording import RecordingDesk
from app.shelf import LibraryShelf
from app.store import Store
from imu.errors import SwingspreadError
from imu.recorder.folder import new_folder
from imu.recordings import notes, saved_sets
from imu.recordings.library import Library
from imu.recordings.notes import read_notes
from imu.recordings.saved_sets import read_saved_sets
from imu.settings import AnalysisSettings
from imu.types import Club, Manifest, Player

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


@pytest.mark.skipif(sys.platform == "win32", reason="processes are forked")
def test_no_fault_leaves_anything_but_the_old_or_the_new() -> None:
    done = subprocess.run(
        [sys.executable, str(HERE / "faults.py")], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["wrong"] == []
    assert found["kills"] >= 70 and found["full disks"] == 33 and found["locked folders"] == 11


TWO = """
import sys
from dataclasses import replace
from app.derived import keep, read_cached
from imu.recordings.saved_sets import SavedSet, update_saved_sets
from imu.settings import AnalysisSettings
from imu.variation.selection import Selection
from pathlib import Path
sys.path.insert(0, {here!r})
from faults import ANALYSIS
place, mark = Path(sys.argv[1]), sys.argv[2]
for number in range(12):
    one = SavedSet(f"{{mark}}{{number}}", Selection(players=(mark,)))
    update_saved_sets(place, lambda saved: saved.with_set(one))
    keep(place / "r", AnalysisSettings(), ANALYSIS)
"""


def test_two_processes_lose_none_of_each_others_sets_and_spoil_no_cache(tmp_path: Path) -> None:
    (tmp_path / "r").mkdir()
    code = TWO.format(here=str(HERE))
    both = [
        subprocess.Popen([sys.executable, "-c", code, str(tmp_path), mark], cwd=ROOT)
        for mark in "ab"
    ]
    assert [process.wait(120) for process in both] == [0, 0]
    assert len(read_saved_sets(tmp_path).sets) == 24
    assert read_cached(tmp_path / "r", AnalysisSettings()) is not None
    assert not list((tmp_path / "r" / "derived").glob(".part-*"))


def test_a_damaged_cache_is_made_anew_and_stays_whole(tmp_path: Path, monkeypatch) -> None:
    library = Library(tmp_path / "library")
    facts = Manifest(Player("Ada"), Club("7-iron", 0.94), "one")
    entry = add_analysed(library, facts, 1)
    store = Store(LibraryShelf(library))
    whole = store.analysis(entry.id)
    assert whole is not None
    folder = cache_folder(entry.folder, store.settings)
    for spoil in (
        lambda: (folder / "swings.parquet").write_bytes(b"PAR1"),
        lambda: (folder / "analysis.json").write_text("[" * 100_000),
        lambda: (folder / "analysis.json").write_text('{"warnings": 3}'),
        lambda: (folder / "curves.parquet").unlink(),
    ):
        spoil()
        store = Store(LibraryShelf(library))
        assert store.analysis(entry.id) is None
        asked = []

        def analyse(recording, settings, progress, asked=asked):
            asked.append(recording.id)
            return whole

        monkeypatch.setattr("imu.pipeline.analyse", analyse)
        store.shelf.analyse(entry.id, store.settings, lambda part, words: None)
        assert asked == [entry.id]
        assert Store(LibraryShelf(library)).analysis(entry.id) is not None


@pytest.mark.parametrize("later", [1, 99, 10**30])
def test_files_of_a_later_version_are_refused_and_left(tmp_path: Path, later: int) -> None:
    for name, read, known in (
        ("notes.json", read_notes, notes.SCHEMA_VERSION),
        ("sets.json", read_saved_sets, saved_sets.SCHEMA_VERSION),
    ):
        text = json.dumps({"schema_version": known + later, "swings": [], "sets": {}})
        (tmp_path / name).write_text(text)
        with pytest.raises(SwingspreadError, match="later version; update swingspread"):
            read(tmp_path)
        assert (tmp_path / name).read_text() == text


def test_a_recording_of_a_later_version_is_listed_with_the_reason(tmp_path: Path) -> None:
    source = ROOT / "recordings" / "kim-7-iron-practice" / "recording.json"
    folder = tmp_path / "later"
    folder.mkdir()
    document = json.loads(source.read_text())
    document["schema_version"] = 99
    (folder / "recording.json").write_text(json.dumps(document))
    (entry,) = Library(tmp_path).entries()
    assert "later version" in entry.problem


def test_a_recording_ends_on_a_full_disk_by_a_signal_or_says_how(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = new_folder(tmp_path, Manifest(Player("Ada"), Club("7-iron", 0.94)))

    def touch(path: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "touch", touch)
    desk = RecordingDesk(tmp_path)
    with folder.hold():
        with pytest.raises(SwingspreadError, match="press Ctrl-C where it runs"):
            desk.stop()
        code = "import time; time.sleep(60)"
        desk._process = subprocess.Popen([sys.executable, "-c", code])
        desk.stop()
        assert desk._process.wait(10) != 0


def test_a_recording_that_cannot_be_started_says_why(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(SwingspreadError, match="could not be started"):
        RecordingDesk(tmp_path / "file" / "journals").start([], "library")

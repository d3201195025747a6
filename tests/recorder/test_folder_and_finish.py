"""A recording folder is held by its process, closed once, and recovered after any end."""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import MANIFEST, SERIALS, peripheral, record, sample_numbers, until

from imu.errors import SwingspreadError
from imu.recorder import folder as folders
from imu.recorder.assemble import recording_from_folder
from imu.recorder.finish import finish_all, finish_recording
from imu.recorder.folder import JournalFolder, all_folders, interrupted, new_folder, space_warning
from imu.recorder.journal import read_journal
from imu.recorder.session import RecordingSession, replayed_intake
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes, SwingNote, read_notes, update_notes
from imu.recordings.store import read_recording
from imu.simulate.virtual_link import InProcessRadio
from imu.types import CLUB, FOREARM

PROGRAM = """
import asyncio, sys
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from virtual_recordings import MANIFEST, SERIALS, peripheral
from imu.recorder.folder import new_folder
from imu.recorder.session import RecordingSession
from imu.simulate.virtual_link import InProcessRadio

async def main():
    folder = new_folder(Path(sys.argv[1]), MANIFEST)
    lock = folder.hold()
    pair = [peripheral("forearm"), peripheral("club")]
    async with InProcessRadio(pair) as radio:
        session = RecordingSession(radio, folder, SERIALS)
        print("recording", flush=True)
        await session.run()
asyncio.run(main())
"""


def start_recorder(root: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(root), str(Path(__file__).parent)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "recording"
    return process


def test_a_recording_is_closed_into_the_library_once(tmp_path: Path) -> None:
    _, folder = record(
        tmp_path / "journals", {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB)}, 4.0
    )
    library = Library(tmp_path / "library")
    assert interrupted(tmp_path / "journals") == [folder]
    before = {path: path.read_bytes() for path in folder.path.glob("*.journal")}
    finished = finish_recording(folder, library)
    again = finish_recording(folder, library)
    assert finished is not None and again is not None
    assert finished.entry.id == again.entry.id == folder.finished_id
    assert len(library.entries()) == 1
    assert interrupted(tmp_path / "journals") == []
    assert {path: path.read_bytes() for path in folder.path.glob("*.journal")} == before
    recording = read_recording(finished.entry.folder, verify=True)
    assert recording.manifest.player == MANIFEST.player
    assert recording.manifest.sensors[CLUB]["serial"] == "C0001"


def test_notes_written_while_recording_go_with_it(tmp_path: Path) -> None:
    _, folder = record(tmp_path / "journals", {CLUB: peripheral(CLUB)}, 3.0)
    note = SwingNote(2_000_000, direction="left", outcome="good")
    update_notes(folder.path, lambda notes: notes.with_swing(note))
    finished = finish_recording(folder, Library(tmp_path / "library"))
    assert finished is not None
    assert read_notes(finished.entry.folder) == RecordingNotes(swings=(note,))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
def test_a_killed_recorder_loses_at_most_a_quarter_of_a_second(tmp_path: Path) -> None:
    process = start_recorder(tmp_path)
    (folder,) = all_folders(tmp_path)
    deadline = time.monotonic() + 30.0
    while any(
        path.stat().st_size < 8000 for path in (folder.path / f"{r}.journal" for r in SERIALS)
    ):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    assert folder.held and interrupted(tmp_path) == []
    with pytest.raises(SwingspreadError, match="another process"):
        finish_recording(folder, Library(tmp_path / "library"))
    size_before = {path: path.stat().st_size for path in folder.path.glob("*.journal")}
    killed_ns = time.monotonic_ns()
    process.kill()
    process.wait()
    assert interrupted(tmp_path) == [folder]
    (finished,) = finish_all([folder], Library(tmp_path / "library"), lambda *_: None)
    assert any("interrupted" in fault for fault in finished.faults)
    recording = read_recording(finished.entry.folder)
    for role in (FOREARM, CLUB):
        stream = recording.streams[role]
        np.testing.assert_array_equal(np.diff(sample_numbers(stream)), 1)
        (path,) = folder.journals()[role]
        assert path.stat().st_size >= size_before[path]
        newest = read_journal(path).records[-1].host_ns
        assert killed_ns - newest < 250e6


def test_an_interrupted_recording_is_resumed_and_the_rest_fetched(tmp_path: Path) -> None:
    folder = new_folder(tmp_path, MANIFEST)

    async def run() -> None:
        async with InProcessRadio([peripheral(CLUB)], 4.0) as radio:
            first = RecordingSession(radio, folder, {CLUB: SERIALS[CLUB]})
            task = asyncio.create_task(first.run())
            await until(lambda: first.captures[CLUB].intake.received > 2000)
            task.cancel()
            await asyncio.wait({task})
            radio.peripherals[0].disconnect()
            await asyncio.sleep(0.5)
            second = RecordingSession(radio, folder, {CLUB: SERIALS[CLUB]}, resume=True)
            received = second.captures[CLUB].intake.received
            task = asyncio.create_task(second.run())
            await until(lambda: second.captures[CLUB].intake.received > received + 3000)
            second.stop.set()
            await task

    asyncio.run(run())
    assert len(folder.journals()[CLUB]) == 2
    recording = recording_from_folder(folder)
    assert recording is not None
    numbers = sample_numbers(recording.streams[CLUB])
    np.testing.assert_array_equal(np.diff(numbers), 1)
    assert len(numbers) > 5000
    assert replayed_intake(folder, CLUB).missing == 0


def test_a_full_disk_is_refused_before_and_told_during(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = folders.shutil.disk_usage(tmp_path)
    monkeypatch.setattr(folders.shutil, "disk_usage", lambda _: usage._replace(free=5 << 20))
    with pytest.raises(SwingspreadError, match="only 5 MB free"):
        new_folder(tmp_path, MANIFEST)
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(folders.shutil, "disk_usage", lambda _: usage._replace(free=100 << 20))
    assert "100 MB of disk left, about 54 minutes" in space_warning(tmp_path)


def test_an_unreadable_folder_is_told_and_the_others_are_finished(tmp_path: Path) -> None:
    _, good = record(tmp_path, {CLUB: peripheral(CLUB)}, 3.0)
    bad = new_folder(tmp_path, MANIFEST)
    (bad.path / "session.json").write_text("{")
    empty = new_folder(tmp_path, MANIFEST)
    told: list[str] = []
    done = finish_all(
        [bad, empty, good], Library(tmp_path / "library"), lambda f, why: told.append(why)
    )
    assert [finished.folder for finished in done] == [good]
    assert "cannot be read" in told[0] and "no sample" in told[1]


def test_accounts_are_not_taken_for_sensors(tmp_path: Path) -> None:
    folder = JournalFolder(tmp_path)
    for name in ("session", "swings.2", "club", "club.2", "belt", "swings"):
        (tmp_path / f"{name}.journal").touch()
    assert {role: [p.name for p in paths] for role, paths in folder.journals().items()} == {
        "belt": ["belt.journal"],
        "club": ["club.journal", "club.2.journal"],
    }
    assert folder.account("swings") == tmp_path / "swings.2.journal"
    assert folder.next_journal("swings") == tmp_path / "swings.3.journal"
    assert folder.next_journal("forearm").name == "forearm.journal"

"""A disk that takes its time: samples are not lost, nobody is taken for silent, others wait their
turn, and the person is told."""

from __future__ import annotations

import asyncio
import errno
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imu.errors import SwingspreadError
from imu.recorder import capture as capturing
from imu.recorder import journal as journals
from imu.recorder import session as sessions
from imu.recorder.assemble import recording_from_folder
from imu.recorder.folder import JournalFolder, interrupted, new_folder
from imu.recorder.journal import JournalWriter, Kind, read_journal
from imu.recorder.session import RecordingSession
from imu.recordings.library import Library
from imu.recordings.notes import read_notes
from imu.simulate.virtual_link import InProcessRadio
from imu.simulate.virtual_link_peripheral import VirtualPeripheral
from imu.simulate.virtual_link_sensor import CountingSource, VirtualSensor
from imu.types import CLUB, FOREARM, Club, Manifest, Player

HERE = Path(__file__).parent
FACTS = Manifest(Player("Robin Field"), Club("7-iron", 0.94))


class SlowDisk:
    """Makes every write and every forcing to the disk take its time."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, write_s: float, sync_s: float) -> None:
        self.write_s, self.sync_s = write_s, sync_s
        self.writing = threading.Event()
        real_write, real_sync = os.write, os.fsync

        def write(file: int, data: Any) -> int:
            self.writing.set()
            time.sleep(self.write_s)
            return real_write(file, data)

        def sync(file: int) -> None:
            time.sleep(self.sync_s)
            real_sync(file)

        monkeypatch.setattr(journals.os, "write", write)
        monkeypatch.setattr(journals.os, "fsync", sync)

    def go_on(self) -> None:
        """Be as quick as others from now on."""
        self.write_s = self.sync_s = 0.0


def record(
    root: Path,
    enough: Callable[[RecordingSession, list[str]], bool],
    during: Callable[[], None] = lambda: None,
) -> Any:
    """Record two virtual sensors in real time; the session, its folder, and what was told.

    during : called when both sensors send. enough : told the session and what was said of the
    disk, says when to stop.
    """
    near = [
        VirtualPeripheral(VirtualSensor(role, role, CountingSource(), seed=n), seed=n)
        for n, role in enumerate((FOREARM, CLUB))
    ]
    folder = new_folder(root, FACTS)
    told: list[str] = []

    async def run() -> RecordingSession:
        async with InProcessRadio(near, 1.0) as radio:
            session = RecordingSession(
                radio,
                folder,
                {role: role for role in (FOREARM, CLUB)},
                watcher=lambda states, warning: told.append(warning),
            )
            task = asyncio.create_task(session.run())
            await until(lambda: session.recording)
            during()
            await until(lambda: enough(session, told))
            session.stop.set()
            await asyncio.wait_for(task, 60)
            return session

    return asyncio.run(run()), folder, told


async def until(happened: Callable[[], bool], within: float = 60.0) -> None:
    async with asyncio.timeout(within):
        while not happened():
            await asyncio.sleep(0.02)


def lateness_ms(folder: JournalFolder, role: str) -> np.ndarray:
    """How much later than the promptest each sample's packet arrived."""
    recording = recording_from_folder(folder)
    assert recording is not None
    stream = recording.streams[role]
    live = np.isfinite(stream.host_time)
    delay = stream.host_time[live] - stream.time[live]
    return 1e3 * (delay - delay.min())


def test_each_write_taking_long_delays_no_packets_arrival(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SlowDisk(monkeypatch, write_s=0.5, sync_s=1.0)

    def enough(session: RecordingSession, told: list[str]) -> bool:
        done = all(one.status.received > 3000 for one in session.captures.values())
        if done:
            disk.go_on()
        return done

    session, folder, _ = record(tmp_path, enough)
    recording = recording_from_folder(folder)
    assert recording is not None
    for role in (FOREARM, CLUB):
        assert np.all(np.diff(recording.streams[role].seq) == 1)
        status = session.captures[role].status
        assert (status.breaks, status.lost, status.missing) == (0, 0, 0)
        # Waiting for the disk, packets would come in heaps 500 ms apart and more, late by half of
        # that in the middle; a busy machine delays some by so much, not half of them.
        assert np.median(lateness_ms(folder, role)) < 200.0


def test_a_disk_that_stands_still_for_seconds_is_told_and_costs_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Longer than the silence after which a link counts as broken, here set to half as usual."""
    monkeypatch.setattr(capturing, "_SILENCE", 1.5)
    monkeypatch.setattr(sessions, "SLOW_AFTER", 1.0)
    disk = SlowDisk(monkeypatch, write_s=0.0, sync_s=0.0)

    def stand_still() -> None:
        disk.write_s = disk.sync_s = 2.5
        threading.Timer(0.5, disk.go_on).start()

    def caught_up(session: RecordingSession, told: list[str]) -> bool:
        told_of = any("the disk is slow" in words for words in told)
        return told_of and all(one.journal.pending < 20_000 for one in session.captures.values())

    session, folder, told = record(tmp_path, caught_up, stand_still)
    recording = recording_from_folder(folder)
    assert recording is not None
    for role in (FOREARM, CLUB):
        assert session.captures[role].status.breaks == 0
        assert np.all(np.diff(recording.streams[role].seq) == 1)
        assert len(recording.streams[role].seq) > 2500
    assert any("the disk is slow" in words and "wait in memory" in words for words in told)


def test_appending_never_waits_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SlowDisk(monkeypatch, write_s=0.5, sync_s=0.0)
    writer = JournalWriter(tmp_path / "club.journal")
    flushing = threading.Thread(target=writer.flush)
    flushing.start()
    assert disk.writing.wait(10)
    begun = time.monotonic()
    for number in range(1000):
        writer.append(Kind.DATA, number, bytes(200))
    assert time.monotonic() - begun < 0.3 and writer.pending > 200_000
    flushing.join()
    writer.close()
    assert [r.host_ns for r in read_journal(writer.path).records] == list(range(1000))


def test_many_threads_flushing_keep_every_record_whole_and_in_order(tmp_path: Path) -> None:
    writer = JournalWriter(tmp_path / "club.journal")
    done = threading.Event()

    def flush() -> None:
        while not done.is_set():
            writer.flush()
            writer.sync()

    threads = [threading.Thread(target=flush) for _ in range(4)]
    for thread in threads:
        thread.start()
    for number in range(3000):
        writer.append(Kind.DATA, number, number.to_bytes(4, "little") * 20)
    done.set()
    for thread in threads:
        thread.join()
    writer.close()
    journal = read_journal(writer.path)
    assert [record.host_ns for record in journal.records] == list(range(3000))
    assert journal.damage == ()


def test_a_disk_that_refuses_in_the_middle_of_a_write_doubles_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real_write, chances = os.write, np.random.default_rng(4)

    def write(file: int, data: Any) -> int:
        if chances.random() < 0.3:
            raise OSError(errno.EIO, "Input/output error")
        return real_write(file, bytes(data[: int(chances.integers(1, 300))]))

    monkeypatch.setattr(journals.os, "write", write)
    writer = JournalWriter(tmp_path / "club.journal")
    for number in range(300):
        writer.append(Kind.DATA, number, bytes(50))
        writer.flush()
    while not writer.flush():
        continue
    assert [r.host_ns for r in read_journal(writer.path).records] == list(range(300))


TOGETHER = """
import json, random, sys, time
from dataclasses import replace
from pathlib import Path
sys.path.insert(0, {here!r})
from faults import NEW, OLD, SETTINGS, ANALYSIS, keep
from imu.errors import SwingspreadError
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, update_notes
place, mark = Path(sys.argv[1]), int(sys.argv[2])
chances = random.Random(mark)
waits = {{"open", "os.rename", "os.mkdir", "os.remove", "os.rmdir", "os.link"}}
sys.addaudithook(lambda event, _: time.sleep(chances.uniform(0, 0.02)) if event in waits else None)
library = Library(place)
added = library.add(NEW)[1]
for number in range(4):
    note = SwingNote((4 * mark + number) * 2_000_000, left_out=f"by {{mark}}")
    update_notes(place / OLD.id, lambda notes: notes.with_swing(note))
    keep(place / OLD.id, SETTINGS, ANALYSIS)
    assert not any(entry.problem for entry in library.entries())
print(json.dumps(added))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="processes are forked")
def test_three_processes_on_one_slow_library_lose_nothing_of_each_other(tmp_path: Path) -> None:
    """Every file operation takes up to 20 ms, each process in its own rhythm."""
    sys.path.insert(0, str(HERE))
    try:
        from faults import OLD, Library, _add_state, _keep_state
    finally:
        sys.path.remove(str(HERE))
    Library(tmp_path).add(OLD)
    code = TOGETHER.format(here=str(HERE))
    every = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path), str(mark)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=HERE.parents[1],
        )
        for mark in range(3)
    ]
    said = [process.communicate(timeout=120) for process in every]
    assert [err for _, err in said] == ["", "", ""]
    assert sorted(json.loads(out) for out, _ in said) == [False, False, True]
    assert len(read_notes(tmp_path / OLD.id).swings) == 12
    assert _add_state(tmp_path) == "r0,r1"
    assert _keep_state(tmp_path) == "3 swings"
    assert not list(tmp_path.rglob("*.part"))


NOTING = """
import sys, random, time
from pathlib import Path
from imu.errors import SwingspreadError
from imu.recordings.notes import SwingNote, update_notes
chances = random.Random(int(sys.argv[2]))
waits = {"open", "os.rename", "os.remove", "os.link"}
sys.addaudithook(lambda event, _: time.sleep(chances.uniform(0, 0.01)) if event in waits else None)
print("begun", flush=True)
for number in range(10_000):
    note = SwingNote(number * 2_000_000, "left")
    try:
        update_notes(sys.argv[1], lambda notes: notes.with_swing(note))
    except SwingspreadError as problem:
        print("refused", problem)
        break
"""


@pytest.mark.skipif(sys.platform == "win32", reason="folders in use cannot be renamed there")
@pytest.mark.parametrize("seed", range(3))
def test_a_recording_deleted_while_another_process_notes_on_it_leaves_nothing(
    tmp_path: Path, seed: int, small_recording: Any
) -> None:
    library = Library(tmp_path / "library")
    entry, _ = library.add(small_recording(FACTS, seed))
    writer = subprocess.Popen(
        [sys.executable, "-c", NOTING, str(entry.folder), str(seed)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=HERE.parents[1],
    )
    assert writer.stdout is not None and writer.stdout.readline() == "begun\n"
    while not read_notes(entry.folder).swings:
        time.sleep(0.005)
    library.delete(entry)
    out, err = writer.communicate(timeout=60)
    assert err == "" and out.startswith("refused")
    assert list(library.path.iterdir()) == []


@pytest.fixture
def slow_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever has got a lock is held up with it by the disk."""
    fcntl = pytest.importorskip("fcntl")
    real = fcntl.flock

    def flock(file: Any, kind: int) -> None:
        real(file, kind)
        time.sleep(0.01)

    monkeypatch.setattr(fcntl, "flock", flock)


def test_whoever_looks_on_does_not_keep_the_recorder_out(tmp_path: Path, slow_locks: None) -> None:
    """The page asks several times a second whether a folder is held, just when a recording begins
    to hold it."""
    folder = new_folder(tmp_path, FACTS)
    folder.hold().close()
    done, seen = threading.Event(), []

    def look() -> None:
        while not done.is_set():
            seen.append(folder.held)
            time.sleep(0.01)

    lookers = [threading.Thread(target=look) for _ in range(2)]
    for looker in lookers:
        looker.start()
    try:
        for _ in range(20):
            folder.hold().close()
    finally:
        done.set()
        for looker in lookers:
            looker.join()
    assert len(seen) > 20
    with folder.hold():
        assert folder.held
        with pytest.raises(SwingspreadError, match="another process"):
            folder.hold()
    assert not folder.held


def test_lookers_do_not_take_each_other_for_a_recording(tmp_path: Path, slow_locks: None) -> None:
    folder = new_folder(tmp_path, FACTS)
    folder.hold().close()
    seen: list[bool] = []
    threads = [
        threading.Thread(target=lambda: seen.extend(folder.held for _ in range(20)))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(seen) == 80 and not any(seen)


@pytest.mark.skipif(sys.platform == "win32", reason="flock")
def test_a_disk_that_cannot_lock_is_named_not_taken_for_a_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    folder = new_folder(tmp_path, FACTS)
    folder.hold().close()

    def flock(*_: Any) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", flock)
    assert not folder.held
    assert interrupted(tmp_path) == [folder]
    with pytest.raises(SwingspreadError, match="this disk cannot lock files"):
        folder.hold()

"""A recording being made: all sensors at once, safe on disk, with a running account.

Whoever looks on (the command's own screen, a page in another process) reads the session
journal, one JSON event a record with a ``type``: status, end.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

import imu
from imu.recorder.capture import CaptureStatus, SensorCapture
from imu.recorder.folder import (
    BYTES_PER_SENSOR_SECOND,
    STOP_FILE,
    JournalFolder,
    space_warning,
)
from imu.recorder.intake import Intake
from imu.recorder.journal import JournalWriter, Kind, read_journal
from imu.recorder.packet import Packet, decode_packet
from imu.recorder.profile import SensorInfo, decode_info
from imu.recorder.radio import Radio

SYNC_EVERY = 0.2
STATUS_EVERY = 0.5
SPACE_EVERY = 10.0
START_PATIENCE = 20.0
"""s in which every sensor should send its first sample; a limit of time does not wait longer."""
SLOW_AFTER = 2.0
"""s of samples not yet taken by the disk from which it is called slow."""

Watcher = Callable[[dict[str, CaptureStatus], str], None]
"""Told how every sensor is doing, and a warning about the disk ("" when there is none)."""


class RecordingSession:
    """Records the given sensors into a folder until told to stop.

    sensors : role → serial. addresses : role → where that sensor was heard. rate_hz : asked of
    all of them; None leaves each as it is. watcher : told the state about twice a second.
    resume : go on with earlier journals of the folder, fetching what the sensors still hold.
    """

    def __init__(
        self,
        radio: Radio,
        folder: JournalFolder,
        sensors: Mapping[str, str],
        *,
        addresses: Mapping[str, str] | None = None,
        rate_hz: int | None = None,
        watcher: Watcher | None = None,
        resume: bool = False,
    ) -> None:
        self.folder = folder
        self.started_ns = time.monotonic_ns()
        self.stop = asyncio.Event()
        self.disk_warning = ""
        self._watcher = watcher
        self._journal = JournalWriter(folder.next_journal("session"))
        self._lock = asyncio.Lock()
        self.captures = {
            role: SensorCapture(
                radio,
                self._lock,
                role,
                serial,
                self._sensor_journal(role, serial),
                address=(addresses or {}).get(role, ""),
                rate_hz=rate_hz,
                intake=replayed_intake(folder, role) if resume else None,
            )
            for role, serial in sensors.items()
        }

    def _sensor_journal(self, role: str, serial: str) -> JournalWriter:
        journal = JournalWriter(self.folder.next_journal(role))
        about = {
            "program": f"swingspread {imu.__version__}",
            "role": role,
            "serial": serial,
            "started_ns": self.started_ns,
            "wall_clock": datetime.now().astimezone().isoformat(),
        }
        journal.append_json(Kind.ABOUT, time.monotonic_ns(), about)
        journal.flush()
        return journal

    def event(self, kind: str, **facts: Any) -> None:
        """Add an event to the session journal for whoever looks on; written within SYNC_EVERY."""
        self._journal.append_json(Kind.EVENT, time.monotonic_ns(), {"type": kind, **facts})

    async def run(self, seconds: float | None = None) -> None:
        """Record until ``stop`` is set, the stop file appears, or ``seconds`` have passed since
        every sensor sends, or since START_PATIENCE when one is silent by then. One sensor's failure
        does not end the others; a full disk is waited for, with what it has not taken yet."""
        with contextlib.suppress(OSError):
            (self.folder.path / STOP_FILE).unlink(missing_ok=True)
        tasks = [asyncio.create_task(capture.run(self.stop)) for capture in self.captures.values()]
        beside = {asyncio.create_task(self._keep(seconds)), asyncio.create_task(self._store())}
        for one in beside:  # they end by being cancelled; whatever else ends one ends the recording
            one.add_done_callback(lambda _: self.stop.set())
        try:
            results = await asyncio.gather(*tasks, return_exceptions=True)
            while self._untaken() and not any(one.done() for one in beside):
                await asyncio.sleep(SYNC_EVERY)
        finally:
            for one in beside:
                one.cancel()
            await asyncio.wait(beside)
            self._report()
            self.event("end")
            for journal in self._journals():
                await asyncio.to_thread(journal.close)
        ended_beside = [one.exception() for one in beside if not one.cancelled()]
        for failure in (*results, *ended_beside):
            if isinstance(failure, BaseException):
                raise failure

    def _journals(self) -> list[JournalWriter]:
        return [capture.journal for capture in self.captures.values()] + [self._journal]

    async def _store(self) -> None:
        """Keep what was recorded safe from a power cut, and watch the disk's space. A slow disk
        holds up this task alone."""
        space_due = 0.0
        while True:
            now = time.monotonic()
            for journal in self._journals():
                await asyncio.to_thread(_flush_and_sync, journal)
            if now >= space_due:
                sensors = len(self.captures)
                self.disk_warning = await asyncio.to_thread(
                    space_warning, self.folder.path, sensors
                )
                space_due = now + SPACE_EVERY
            await asyncio.sleep(max(0.01, SYNC_EVERY - (time.monotonic() - now)))

    async def _keep(self, seconds: float | None) -> None:
        """Tell how things are, and see when to stop."""
        status_due = 0.0
        deadline: float | None = None
        patience_ends = time.monotonic() + START_PATIENCE
        while True:
            now = time.monotonic()
            if now >= status_due:
                self._report()
                status_due = now + STATUS_EVERY
            if deadline is None and seconds is not None:
                deadline = now + seconds if self.recording or now >= patience_ends else None
            due = deadline is not None and now >= deadline
            if due or await asyncio.to_thread(lambda: self.folder.stop_asked):
                self.stop.set()
            await asyncio.sleep(max(0.01, SYNC_EVERY - (time.monotonic() - now)))

    @property
    def recording(self) -> bool:
        """True once every sensor sends."""
        return all(capture.intake.received for capture in self.captures.values())

    def _slow_disk(self) -> str:
        waiting = sum(capture.journal.pending for capture in self.captures.values())
        seconds = waiting / (BYTES_PER_SENSOR_SECOND * max(1, len(self.captures)))
        if seconds < SLOW_AFTER:
            return ""
        return f"the disk is slow: {seconds:.0f} s of samples wait in memory to be written"

    def _untaken(self) -> bool:
        """True while memory alone holds what the disk has refused."""
        return any(journal.refused and journal.pending for journal in self._journals())

    def _refused(self) -> str:
        """Why the disk takes nothing; empty when it does."""
        journals = self._journals()
        words = next((journal.refused for journal in journals if journal.refused), "")
        if words and any(journal.dropped for journal in journals):
            words += "; memory is full too, and what came since is lost"
        if words and self.stop.is_set():
            words += "; ending waits for that (Ctrl-C: end at once, without the rest)"
        return words

    def _report(self) -> None:
        warning = self._refused() or self._slow_disk() or self.disk_warning
        states = {role: capture.status for role, capture in self.captures.items()}
        self.event("status", warning=warning, sensors={r: s.as_dict() for r, s in states.items()})
        if self._watcher is not None:
            with contextlib.suppress(OSError):  # a screen that is gone ends no recording
                self._watcher(states, warning)


def _flush_and_sync(journal: JournalWriter) -> None:
    if journal.pending:
        journal.flush()
    journal.sync()


def replayed_intake(folder: JournalFolder, role: str) -> Intake:
    """The books of a sensor as its journals so far leave them."""
    intake = Intake()
    for path in folder.journals().get(role, []):
        before: SensorInfo | None = None
        for record in read_journal(path).records:
            if record.kind is Kind.INFO:
                info = decode_info(record.payload)
                if isinstance(info, SensorInfo):
                    intake.begin(info, before or info)
                    before = info
            elif record.kind in (Kind.DATA, Kind.BACKFILL):
                packet = decode_packet(record.payload)
                if isinstance(packet, Packet):
                    intake.packet(packet, record.kind is Kind.DATA)
    return intake

"""A recording being made: all sensors at once, safe on disk, with a running account.

Whoever looks on (the command's own screen, a page in another process) reads the session
journal, one JSON event a record with a ``type``: status, swing, note, end.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

import imu
from imu.recorder.capture import CaptureStatus, PacketListener, SensorCapture
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
SLOW_AFTER = 2.0
"""s of samples not yet taken by the disk from which it is called slow."""

Watcher = Callable[[dict[str, CaptureStatus], str], None]
"""Told how every sensor is doing, and a warning about the disk ("" when there is none)."""


class RecordingSession:
    """Records the given sensors into a folder until told to stop.

    sensors : role → serial. addresses : role → where that sensor was heard. listener : hears
    every packet with something new in it. watcher : told the state about twice a second.
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
        range_code: int | None = None,
        listener: PacketListener | None = None,
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
                range_code=range_code,
                listener=listener,
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
        all sensors ran. One sensor's failure does not end the others."""
        with contextlib.suppress(OSError):
            (self.folder.path / STOP_FILE).unlink(missing_ok=True)
        tasks = [asyncio.create_task(capture.run(self.stop)) for capture in self.captures.values()]
        beside = {asyncio.create_task(self._keep(seconds)), asyncio.create_task(self._store())}
        try:
            results = await asyncio.gather(*tasks, return_exceptions=True)
        finally:
            for one in beside:
                one.cancel()
            await asyncio.wait(beside)
            self._report()
            self.event("end")
            for journal in self._journals():
                await asyncio.to_thread(journal.close)
        for failure in results:
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
        while True:
            now = time.monotonic()
            if now >= status_due:
                self._report()
                status_due = now + STATUS_EVERY
            if deadline is None and seconds is not None and self.recording:
                deadline = now + seconds
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

    def _report(self) -> None:
        refused = next((j.refused for j in self._journals() if j.refused), "")
        warning = refused or self._slow_disk() or self.disk_warning
        states = {role: capture.status for role, capture in self.captures.items()}
        self.event("status", warning=warning, sensors={r: s.as_dict() for r, s in states.items()})
        if self._watcher is not None:
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

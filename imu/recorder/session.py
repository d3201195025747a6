"""A recording being made: all sensors at once, safe on disk, with a running account.

Whoever looks on (the command's own screen, a page in another process) reads the session
journal, one JSON event a record with a ``type``: status, swing, note, end.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import imu
from imu.recorder.assemble import assemble_stream
from imu.recorder.capture import CaptureStatus, PacketListener, SensorCapture
from imu.recorder.folder import STOP_FILE, JournalFolder, space_warning
from imu.recorder.intake import Intake
from imu.recorder.journal import JournalWriter, Kind, read_journal
from imu.recorder.packet import Packet, decode_packet
from imu.recorder.profile import SensorInfo, decode_info
from imu.recorder.radio import Radio
from imu.recordings.store import make_recording
from imu.types import CLUB, FOREARM, Recording, Stream

SYNC_EVERY = 0.2
STATUS_EVERY = 0.5
SPACE_EVERY = 10.0

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
        """Add an event to the session journal for whoever looks on."""
        self._journal.append_json(Kind.EVENT, time.monotonic_ns(), {"type": kind, **facts})
        self._journal.flush()

    async def run(self, seconds: float | None = None) -> None:
        """Record until ``stop`` is set, the stop file appears, or ``seconds`` have passed since
        all sensors ran. One sensor's failure does not end the others."""
        with contextlib.suppress(OSError):
            (self.folder.path / STOP_FILE).unlink(missing_ok=True)
        tasks = [asyncio.create_task(capture.run(self.stop)) for capture in self.captures.values()]
        keeper = asyncio.create_task(self._keep(seconds))
        try:
            results = await asyncio.gather(*tasks, return_exceptions=True)
        finally:
            keeper.cancel()
            await asyncio.wait({keeper})
            self._report()
            self.event("end")
            for journal in self._journals():
                journal.close()
        for failure in results:
            if isinstance(failure, BaseException):
                raise failure

    def _journals(self) -> list[JournalWriter]:
        return [capture.journal for capture in self.captures.values()] + [self._journal]

    async def _keep(self, seconds: float | None) -> None:
        status_due = space_due = 0.0
        deadline: float | None = None
        while True:
            now = time.monotonic()
            for journal in self._journals():
                if journal.pending:
                    journal.flush()
                await asyncio.to_thread(journal.sync)
            if now >= space_due:
                self.disk_warning = space_warning(self.folder.path, len(self.captures))
                space_due = now + SPACE_EVERY
            if now >= status_due:
                self._report()
                status_due = now + STATUS_EVERY
            if deadline is None and seconds is not None and self.recording:
                deadline = now + seconds
            if self.folder.stop_asked or (deadline is not None and now >= deadline):
                self.stop.set()
            await asyncio.sleep(max(0.01, SYNC_EVERY - (time.monotonic() - now)))

    @property
    def recording(self) -> bool:
        """True once every sensor sends."""
        return all(capture.intake.received for capture in self.captures.values())

    def _report(self) -> None:
        refused = next((j.refused for j in self._journals() if j.refused), "")
        warning = refused or self.disk_warning
        states = {role: capture.status for role, capture in self.captures.items()}
        self.event("status", warning=warning, sensors={r: s.as_dict() for r, s in states.items()})
        if self._watcher is not None:
            self._watcher(states, warning)


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


def recording_from_folder(folder: JournalFolder) -> Recording | None:
    """The recording a folder holds, as far as its journals can be read; None when empty.

    Raises SwingspreadError when what was declared at its start cannot be read.
    """
    manifest = folder.manifest()
    streams: dict[str, Stream] = {}
    sensors: dict[str, dict[str, Any]] = {r: dict(f) for r, f in manifest.sensors.items()}
    faults: list[str] = []
    start_ns = None
    for role, paths in folder.journals().items():
        journals = [read_journal(path) for path in paths]
        if start_ns is None:
            start_ns = _started_ns(journals)
        assembled = assemble_stream(role, journals, start_ns)
        if assembled is None:
            faults.append(f"{role}: no sample was received")
            continue
        streams[role] = assembled.stream
        sensors[role] = sensors.get(role, {}) | assembled.facts
        faults += assembled.faults
    if not streams:
        return None
    for role in (FOREARM, CLUB):
        if role not in streams:
            faults.append(f"{role}: not recorded, so hinge, lag and release cannot be known")
    manifest = replace(manifest, sensors=sensors)
    return make_recording(manifest, streams, tuple(dict.fromkeys(faults)))


def _started_ns(journals: list[Any]) -> int:
    for journal in journals:
        for record in journal.records:
            value = record.json().get("started_ns") if record.kind is Kind.ABOUT else None
            if isinstance(value, int):
                return value
            return int(record.host_ns)
    return 0

"""One sensor from search to the last sample: connect, subscribe, start, fetch what is missing.

The radio's callback only stamps and queues; one consumer keeps the books, and a thread hands the
journal to the disk, however slow that is; the conversation with the sensor runs beside them. A
broken link is looked for again by scanning; the sensor keeps what it samples in between and sends
it on request.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from imu.recorder import profile
from imu.recorder.intake import Intake
from imu.recorder.journal import JournalWriter, Kind
from imu.recorder.packet import BackfillEnd, Flag, Packet, decode_packet
from imu.recorder.profile import CommandError, SensorInfo, State, decode_info
from imu.recorder.radio import (
    CommandRefusedError,
    Connection,
    LinkError,
    Radio,
    RadioUnavailableError,
    Sighting,
)

LOW_BATTERY = 15
_BATCH = 0.02
_SCAN = 2.0
_SILENCE = 3.0
_ANSWER = 1.0
_BATTERY_EVERY = 60.0
_LAST_FETCH = 30.0
_RETRY = 0.5


@dataclass
class CaptureStatus:
    """How one sensor is doing, for people.

    state : searching, connecting, running, fetching, stopped or failed; problem : why not.
    """

    role: str
    serial: str
    state: str = "searching"
    problem: str = ""
    firmware: str = ""
    battery: int | None = None
    rssi: int | None = None
    info: SensorInfo | None = None
    received: int = 0
    missing: int = 0
    lost: int = 0
    backfilled: int = 0
    damaged: int = 0
    breaks: int = 0
    restarts: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        info = self.info
        facts = {k: v for k, v in vars(self).items() if k != "info"}
        rates = {"rate_hz": info.rate_hz, "range_code": info.range_code} if info else {}
        return {**facts, **rates}


class SensorCapture:
    """Records one sensor into one journal.

    radio_lock : shared by all captures, so that scans and connects come one at a time.
    address : where it was heard before, for systems that do not always tell names.
    rate_hz : asked of the sensor before its first sample; None leaves it as it is.
    """

    def __init__(
        self,
        radio: Radio,
        radio_lock: asyncio.Lock,
        role: str,
        serial: str,
        journal: JournalWriter,
        *,
        rate_hz: int | None = None,
        address: str = "",
        intake: Intake | None = None,
    ) -> None:
        self.status = CaptureStatus(role, serial)
        self.journal = journal
        self.intake = intake or Intake()
        self._radio, self._lock = radio, radio_lock
        self._rate_hz = rate_hz
        self._restarts_before = self.intake.restarts
        self._queue: asyncio.Queue[tuple[Kind, int, bytes] | None] = asyncio.Queue()
        self._answer = asyncio.Event()
        self._heard = 0
        self._address = address
        self._others: set[str] = set()
        """Addresses that turned out to be other sensors."""

    async def run(self, stop: asyncio.Event) -> None:
        """Record until ``stop``; then fetch what is missing and end the journal."""
        consumer = asyncio.create_task(self._consume())
        writer = asyncio.create_task(self._write())
        finished = False
        try:
            while not finished and not self._done(stop):
                finished = await self._one_connection(stop)
        finally:
            self._queue.put_nowait(None)
            await consumer
            self._set("stopped" if finished or self.intake.received else "failed")
            self._note("recording ended", missing=self.intake.missing, lost=self.intake.lost)
            self.journal.append_json(Kind.END, time.monotonic_ns(), self.status.as_dict())
            writer.cancel()
            await asyncio.to_thread(self.journal.flush)

    def _done(self, stop: asyncio.Event) -> bool:
        """Stopped, and nothing left that a sensor out of reach could still send."""
        silent = time.monotonic_ns() - self._heard > _LAST_FETCH * 1e9
        return stop.is_set() and (not self.intake.boots or silent)

    async def _one_connection(self, stop: asyncio.Event) -> bool:
        try:
            async with self._lock:
                self._set("searching")
                sighting = await self._search(stop)
                if sighting is None:
                    return False
                self._set("connecting")
                connection = await self._radio.connect(sighting)
        except (LinkError, RadioUnavailableError) as problem:
            self._trouble(str(problem))
            await _until(stop, _RETRY)
            return False
        try:
            return await self._converse(connection, sighting, stop)
        except CommandRefusedError as problem:
            self._trouble(f"the sensor refused: {problem}")
            await _until(stop, 4 * _RETRY)
        except LinkError as problem:
            self._trouble(str(problem))
            self.status.breaks += self.status.state in ("running", "fetching")
        finally:
            await connection.close()
        return False

    async def _search(self, stop: asyncio.Event) -> Sighting | None:
        found: list[Sighting] = []

        def heard(sighting: Sighting) -> bool:
            unnamed = not sighting.serial
            known = unnamed and sighting.address == self._address
            ours = known or sighting.serial == self.status.serial
            if ours or (unnamed and sighting.address not in self._others):
                found.append(sighting)
            return ours

        scan = asyncio.create_task(self._radio.scan(_SCAN, heard))
        while not scan.done():
            await asyncio.wait({scan}, timeout=0.1)
            if self._done(stop):
                scan.cancel()
                await asyncio.wait({scan})
                return None
        scan.result()
        if not found:
            self._trouble("not heard; is it charged, switched on and near?")
            return None
        self.status.rssi = found[-1].rssi
        return found[-1]

    async def _converse(
        self, connection: Connection, sighting: Sighting, stop: asyncio.Event
    ) -> bool:
        before = await self._greet(connection, sighting)
        await connection.subscribe(profile.BACKFILL, self._sink(Kind.BACKFILL))
        await connection.subscribe(profile.DATA, self._sink(Kind.DATA))
        if stop.is_set() and self.intake.boots:  # the link broke while the rest was fetched
            self._begin(before, before)
        else:
            await connection.write(profile.CONTROL, profile.start())
            self._begin(await self._read_info(connection), before)
            self._set("running")
            self._heard = time.monotonic_ns()
            self._note("recording", serial=self.status.serial, payload=connection.payload_size)
            await self._keep_fetching(connection, stop)
        self._set("fetching")
        await connection.write(profile.CONTROL, profile.stop())
        self.intake.finish(await self._read_info(connection))
        deadline = time.monotonic() + _LAST_FETCH
        while self.intake.missing and time.monotonic() < deadline:
            await self._fetch(connection)
        return True

    def _begin(self, info: SensorInfo, before: SensorInfo) -> None:
        """Take the books up with what the sensor says it has."""
        self.intake.begin(info, before)
        restarts = self.intake.restarts - self._restarts_before
        if restarts > self.status.restarts:
            self.status.restarts = restarts
            self._note("the sensor restarted: its clock and numbering begin anew")

    async def _greet(self, connection: Connection, sighting: Sighting) -> SensorInfo:
        serial = (await connection.read(profile.SERIAL_NUMBER)).decode("utf-8", "replace")
        if serial != self.status.serial:
            self._others.add(sighting.address)
            self._address = ""
            raise LinkError(f"this is sensor {serial}, not {self.status.serial}")
        self._address = sighting.address
        self._heard = time.monotonic_ns()
        with contextlib.suppress(CommandRefusedError):
            firmware = await connection.read(profile.FIRMWARE_REVISION)
            self.status.firmware = firmware.decode("utf-8", "replace")
        await self._read_battery(connection)
        if connection.payload_size < profile.MINIMUM_PAYLOAD:
            raise LinkError(
                f"the link carries {connection.payload_size} bytes a packet, "
                f"{profile.MINIMUM_PAYLOAD} are needed; move nearer or use another adapter"
            )
        info = await self._read_info(connection)
        if self._rate_hz in (None, info.rate_hz):
            return info
        boot = self.intake.current
        if boot is not None and boot.boot_id == info.boot_id:
            self._note(f"goes on at {info.rate_hz} Hz, as it began")
            return info
        if info.state is State.SAMPLING:  # left so by a recorder that was killed
            await connection.write(profile.CONTROL, profile.stop())
        await connection.write(profile.CONTROL, profile.set_rate(self._rate_hz))
        return await self._read_info(connection)

    async def _read_info(self, connection: Connection) -> SensorInfo:
        value = await connection.read(profile.INFO)
        info = decode_info(value)
        if isinstance(info, str):
            raise LinkError(f"sensor {self.status.serial}: {info}")
        self.status.info = info
        self.journal.append(Kind.INFO, time.monotonic_ns(), value)
        return info

    async def _read_battery(self, connection: Connection) -> None:
        with contextlib.suppress(CommandRefusedError):
            value = await connection.read(profile.BATTERY_LEVEL)
            level = value[0] if value else None
            was = self.status.battery
            self.status.battery = level
            if level is not None and level <= LOW_BATTERY and (was is None or was > LOW_BATTERY):
                self._note(f"battery low: {level} %", battery=level)

    async def _keep_fetching(self, connection: Connection, stop: asyncio.Event) -> None:
        battery_due = time.monotonic() + _BATTERY_EVERY
        while not stop.is_set():
            if connection.lost.is_set():
                raise LinkError("the link dropped")
            if time.monotonic_ns() - self._heard > _SILENCE * 1e9:
                raise LinkError(f"connected, but silent for {_SILENCE:.0f} s")
            if time.monotonic() > battery_due:
                await self._read_battery(connection)
                battery_due = time.monotonic() + _BATTERY_EVERY
            if self.intake.missing:
                await self._fetch(connection)
            else:
                await _until(stop, 0.05)

    async def _fetch(self, connection: Connection) -> None:
        for request in self.intake.next_requests():
            try:
                await connection.write(profile.CONTROL, profile.backfill(*request))
            except CommandRefusedError as problem:
                if problem.code != CommandError.QUEUE_FULL:
                    raise
                break
        patience, before = _ANSWER, self.intake.backfilled
        while self.intake.waiting and patience > 0:
            if connection.lost.is_set():
                raise LinkError("the link dropped")
            self._answer.clear()
            await _until(self._answer, 0.05)
            patience = _ANSWER if self.intake.backfilled > before else patience - 0.05
            before = self.intake.backfilled
        self.intake.give_up_waiting()

    def _sink(self, kind: Kind) -> Callable[[int, bytes], None]:
        def sink(arrival_ns: int, payload: bytes) -> None:
            self._queue.put_nowait((kind, arrival_ns, payload))

        return sink

    async def _consume(self) -> None:
        while (item := await self._queue.get()) is not None:
            self._take(*item)
            while not self._queue.empty():
                item = self._queue.get_nowait()
                if item is None:
                    return
                self._take(*item)
            self._count()
            await asyncio.sleep(_BATCH)

    async def _write(self) -> None:
        """Hand the journal to the disk, without anyone waiting for it."""
        while True:
            if self.journal.pending:
                await asyncio.to_thread(self.journal.flush)
            await asyncio.sleep(_BATCH)

    def _take(self, kind: Kind, arrival_ns: int, payload: bytes) -> None:
        self.journal.append(kind, arrival_ns, payload)
        decoded = decode_packet(payload)
        self._heard = arrival_ns
        if isinstance(decoded, Packet):
            self.intake.packet(decoded, live=kind is Kind.DATA)
            if decoded.flags & Flag.LOW_BATTERY and self.status.battery is None:
                self.status.battery = LOW_BATTERY
        elif isinstance(decoded, BackfillEnd):
            self.intake.answered(decoded)
            self._answer.set()
        else:
            self.status.damaged += 1

    def _count(self) -> None:
        status, intake = self.status, self.intake
        status.received, status.missing = intake.received, intake.missing
        status.lost, status.backfilled = intake.lost, intake.backfilled

    def _set(self, state: str) -> None:
        self._count()
        self.status.state = state
        if state in ("running", "fetching"):
            self.status.problem = ""

    def _trouble(self, problem: str) -> None:
        if problem != self.status.problem:
            self._note(problem)
        self.status.problem = problem

    def _note(self, text: str, **facts: Any) -> None:
        self.journal.append_json(
            Kind.EVENT, time.monotonic_ns(), {"text": text, "state": self.status.state, **facts}
        )


async def _until(event: asyncio.Event, seconds: float) -> None:
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(event.wait(), seconds)

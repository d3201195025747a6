"""An in-process radio for virtual sensors: for tests, and where the platform has no D-Bus."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence

from imu.recorder.radio import CommandRefusedError, LinkError, Sighting, Sink
from imu.simulate.virtual_link_peripheral import CONNECTION_INTERVAL, VirtualPeripheral


class InProcessConnection:
    """A connection to a virtual sensor."""

    def __init__(self, peripheral: VirtualPeripheral) -> None:
        self.lost = asyncio.Event()
        self._peripheral = peripheral
        peripheral.on_drop = self.lost.set

    @property
    def payload_size(self) -> int:
        return self._peripheral.payload_size

    def _check(self) -> None:
        if self.lost.is_set():
            raise LinkError("the link dropped")

    async def read(self, characteristic: str) -> bytes:
        await asyncio.sleep(0)
        self._check()
        value = self._peripheral.read(characteristic)
        if isinstance(value, int):
            raise CommandRefusedError(value)
        return value

    async def write(self, characteristic: str, value: bytes) -> None:
        await asyncio.sleep(0)
        self._check()
        error = self._peripheral.write(characteristic, value)
        if error:
            raise CommandRefusedError(error)

    async def subscribe(self, characteristic: str, sink: Sink) -> None:
        await asyncio.sleep(0)
        self._check()
        self._peripheral.subscribe(
            characteristic, lambda payload: sink(time.monotonic_ns(), payload)
        )

    async def close(self) -> None:
        if not self.lost.is_set():
            self._peripheral.disconnect()
            self.lost.set()


class InProcessRadio:
    """Carries virtual sensors; use as an async context manager.

    speed : world seconds a second of the host (above 1 only for tests of what does not depend
    on arrival times).
    """

    def __init__(self, peripherals: Sequence[VirtualPeripheral], speed: float = 1.0) -> None:
        self.peripherals = list(peripherals)
        self._speed = speed
        self._task: asyncio.Task[None] | None = None

    async def __aenter__(self) -> InProcessRadio:
        self._task = asyncio.create_task(self._run())
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait({self._task})

    async def _run(self) -> None:
        start = time.monotonic()
        while True:
            world = (time.monotonic() - start) * self._speed
            for peripheral in self.peripherals:
                peripheral.tick(world)
            await asyncio.sleep(CONNECTION_INTERVAL / self._speed)

    async def scan(self, seconds: float, found: Callable[[Sighting], bool]) -> None:
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            for peripheral in self.peripherals:
                if peripheral.advertising:
                    address = f"virtual:{peripheral.sensor.serial}"
                    sighting = Sighting(address, peripheral.name, peripheral.rssi, peripheral)
                    if found(sighting):
                        return
            await asyncio.sleep(0.1 / self._speed)

    async def connect(self, sighting: Sighting) -> InProcessConnection:
        await asyncio.sleep(0.05 / self._speed)
        peripheral: VirtualPeripheral = sighting.handle
        if not peripheral.connect():
            raise LinkError("the connection could not be made")
        return InProcessConnection(peripheral)

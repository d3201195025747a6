"""A virtual sensor on the air: what a client may read, write and hear, and what goes wrong."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from imu.recorder import profile
from imu.recorder.packet import ATT_HEADER_SIZE
from imu.recorder.profile import State
from imu.simulate.virtual_link_sensor import VirtualSensor

CONNECTION_INTERVAL = 0.015
"""s between connection events, at which packets are handed over."""
READ_NOT_PERMITTED = 0x02
WRITE_NOT_PERMITTED = 0x03
"""ATT errors (Bluetooth Core Specification, Vol 3, Part F, 3.4.1.1)."""

Deliver = Callable[[bytes], None]


@dataclass(frozen=True)
class Faults:
    """What goes wrong on command. Times in s since the sensor first began to sample.

    loss : share of notifications that vanish. drops : (when, for how long) the link is gone.
    stalls : (when, for how long) packets wait and then come in a burst. resets : when the
    sensor restarts. bytes_per_second : what the link carries. refuse_connects : how many
    connection attempts fail first. garbage : share of notifications damaged. absent : nobody
    ever hears the sensor.
    """

    loss: float = 0.0
    garbage: float = 0.0
    drops: tuple[tuple[float, float], ...] = ()
    stalls: tuple[tuple[float, float], ...] = ()
    resets: tuple[float, ...] = ()
    bytes_per_second: float = 60_000.0
    refuse_connects: int = 0
    absent: bool = False


class VirtualPeripheral:
    """One sensor with its radio.

    The owner calls ``tick`` with world time at every connection event; notifications go to the
    functions given to ``subscribe``; ``on_drop`` is called when the link breaks.
    """

    def __init__(
        self,
        sensor: VirtualSensor,
        faults: Faults | None = None,
        mtu: int = 247,
        rssi: int = -58,
        seed: int = 0,
    ) -> None:
        self.sensor = sensor
        self.faults = faults or Faults()
        self.payload_size = mtu - ATT_HEADER_SIZE
        self.rssi = rssi
        self.connected = False
        self.on_drop: Callable[[], None] = lambda: None
        self.sent = self.lost = 0
        self._random = np.random.default_rng(seed)
        self._sinks: dict[str, Deliver] = {}
        self._air: deque[tuple[str, bytes]] = deque()
        self._budget = 0.0
        self._now = 0.0
        self._began = math.inf
        self._drops = deque(sorted(self.faults.drops))
        self._resets = deque(sorted(self.faults.resets))
        self._silent_until = 0.0
        self._refusals = self.faults.refuse_connects

    @property
    def name(self) -> str:
        """Advertised name."""
        return profile.NAME_PREFIX + self.sensor.serial

    @property
    def advertising(self) -> bool:
        """Whether a scan hears it."""
        heard = not self.faults.absent and self._now >= self._silent_until
        return heard and not self.connected

    def connect(self) -> bool:
        """Try to connect; False when it fails."""
        if not self.advertising:
            return False
        if self._refusals > 0:
            self._refusals -= 1
            return False
        self.connected = True
        return True

    def disconnect(self) -> None:
        """The link ends, by whichever side."""
        self.connected = False
        self._sinks.clear()
        self._air.clear()
        self.sensor.restart_live()

    def read(self, characteristic: str) -> bytes | int:
        """Value, or the ATT error."""
        sensor = self.sensor
        values: dict[str, Callable[[], bytes]] = {
            profile.INFO: sensor.info,
            profile.TIME: lambda: sensor.time_us().to_bytes(8, "little"),
            profile.SERIAL_NUMBER: lambda: sensor.serial.encode(),
            profile.FIRMWARE_REVISION: lambda: sensor.firmware.encode(),
            profile.BATTERY_LEVEL: lambda: bytes([sensor.battery]),
        }
        return values[characteristic]() if characteristic in values else READ_NOT_PERMITTED

    def write(self, characteristic: str, value: bytes) -> int:
        """Write; 0 or the ATT error."""
        if characteristic != profile.CONTROL:
            return WRITE_NOT_PERMITTED
        return self.sensor.command(value, self.payload_size, profile.DATA in self._sinks)

    def subscribe(self, characteristic: str, deliver: Deliver) -> None:
        """Switch notifications on."""
        self._sinks[characteristic] = deliver
        if characteristic == profile.DATA:
            self.sensor.restart_live()

    def unsubscribe(self, characteristic: str) -> None:
        """Switch notifications off."""
        self._sinks.pop(characteristic, None)

    def tick(self, world: float) -> None:
        """One connection event at world time ``world`` s."""
        elapsed = world - self._now
        self._now = world
        self.sensor.advance(world)
        if self.sensor.state is State.SAMPLING:
            self._began = min(self._began, world)
        since = world - self._began
        while self._resets and self._resets[0] <= since:
            self._resets.popleft()
            self._break_link(0.3)
            self.sensor.restart()
        while self._drops and self._drops[0][0] <= since:
            self._break_link(self._drops.popleft()[1])
        if not self.connected:
            return
        most = self.faults.bytes_per_second
        self._budget = min(self._budget + elapsed * most, max(2000.0, 0.1 * most))
        self._transmit()
        if not any(start <= since < start + length for start, length in self.faults.stalls):
            self._deliver()

    def _break_link(self, silence: float) -> None:
        self._silent_until = self._now + silence
        if self.connected:
            self.disconnect()
            self.on_drop()

    def _transmit(self) -> None:
        while self._budget > 0 and profile.DATA in self._sinks:
            payload = self.sensor.live_packet(self.payload_size)
            characteristic = profile.DATA
            if payload is None and profile.BACKFILL in self._sinks:
                payload = self.sensor.backfill_packet(self.payload_size)
                characteristic = profile.BACKFILL
            if payload is None:
                return
            self._budget -= len(payload) + 7
            self.sent += 1
            if self._random.random() < self.faults.loss:
                self.lost += 1
                continue
            if self._random.random() < self.faults.garbage:
                payload = self._damage(payload)
                self.lost += 1
            self._air.append((characteristic, payload))

    def _damage(self, payload: bytes) -> bytes:
        """What a faulty sensor might send: cut short, so that it is seen as damaged."""
        return payload[: int(self._random.integers(0, len(payload)))]

    def _deliver(self) -> None:
        while self._air:
            characteristic, payload = self._air.popleft()
            sink = self._sinks.get(characteristic)
            if sink is not None:
                sink(payload)

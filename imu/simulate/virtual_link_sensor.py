"""A sensor of our profile without hardware: clock, ring, commands and packets.

The same rules as the C reference in `firmware_notes/reference`, with which the tests compare it
byte for byte. Time is handed in, so a test may run it faster than life.
"""

from __future__ import annotations

import struct
from collections import deque
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from imu.recorder import profile
from imu.recorder.packet import (
    FULL_COUNT,
    BackfillEnd,
    Flag,
    encode_backfill_end,
    encode_packet,
    is_range_code,
    nominal_scales,
    samples_that_fit,
)
from imu.recorder.profile import Command, CommandError, SensorInfo, State

RATES_HZ = (100, 200, 250, 400, 500, 800, 1000)
QUEUE_LENGTH = 16


class SampleSource(Protocol):
    """What the sensor would feel."""

    def counts(self, first: int, count: int, rate_hz: int) -> NDArray[np.int16]:
        """(count, 6) counts of sample ``first`` of the world, at this rate, and those after it."""
        ...


class CountingSource:
    """Samples that tell their own number, so that a test sees any loss, repeat or swap."""

    def counts(self, first: int, count: int, rate_hz: int) -> NDArray[np.int16]:
        """(count, 6) counts: the number in the first two, and in others as a check."""
        number = np.arange(first, first + count, dtype=np.int64)
        low, high = number % 30011, number // 30011
        columns = [low, high, -low, (7 * number) % 10007, -high, (number % 2) * 100]
        return np.column_stack(columns).astype(np.int16)


@dataclass
class VirtualSensor:
    """State of one sensor.

    rate_hz : samples a second of its own clock. drift : relative error of that clock.
    clock_start_us : its clock when the world begins. capacity : samples its ring holds.
    battery : per cent.
    """

    serial: str
    role: str
    source: SampleSource
    rate_hz: int = 1000
    range_code: int = 0x45
    capacity: int = 30_000
    drift: float = 0.0
    clock_start_us: int = 1_000_000
    battery: int = 80
    seed: int = 0
    firmware: str = "1.0.0"
    state: State = State.IDLE
    blinking_until: float = 0.0
    boot_id: int = field(init=False)

    def __post_init__(self) -> None:
        self._random = np.random.default_rng(self.seed)
        self._counts = np.zeros((self.capacity, 6), dtype=np.int16)
        self._times = np.zeros(self.capacity, dtype=np.int64)
        self._flags = np.zeros(self.capacity, dtype=np.uint8)
        self._now = 0.0
        self.boot_id = 0
        self._boot_clock = -self.clock_start_us * 1e-6
        self._power_on()

    def _power_on(self) -> None:
        before = self.boot_id
        while self.boot_id in (0, before):
            self.boot_id = int(self._random.integers(1, 1 << 16))
        self.oldest_seq = self.next_seq = self.live_seq = 0
        self._next_world = 0
        self._queue: deque[tuple[int, int]] = deque()
        self._cursor: int | None = None
        self.state = State.IDLE

    def restart(self) -> None:
        """A reset: the ring is empty, the clock starts anew, sampling stops."""
        self._boot_clock = self._now
        self._power_on()

    def time_us(self, world: float | None = None) -> int:
        """The sensor's clock, now or at a world time in s."""
        elapsed = (self._now if world is None else world) - self._boot_clock
        return max(0, round(elapsed * (1.0 + self.drift) * 1e6))

    def advance(self, world: float) -> None:
        """Let world time go on to ``world`` s, taking the samples that fall due."""
        self._now = max(self._now, world)
        if self.state is not State.SAMPLING:
            return
        due = self._due()
        count = due - self._next_world
        if count <= 0:
            return
        if count > self.capacity:
            self._skip(count - self.capacity)
            count = self.capacity
        self._push(self._next_world, count)
        self._next_world = due

    def _due(self) -> int:
        """Number of the world's next sample: all before it have been taken by now."""
        return int(self._now * (1.0 + self.drift) * self.rate_hz + 1e-6) + 1

    def _skip(self, count: int) -> None:
        self._next_world += count
        self.next_seq += count

    def _push(self, first: int, count: int) -> None:
        numbers = np.arange(self.next_seq, self.next_seq + count) % self.capacity
        counts = self.source.counts(first, count, self.rate_hz)
        ticks = np.arange(first, first + count) * (1e6 / self.rate_hz)
        ticks -= self._boot_clock * (1.0 + self.drift) * 1e6
        full = np.abs(counts.astype(np.int32)) >= FULL_COUNT - 1
        flags = full[:, :3].any(axis=1) * int(Flag.ACC_CLIPPED)
        flags = flags | full[:, 3:].any(axis=1) * int(Flag.GYR_CLIPPED)
        self._counts[numbers] = counts
        self._times[numbers] = np.rint(ticks).astype(np.int64)
        self._flags[numbers] = flags
        self.next_seq += count
        self.oldest_seq = max(self.oldest_seq, self.next_seq - self.capacity)

    def info(self) -> bytes:
        """The INFO value."""
        return SensorInfo(
            self.role,
            self.range_code,
            self.state,
            self.rate_hz,
            self.boot_id,
            self.capacity,
            self.oldest_seq,
            self.next_seq,
            self.time_us(),
            *nominal_scales(self.range_code),
        ).encode()

    def restart_live(self) -> None:
        """Live data begins with the next sample: a client subscribed, or the link dropped."""
        self.live_seq = self.next_seq
        self._queue.clear()
        self._cursor = None

    def command(self, value: bytes, payload_size: int, subscribed: bool) -> int:
        """Carry out what was written to CONTROL; 0 or the ATT error to answer with."""
        if not value:
            return CommandError.BAD_LENGTH
        if value[0] not in Command._value2member_map_:
            return CommandError.UNKNOWN_COMMAND
        command, arguments = Command(value[0]), value[1:]
        sizes = {Command.SET_RATE: 2, Command.BACKFILL: 10}
        single = (Command.SET_RANGES, Command.IDENTIFY, Command.SET_ROLE)
        if len(arguments) != sizes.get(command, int(command in single)):
            return CommandError.BAD_LENGTH
        if command is Command.START:
            return self._start(payload_size, subscribed)
        if command is Command.STOP:
            self.state = State.IDLE if self.state is State.SAMPLING else self.state
        elif command is Command.IDENTIFY:
            self.blinking_until = self._now + arguments[0]
        elif command is Command.BACKFILL:
            return self._request(*struct.unpack("<HII", arguments))
        elif self.state is State.SAMPLING:
            return CommandError.WHILE_SAMPLING
        elif command is Command.ERASE:
            self.restart_live()
            self.oldest_seq = self.next_seq
        else:
            return self._change(command, arguments)
        return 0

    def _start(self, payload_size: int, subscribed: bool) -> int:
        if self.state is State.FAILED:
            return CommandError.SENSOR_FAILED
        if self.state is State.BATTERY_EMPTY:
            return CommandError.BATTERY_EMPTY
        if payload_size < profile.MINIMUM_PAYLOAD:
            return CommandError.PAYLOAD_TOO_SMALL
        if not subscribed:
            return CommandError.NOT_SUBSCRIBED
        if self.state is State.IDLE:
            self._next_world = self._due()
            self.state = State.SAMPLING
        return 0

    def _change(self, command: Command, arguments: bytes) -> int:
        number = int.from_bytes(arguments, "little")
        if command is Command.SET_RATE and number in RATES_HZ:
            self.rate_hz = number
        elif command is Command.SET_RANGES and is_range_code(number):
            self.range_code = number
        elif command is Command.SET_ROLE and number in profile.ROLE_NAMES:
            self.role = profile.ROLE_NAMES[number]
        else:
            return CommandError.BAD_VALUE
        return 0

    def _request(self, boot_id: int, seq: int, count: int) -> int:
        if len(self._queue) == QUEUE_LENGTH:
            return CommandError.QUEUE_FULL
        self._queue.append((seq, count if boot_id == self.boot_id else 0))
        return 0

    def live_packet(self, payload_size: int) -> bytes | None:
        """The next live packet, once full."""
        count = samples_that_fit(payload_size)
        flags = 0
        if count == 0:
            return None
        if self.live_seq < self.oldest_seq:
            self.live_seq = self.oldest_seq
            flags = int(Flag.OVERRUN)
        if self.next_seq - self.live_seq < count:
            return None
        payload = self._packet(self.live_seq, count, flags)
        self.live_seq += count
        return payload

    def backfill_packet(self, payload_size: int) -> bytes | None:
        """The next packet of the backfill answers, with an end mark after each."""
        count = samples_that_fit(payload_size)
        if not self._queue or count == 0:
            return None
        seq, wanted = self._queue[0]
        if self._cursor is None:
            self._cursor = seq
        self._cursor = max(self._cursor, self.oldest_seq)
        last = min(seq + wanted, self.next_seq)
        if self._cursor >= last:
            self._queue.popleft()
            self._cursor = None
            end = BackfillEnd(self.boot_id, seq, self.oldest_seq, self.next_seq)
            newest = (self.next_seq - 1) % self.capacity
            stamp = int(self._times[newest]) if self.next_seq > self.oldest_seq else 0
            return encode_backfill_end(end, stamp, self.range_code)
        count = min(count, last - self._cursor)
        payload = self._packet(self._cursor, count, int(Flag.REPEATED))
        self._cursor += count
        return payload

    def _packet(self, seq: int, count: int, flags: int) -> bytes:
        numbers = np.arange(seq, seq + count) % self.capacity
        flags |= int(np.bitwise_or.reduce(self._flags[numbers]))
        if self.battery <= 15:
            flags |= int(Flag.LOW_BATTERY)
        stamp = int(self._times[numbers[0]])
        return encode_packet(
            self.boot_id, seq, stamp, flags, self.range_code, self._counts[numbers]
        )

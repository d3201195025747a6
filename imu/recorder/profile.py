"""The sensor's GATT profile: identifiers, commands, error codes and the INFO value.

The words of the profile are in `firmware_notes/profile.md`; this module is its Python side.
"""

from __future__ import annotations

import enum
import struct
from dataclasses import dataclass

from imu.further_sensors import ROLE_CODES as FURTHER_ROLE_CODES
from imu.recorder.packet import HEADER_SIZE, SAMPLE_SIZE, is_range_code
from imu.types import CLUB, FOREARM

PROFILE_VERSION = 1
NAME_PREFIX = "Swingspread "
"""Advertised name: this prefix and the serial."""

SERVICE = "64c3581f-8633-4822-a761-dc0fa89e2cb0"
DATA = "4e8807c0-e473-47b3-ab58-89ed686b9799"
CONTROL = "0513ce37-6656-47b6-b7bd-30da35d8908b"
BACKFILL = "0b9e7037-a5d5-4a20-961f-6957b6bccd68"
TIME = "508470ab-cf07-4ab1-ad0f-22b4d1ffc494"
INFO = "d8dca8d4-053d-44f2-b3bd-09659c393cd2"


def assigned_uuid(short: int) -> str:
    """A 16-bit number of the Bluetooth Assigned Numbers in its 128-bit form."""
    return f"0000{short:04x}-0000-1000-8000-00805f9b34fb"


DEVICE_INFORMATION = assigned_uuid(0x180A)
SERIAL_NUMBER = assigned_uuid(0x2A25)
FIRMWARE_REVISION = assigned_uuid(0x2A26)
BATTERY_SERVICE = assigned_uuid(0x180F)
BATTERY_LEVEL = assigned_uuid(0x2A19)

MINIMUM_PAYLOAD = HEADER_SIZE + SAMPLE_SIZE
"""Bytes of the smallest notification that carries a sample."""


class Command(enum.IntEnum):
    """First byte written to CONTROL."""

    START = 0x01
    STOP = 0x02
    SET_RATE = 0x03
    SET_RANGES = 0x04
    IDENTIFY = 0x05
    ERASE = 0x06
    BACKFILL = 0x07
    SET_ROLE = 0x08


class CommandError(enum.IntEnum):
    """ATT application errors with which a sensor refuses a command."""

    UNKNOWN_COMMAND = 0x80
    BAD_LENGTH = 0x81
    BAD_VALUE = 0x82
    WHILE_SAMPLING = 0x83
    PAYLOAD_TOO_SMALL = 0x84
    NOT_SUBSCRIBED = 0x85
    QUEUE_FULL = 0x86
    BATTERY_EMPTY = 0x87
    SENSOR_FAILED = 0x88


COMMAND_ERROR_TEXT: dict[int, str] = {
    CommandError.UNKNOWN_COMMAND: "its firmware does not know this command",
    CommandError.BAD_LENGTH: "the command has the wrong length",
    CommandError.BAD_VALUE: "it does not offer this rate, range or role",
    CommandError.WHILE_SAMPLING: "this cannot be changed while it is sampling",
    CommandError.PAYLOAD_TOO_SMALL: "the link's packets are too small for one sample",
    CommandError.NOT_SUBSCRIBED: "nobody listens to its data yet",
    CommandError.QUEUE_FULL: "it has too many requests waiting",
    CommandError.BATTERY_EMPTY: "its battery is empty; charge it",
    CommandError.SENSOR_FAILED: "its motion chip does not answer; switch it off and on",
}


class State(enum.IntEnum):
    """What the sensor is doing."""

    IDLE = 0
    SAMPLING = 1
    BATTERY_EMPTY = 2
    FAILED = 3


ROLE_CODES: dict[str, int] = {"": 0, FOREARM: 1, CLUB: 2, **FURTHER_ROLE_CODES}
ROLE_NAMES: dict[int, str] = {code: name for name, code in ROLE_CODES.items()}

_INFO = struct.Struct("<BBBBHHIIIQff")
INFO_SIZE = _INFO.size


@dataclass(frozen=True)
class SensorInfo:
    """The INFO value.

    rate_hz : sampling rate. acc_scale, gyr_scale : one count in m/s² and rad/s.
    capacity : samples the ring holds. oldest_seq : oldest sample held. next_seq : number of
    the next new sample. time_us : sensor time when this was read.
    """

    role: str
    range_code: int
    state: State
    rate_hz: int
    boot_id: int
    capacity: int
    oldest_seq: int
    next_seq: int
    time_us: int
    acc_scale: float
    gyr_scale: float

    def encode(self) -> bytes:
        """Bytes of the INFO value."""
        return _INFO.pack(
            PROFILE_VERSION,
            ROLE_CODES[self.role],
            self.range_code,
            self.state,
            self.rate_hz,
            self.boot_id,
            self.capacity,
            self.oldest_seq,
            self.next_seq,
            self.time_us,
            self.acc_scale,
            self.gyr_scale,
        )


def decode_info(value: bytes) -> SensorInfo | str:
    """Read an INFO value; what cannot be read comes back as the reason in words.

    Longer values are accepted and their tail ignored, so that the profile can grow.
    """
    if not value:
        return "its INFO value is empty"
    if value[0] != PROFILE_VERSION:
        return f"it speaks profile version {value[0]}, this program version {PROFILE_VERSION}"
    if len(value) < INFO_SIZE:
        return f"its INFO value has {len(value)} bytes instead of {INFO_SIZE}"
    _, role, code, state, rate, boot, capacity, oldest, following, time_us, acc, gyr = (
        _INFO.unpack_from(value)
    )
    if role not in ROLE_NAMES or state not in State._value2member_map_ or not is_range_code(code):
        return f"its INFO value is out of range (role {role}, state {state}, ranges 0x{code:02x})"
    if rate == 0 or not 0.0 < acc < 100.0 or not 0.0 < gyr < 1.0:
        return f"its INFO value is out of range (rate {rate} Hz, scales {acc:g} and {gyr:g})"
    return SensorInfo(
        ROLE_NAMES[role],
        code,
        State(state),
        rate,
        boot,
        capacity,
        oldest,
        following,
        time_us,
        acc,
        gyr,
    )


def start() -> bytes:
    """Begin sampling (harmless when already sampling)."""
    return bytes([Command.START])


def stop() -> bytes:
    """Stop sampling; the ring keeps its samples."""
    return bytes([Command.STOP])


def set_rate(rate_hz: int) -> bytes:
    """Choose the sampling rate, 1 to 65535 Hz."""
    return struct.pack("<BH", Command.SET_RATE, rate_hz)


def set_ranges(code: int) -> bytes:
    """Choose the ranges by range code."""
    return bytes([Command.SET_RANGES, code])


def identify(seconds: int) -> bytes:
    """Blink for 0 (stop) to 255 seconds."""
    return bytes([Command.IDENTIFY, seconds])


def erase() -> bytes:
    """Forget the samples held."""
    return bytes([Command.ERASE])


def backfill(boot_id: int, seq: int, count: int) -> bytes:
    """Ask for ``count`` held samples from number ``seq`` of this boot."""
    return struct.pack("<BHII", Command.BACKFILL, boot_id, seq, count)


def set_role(role: str) -> bytes:
    """Tell the sensor where it is worn ("" for unset); it remembers."""
    return bytes([Command.SET_ROLE, ROLE_CODES[role]])

"""The sample packet a sensor sends, byte for byte as `firmware_notes/packet.md` lays it out.

Decoding never raises on bytes from the air: it returns a packet, the end mark of a backfill
answer, or a fault that says what is wrong.
"""

from __future__ import annotations

import enum
import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from imu.types import FloatArray
from imu.units import DEG, STANDARD_GRAVITY

PACKET_VERSION = 1
HEADER_SIZE = 16
SAMPLE_SIZE = 12
END_SIZE = HEADER_SIZE + 12
ATT_HEADER_SIZE = 3
MAX_SEQUENCE = 2**32 - 1
MAX_TIME_US = 2**48 - 1
FULL_COUNT = 32768
"""Count at which a value clips."""

ACC_RANGES_G: tuple[int, ...] = (2, 4, 8, 16, 32, 64, 100, 200, 400)
"""Full scale in g by the high half of the range code."""

GYR_RANGES_DPS: tuple[int, ...] = (125, 250, 500, 1000, 2000, 4000, 8000)
"""Full scale in °/s by the low half of the range code."""

_HEADER = struct.Struct("<BBBBIHIH")
"""version, flags, count, range code, sequence, boot id, time low 32 bits, time high 16 bits."""

_END = struct.Struct("<III")
_LITTLE_INT16 = np.dtype("<i2")


class Flag(enum.IntFlag):
    """What a sensor has to say about the samples of a packet."""

    ACC_CLIPPED = 0x01
    GYR_CLIPPED = 0x02
    SHOCK = 0x04
    OVERRUN = 0x08
    REPEATED = 0x10
    END = 0x20
    LOW_BATTERY = 0x40


KNOWN_FLAGS = 0x7F
_END_BIT = int(Flag.END)  # a plain number: read for every packet


@dataclass(frozen=True, eq=False)
class Packet:
    """Samples in counts as sent: ``counts`` is (N, 6) int16, acc xyz then gyr xyz.

    seq : number of the first sample since the sensor started; time_us : its sensor time.
    boot_id : changes with every restart of the sensor.
    """

    boot_id: int
    seq: int
    time_us: int
    flags: Flag
    range_code: int
    counts: NDArray[np.int16]

    @property
    def end_seq(self) -> int:
        """One past the number of the last sample."""
        return self.seq + len(self.counts)


@dataclass(frozen=True)
class BackfillEnd:
    """End mark of a backfill answer.

    request_seq : first sample that was asked for. oldest_seq : oldest sample still held.
    next_seq : number the next new sample will have.
    """

    boot_id: int
    request_seq: int
    oldest_seq: int
    next_seq: int


@dataclass(frozen=True)
class PacketFault:
    """Bytes that are no packet, and why."""

    reason: str
    size: int


def range_code(acc_range_g: int, gyr_range_dps: int) -> int:
    """Range code of a pair of full scales in g and °/s.

    Raises ValueError when the profile has no such range.
    """
    if acc_range_g not in ACC_RANGES_G or gyr_range_dps not in GYR_RANGES_DPS:
        raise ValueError(f"no range code for ±{acc_range_g} g and ±{gyr_range_dps} °/s")
    return ACC_RANGES_G.index(acc_range_g) << 4 | GYR_RANGES_DPS.index(gyr_range_dps)


def is_range_code(code: int) -> bool:
    """True when both halves of the code name a range of the profile."""
    return code >> 4 < len(ACC_RANGES_G) and code & 0x0F < len(GYR_RANGES_DPS)


def full_scales(code: int) -> tuple[float, float]:
    """Nominal full scale of accelerometer (m/s²) and gyroscope (rad/s) of a known range code."""
    return ACC_RANGES_G[code >> 4] * STANDARD_GRAVITY, GYR_RANGES_DPS[code & 0x0F] * DEG


def nominal_scales(code: int) -> tuple[float, float]:
    """One count in m/s² and rad/s, as a known range code names it; INFO has the sensor's own."""
    acc, gyr = full_scales(code)
    return acc / FULL_COUNT, gyr / FULL_COUNT


def describe_ranges(code: int) -> str:
    """The two ranges of a known code in words."""
    return f"±{ACC_RANGES_G[code >> 4]} g, ±{GYR_RANGES_DPS[code & 0x0F]} °/s"


def samples_that_fit(payload_size: int) -> int:
    """Samples one notification of ``payload_size`` bytes (ATT MTU less 3) can carry, 0 to 255."""
    return max(0, min(255, (payload_size - HEADER_SIZE) // SAMPLE_SIZE))


def _header(boot_id: int, seq: int, time_us: int, flags: int, code: int, count: int) -> bytes:
    if not 0 <= time_us <= MAX_TIME_US:
        raise ValueError(f"time {time_us} µs does not fit 48 bits")
    if not 0 <= seq <= MAX_SEQUENCE - count:
        raise ValueError(f"sequence {seq} with {count} samples does not fit 32 bits")
    low, high = time_us & 0xFFFFFFFF, time_us >> 32
    return _HEADER.pack(PACKET_VERSION, flags, count, code, seq, boot_id, low, high)


def encode_packet(
    boot_id: int, seq: int, time_us: int, flags: Flag | int, code: int, counts: ArrayLike
) -> bytes:
    """Bytes of one packet. counts : (N, 6) int16 with 1 to 255 samples.

    Raises ValueError when a field does not fit.
    """
    samples = np.asarray(counts, dtype=_LITTLE_INT16)
    if samples.ndim != 2 or samples.shape[1] != 6 or not 1 <= len(samples) <= 255:
        raise ValueError(f"counts: expected shape (1..255, 6), got {samples.shape}")
    if not is_range_code(code):
        raise ValueError(f"unknown range code 0x{code:02x}")
    head = _header(boot_id, seq, time_us, int(flags) & ~Flag.END, code, len(samples))
    return head + samples.tobytes()


def encode_backfill_end(end: BackfillEnd, time_us: int, code: int) -> bytes:
    """Bytes of the mark that closes a backfill answer."""
    flags = Flag.REPEATED | Flag.END
    head = _header(end.boot_id, end.request_seq, time_us, flags, code, 0)
    return head + _END.pack(end.request_seq, end.oldest_seq, end.next_seq)


def decode_packet(payload: bytes) -> Packet | BackfillEnd | PacketFault:
    """Read one notification. Never raises: what is no packet comes back as a fault."""
    size = len(payload)
    if size < HEADER_SIZE:
        return PacketFault(f"only {size} bytes, a header has {HEADER_SIZE}", size)
    version, flags, count, code, seq, boot_id, low, high = _HEADER.unpack_from(payload)
    if version != PACKET_VERSION:
        return PacketFault(f"packet version {version}, this program reads {PACKET_VERSION}", size)
    if flags & ~KNOWN_FLAGS:
        return PacketFault(f"reserved flag set (0x{flags:02x})", size)
    if flags & _END_BIT:
        if count or size != END_SIZE:
            return PacketFault(f"end mark with {count} samples in {size} bytes", size)
        return BackfillEnd(boot_id, *_END.unpack_from(payload, HEADER_SIZE))
    if not count or size != HEADER_SIZE + count * SAMPLE_SIZE:
        return PacketFault(f"{count} samples announced in {size} bytes", size)
    if not is_range_code(code):
        return PacketFault(f"unknown range code 0x{code:02x}", size)
    if seq + count > MAX_SEQUENCE:
        return PacketFault(f"sequence {seq} runs over its 32 bits", size)
    counts = np.frombuffer(payload, _LITTLE_INT16, offset=HEADER_SIZE).reshape(count, 6)
    return Packet(boot_id, seq, low | high << 32, Flag(flags), code, counts)


def to_si(
    counts: NDArray[np.int16], acc_scale: FloatArray | float, gyr_scale: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Acceleration (N, 3) m/s² and angular rate (N, 3) rad/s of counts (N, 6).

    acc_scale, gyr_scale : value of one count, the same for all or (N, 1).
    """
    values = counts.astype(np.float64)
    return values[:, :3] * acc_scale, values[:, 3:] * gyr_scale

"""From journals to a recording: every sample once, in order, in SI units, with what went wrong.

The journal is the truth and is only read. Sample times come from the packets' own clock
stamps; a sensor that restarted is joined by when its packets arrived, and the join is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imu.recorder.coverage import Coverage
from imu.recorder.journal import Journal, Kind
from imu.recorder.packet import Flag, Packet, decode_packet, full_scales, to_si
from imu.recorder.profile import SensorInfo, State, decode_info
from imu.recordings.clock import fit_clock
from imu.types import ClockModel, FloatArray, IntArray, Stream

_FULL_COUNT = 32768


@dataclass
class _Piece:
    packet: Packet
    first: int
    last: int
    host: float


@dataclass
class _Boot:
    boot_id: int
    info: SensorInfo
    coverage: Coverage = field(default_factory=Coverage)
    pieces: list[_Piece] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class AssembledStream:
    """A stream with facts for the manifest and faults in words."""

    stream: Stream
    facts: dict[str, Any]
    faults: tuple[str, ...]


def assemble_stream(
    role: str, journals: Sequence[Journal], start_ns: int
) -> AssembledStream | None:
    """Stream of one sensor from its journals in order; None when they hold no sample.

    start_ns : host time in ns that counts as 0 in ``host_time``.
    """
    boots, counts = _sort_packets(journals, start_ns)
    faults = _damage_faults(role, journals, counts)
    if not any(boot.pieces for boot in boots):
        return None
    boots = [boot for boot in boots if boot.pieces]
    parts = [_boot_samples(boot) for boot in boots]
    seq, time, host, acc, gyr = parts[0]
    for boot, later in zip(boots[1:], parts[1:], strict=True):
        shift, se, lost = _join(time, host, later[1], later[2], boot.info.rate_hz)
        faults.append(
            f"{role}: the sensor restarted at {later[1][0] + shift - time[0]:.1f} s; "
            f"{lost} samples are missing there and its clock was joined to within {se * 1e3:.0f} ms"
        )
        seq = np.r_[seq, later[0] - later[0][0] + seq[-1] + 1 + max(1, lost)]
        time = np.r_[time, later[1] + shift]
        host, acc, gyr = np.r_[host, later[2]], np.r_[acc, later[3]], np.r_[gyr, later[4]]
    forward = _increasing(time)
    if not forward.all():
        faults.append(
            f"{role}: {int((~forward).sum())} samples left out, their clock ran backwards"
        )
    info = boots[-1].info
    stream = Stream(
        role=role,
        time=np.rint(time[forward] * 1e6) / 1e6,
        acc=acc[forward],
        gyr=gyr[forward],
        seq=seq[forward],
        host_time=host[forward],
        rate_hz=float(info.rate_hz),
        acc_range=info.acc_scale * _FULL_COUNT,
        gyr_range=info.gyr_scale * _FULL_COUNT,
    )
    lost = int(stream.gaps[:, 1].sum())
    if lost:
        faults.append(f"{role}: {lost} samples lost in {len(stream.gaps)} gaps")
    facts = _facts(journals) | {"rate_hz": info.rate_hz, "restarts": len(boots) - 1} | counts
    return AssembledStream(stream, facts, tuple(faults))


def _sort_packets(journals: Sequence[Journal], start_ns: int) -> tuple[list[_Boot], dict[str, int]]:
    boots: dict[int, _Boot] = {}
    counts = {"damaged_packets": 0, "backfilled_samples": 0, "overruns": 0}
    infos: dict[int, SensorInfo] = {}
    for record in (r for journal in journals for r in journal.records if r.kind is Kind.INFO):
        info = decode_info(record.payload)
        if isinstance(info, SensorInfo):
            infos[info.boot_id] = info
    fallback = next(iter(infos.values()), None)
    for record in (r for journal in journals for r in journal.records):
        if record.kind not in (Kind.DATA, Kind.BACKFILL):
            continue
        packet = decode_packet(record.payload)
        if not isinstance(packet, Packet):
            counts["damaged_packets"] += not hasattr(packet, "next_seq")
            continue
        if packet.boot_id not in boots:
            known = infos.get(packet.boot_id) or fallback or _guess(packet)
            boots[packet.boot_id] = _Boot(packet.boot_id, known)
        boot = boots[packet.boot_id]
        live = record.kind is Kind.DATA
        host = (record.host_ns - start_ns) * 1e-9 if live else np.nan
        counts["overruns"] += Flag.OVERRUN in packet.flags
        for start, end in boot.coverage.add(packet.seq, packet.end_seq):
            counts["backfilled_samples"] += 0 if live else end - start
            boot.pieces.append(_Piece(packet, start - packet.seq, end - packet.seq, host))
    for boot in boots.values():
        boot.pieces.sort(key=lambda piece: piece.packet.seq + piece.first)
    return list(boots.values()), counts


def _guess(packet: Packet) -> SensorInfo:
    """Nominal scales by range code, for a journal whose INFO records are all damaged."""
    acc, gyr = full_scales(packet.range_code)
    return SensorInfo(
        "", packet.range_code, State.SAMPLING, 1000, packet.boot_id, 0, 0, 0, 0,
        acc / _FULL_COUNT, gyr / _FULL_COUNT,
    )  # fmt: skip


def _boot_samples(
    boot: _Boot,
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    stamps = sorted({(p.packet.seq, p.packet.time_us) for p in boot.pieces})
    anchors = np.array(stamps, dtype=np.float64)
    periods = _period_after(anchors, boot.info.rate_hz)
    packets = [piece.packet for piece in boot.pieces]
    size = np.array([piece.last - piece.first for piece in boot.pieces])
    begun = np.array([packet.seq for packet in packets])
    first = begun + [piece.first for piece in boot.pieces]
    # Every sample at once: its number is its packet's first, counted on within the packet.
    seq = np.arange(size.sum()) + np.repeat(first - np.r_[0, np.cumsum(size)[:-1]], size)
    period = periods[np.searchsorted(anchors[:, 0], begun)]
    stamp = np.array([packet.time_us for packet in packets])
    time = np.repeat(stamp, size) + (seq - np.repeat(begun, size)) * np.repeat(period, size)
    counts = np.concatenate([p.packet.counts[p.first : p.last] for p in boot.pieces])
    scales = np.repeat([_scales(boot, packet) for packet in packets], size, axis=0)
    acc, gyr = to_si(counts, scales[:, :1], scales[:, 1:])
    host = np.repeat([piece.host for piece in boot.pieces], size)
    return seq, time * 1e-6, host, acc, gyr


def _period_after(anchors: FloatArray, rate_hz: int) -> FloatArray:
    """Sample period in µs after each anchor: to the next stamp, or as usual over a gap."""
    nominal = 1e6 / rate_hz
    if len(anchors) < 2:
        return np.full(len(anchors), nominal)
    step = np.diff(anchors, axis=0)
    period = np.r_[step[:, 1] / step[:, 0], np.nan]
    near = np.r_[step[:, 0] <= 255, False] & (np.abs(period / nominal - 1.0) < 0.05)
    usual = float(np.median(period[near])) if near.any() else nominal
    return np.where(near, period, usual)


def _scales(boot: _Boot, packet: Packet) -> tuple[float, float]:
    if packet.range_code == boot.info.range_code:
        return boot.info.acc_scale, boot.info.gyr_scale
    acc, gyr = full_scales(packet.range_code)
    return acc / _FULL_COUNT, gyr / _FULL_COUNT


def _join(
    time: FloatArray, host: FloatArray, later_time: FloatArray, later_host: FloatArray, rate: float
) -> tuple[float, float, int]:
    """Shift of the later clock in s, its standard error, and the samples missing between."""
    before, after = _clock(time, host), _clock(later_time, later_host)
    if before is None or after is None:
        return float(time[-1] - later_time[0]) + 2.0 / rate, 1.0, 1
    first = float(before.to_sensor(after.to_recording(later_time[0])))
    gap = first - float(time[-1])
    if gap <= 0.0:
        return float(time[-1] - later_time[0]) + 2.0 / rate, 1.0, 1
    se = np.hypot(_se_at(before, first), _se_at(after, float(later_time[0])))
    return first - float(later_time[0]), float(se), max(1, round(gap * rate) - 1)


def _clock(time: FloatArray, host: FloatArray) -> ClockModel | None:
    """Clock of one start from its live packets; None without any."""
    live = np.isfinite(host)
    if not live.any():
        return None
    last = np.flatnonzero(live & np.r_[host[1:] != host[:-1], True])
    try:
        return fit_clock(time[last], host[last]).model
    except ValueError:
        delay = float(np.min(host[last] - time[last]))
        return ClockModel(0.0, delay, 0.0, 0.02, 1e-4)


def _se_at(model: ClockModel, clock: float) -> float:
    return float(np.hypot(model.offset_se, model.drift_se * (clock - model.reference)))


def _increasing(time: FloatArray) -> np.ndarray[Any, np.dtype[np.bool_]]:
    ticks = np.rint(time * 1e6)
    highest = np.maximum.accumulate(ticks)
    return np.r_[True, ticks[1:] > highest[:-1]]


def _damage_faults(role: str, journals: Sequence[Journal], counts: dict[str, int]) -> list[str]:
    faults = []
    damaged = sum(end - start for journal in journals for start, end in journal.damage)
    if damaged:
        faults.append(f"{role}: {damaged} bytes of the journal are damaged and were left out")
    if counts["damaged_packets"]:
        faults.append(f"{role}: {counts['damaged_packets']} packets arrived damaged")
    if counts["overruns"]:
        faults.append(f"{role}: the sensor overran its memory {counts['overruns']} times")
    if journals and not journals[-1].closed:
        faults.append(f"{role}: the recording was interrupted")
    return faults


def _facts(journals: Sequence[Journal]) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    keys = ("serial", "firmware", "battery", "breaks")
    for record in (r for journal in journals for r in journal.records):
        if record.kind in (Kind.ABOUT, Kind.END):
            value = record.json()
            facts |= {key: value[key] for key in keys if value.get(key) is not None}
    return facts

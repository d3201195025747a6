"""From journals to a recording: every sample once, in order, in SI units, with what went wrong.

The journal is the truth and is only read. Sample times come from the packets' own clock
stamps; a sensor that restarted is joined by when its packets arrived, and the join is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from imu.number_words import counted
from imu.recorder.coverage import Coverage
from imu.recorder.folder import JournalFolder
from imu.recorder.journal import Journal, Kind, read_journal
from imu.recorder.packet import (
    FULL_COUNT,
    Flag,
    Packet,
    PacketFault,
    decode_packet,
    nominal_scales,
    to_si,
)
from imu.recorder.profile import SensorInfo, State, decode_info
from imu.recordings.clock import fit_clock
from imu.recordings.content import make_recording
from imu.recordings.sampling import describe_losses
from imu.types import CLUB, FOREARM, ClockModel, FloatArray, IntArray, Recording, Stream

_MOST_SAMPLES = 255
"""In one packet: stamps no further apart than this tell the period."""


@dataclass
class _Piece:
    """Samples first to last of a packet that no other packet brought; host : s, NaN when late."""

    packet: Packet
    first: int
    last: int
    host: float


@dataclass
class _Boot:
    """Samples of one start of the sensor in order. guessed : it did not say who it is."""

    info: SensorInfo
    pieces: list[_Piece]
    guessed: bool


@dataclass(frozen=True, eq=False)
class AssembledStream:
    """A stream with facts for the manifest and faults in words."""

    stream: Stream
    facts: dict[str, Any]
    faults: tuple[str, ...]


def recording_from_folder(folder: JournalFolder) -> Recording | None:
    """The recording a folder holds, as far as its journals can be read; None when empty.

    Raises SwingspreadError when what was declared at its start cannot be read.
    """
    manifest = folder.manifest()
    streams: dict[str, Stream] = {}
    sensors: dict[str, dict[str, Any]] = {r: dict(f) for r, f in manifest.sensors.items()}
    faults: list[str] = []
    start_ns = 0
    for role, paths in folder.journals().items():
        journals = [read_journal(path) for path in paths]
        start_ns = start_ns or _started_ns(journals)
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


def _started_ns(journals: Sequence[Journal]) -> int:
    """Host time in ns at which the recording began, as its first journal tells."""
    for journal in journals:
        for record in journal.records:
            value = record.json().get("started_ns") if record.kind is Kind.ABOUT else None
            if isinstance(value, int):
                return value
            return int(record.host_ns)
    return 0


def assemble_stream(
    role: str, journals: Sequence[Journal], start_ns: int
) -> AssembledStream | None:
    """Stream of one sensor from its journals in order; None when they hold no sample.

    start_ns : host time in ns that counts as 0 in ``host_time``.
    """
    boots, counts = _sort_packets(journals, start_ns)
    faults = _damage_faults(role, journals, counts)
    if not boots:
        return None
    parts = [_boot_samples(boot) for boot in boots]
    seq, time, host, acc, gyr = parts[0]
    for boot, later in zip(boots[1:], parts[1:], strict=True):
        shift, se, lost = _join(time, host, later[1], later[2], boot.info.rate_hz)
        missing = counted(lost, "sample") if lost else "an unknown number of samples"
        faults.append(
            f"{role}: the sensor restarted at {later[1][0] + shift - time[0]:.1f} s, {missing} "
            f"missing there; its clock was joined to within {se * 1e3:.0f} ms"
        )
        seq = np.r_[seq, later[0] - later[0][0] + seq[-1] + 1 + max(1, lost)]
        time = np.r_[time, later[1] + shift]
        host, acc, gyr = np.r_[host, later[2]], np.r_[acc, later[3]], np.r_[gyr, later[4]]
    forward = _increasing(time)
    if not forward.all():
        backwards = counted(int((~forward).sum()), "sample")
        faults.append(f"{role}: {backwards} left out, where the sensor's clock ran backwards")
    info = boots[-1].info
    stream = Stream(
        role=role,
        time=np.rint(time[forward] * 1e6) / 1e6,
        acc=acc[forward],
        gyr=gyr[forward],
        seq=seq[forward],
        host_time=host[forward],
        rate_hz=float(info.rate_hz),
        acc_range=info.acc_scale * FULL_COUNT,
        gyr_range=info.gyr_scale * FULL_COUNT,
    )
    if losses := describe_losses(stream.seq, stream.time):
        faults.append(f"{role}: {losses}")
    if any(boot.guessed for boot in boots):
        faults.append(
            f"{role}: what the sensor said of itself is damaged; its rate was read off its clock, "
            "and its scales are the nominal ones, which can be some per cent off"
        )
    facts = _facts(journals) | {"rate_hz": info.rate_hz, "restarts": len(boots) - 1} | counts
    return AssembledStream(stream, facts, tuple(faults))


def _sort_packets(journals: Sequence[Journal], start_ns: int) -> tuple[list[_Boot], dict[str, int]]:
    """Starts of the sensor in the order they came, and what went wrong on the way."""
    coverage: dict[int, Coverage] = {}
    pieces: dict[int, list[_Piece]] = {}
    counts = {"damaged_packets": 0, "backfilled_samples": 0, "overruns": 0}
    infos: dict[int, SensorInfo] = {}
    for record in (r for journal in journals for r in journal.records if r.kind is Kind.INFO):
        info = decode_info(record.payload)
        if isinstance(info, SensorInfo):
            infos[info.boot_id] = info
    for record in (r for journal in journals for r in journal.records):
        if record.kind not in (Kind.DATA, Kind.BACKFILL):
            continue
        packet = decode_packet(record.payload)
        if not isinstance(packet, Packet):
            counts["damaged_packets"] += isinstance(packet, PacketFault)
            continue
        live = record.kind is Kind.DATA
        host = (record.host_ns - start_ns) * 1e-9 if live else np.nan
        counts["overruns"] += Flag.OVERRUN in packet.flags
        seen = coverage.setdefault(packet.boot_id, Coverage())
        for start, end in seen.add(packet.seq, packet.end_seq):
            counts["backfilled_samples"] += 0 if live else end - start
            piece = _Piece(packet, start - packet.seq, end - packet.seq, host)
            pieces.setdefault(packet.boot_id, []).append(piece)
    boots = []
    for boot_id, some in pieces.items():
        some.sort(key=lambda piece: piece.packet.seq + piece.first)
        known = infos.get(boot_id) or next(iter(infos.values()), None)
        boots.append(_Boot(known or _guess(some), some, guessed=known is None))
    return boots, counts


def _guess(pieces: Sequence[_Piece]) -> SensorInfo:
    """Rate by the stamps and nominal scales, for a journal whose INFO records are all damaged."""
    packet = pieces[0].packet
    step = np.diff(_stamps(pieces), axis=0)
    near = (step[:, 0] <= _MOST_SAMPLES) & (step[:, 1] > 0)
    rate = 1e6 * np.median(step[near, 0] / step[near, 1]) if near.any() else 1000.0
    return SensorInfo(
        "", packet.range_code, State.SAMPLING, max(1, round(rate)), packet.boot_id, 0, 0, 0, 0,
        *nominal_scales(packet.range_code),
    )  # fmt: skip


def _stamps(pieces: Sequence[_Piece]) -> FloatArray:
    """(K, 2) number of each packet's first sample and its time in µs, in order."""
    stamps = {piece.packet.seq: piece.packet.time_us for piece in pieces}
    return np.array(sorted(stamps.items()), dtype=np.float64)


def _boot_samples(
    boot: _Boot,
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    anchors = _stamps(boot.pieces)
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
    near = np.r_[step[:, 0] <= _MOST_SAMPLES, False] & (np.abs(period / nominal - 1.0) < 0.05)
    usual = float(np.median(period[near])) if near.any() else nominal
    return np.where(near, period, usual)


def _scales(boot: _Boot, packet: Packet) -> tuple[float, float]:
    if packet.range_code == boot.info.range_code:
        return boot.info.acc_scale, boot.info.gyr_scale
    return nominal_scales(packet.range_code)


def _join(
    time: FloatArray, host: FloatArray, later_time: FloatArray, later_host: FloatArray, rate: float
) -> tuple[float, float, int]:
    """Shift of the later clock in s, its standard error, and the samples missing between.

    0 missing : their number is not known.
    """
    before, after = _clock(time, host), _clock(later_time, later_host)
    if before is None or after is None:
        return float(time[-1] - later_time[0]) + 2.0 / rate, 1.0, 0
    first = float(before.to_sensor(after.to_recording(later_time[0])))
    gap = first - float(time[-1])
    if gap <= 0.0:
        return float(time[-1] - later_time[0]) + 2.0 / rate, 1.0, 0
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
        faults.append(f"{role}: {counted(damaged, 'byte')} of the journal damaged and left out")
    if counts["damaged_packets"]:
        faults.append(f"{role}: {counted(counts['damaged_packets'], 'packet')} arrived damaged")
    if counts["overruns"]:
        often = counted(counts["overruns"], "time")
        faults.append(f"{role}: the sensor overran its memory {often}")
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

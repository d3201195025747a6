"""Numbers of each swing while the recording goes on, by the same code as the final analysis.

A process of its own reads the growing journals, so that nothing it does can hold up or harm
the recording. When the club has been swung and is slow again, the last seconds of both streams
go through the pipeline as a small recording. The final analysis of the whole recording, which
knows more of how the sensors sit, replaces these numbers; the two agree within the errors.
"""

from __future__ import annotations

import math
import sys
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from imu.columns import METRICS
from imu.errors import SwingspreadError
from imu.further_sensors import ROLE_METRICS
from imu.pipeline import analyse
from imu.recorder.assemble import assemble_stream
from imu.recorder.calibration_watch import CalibrationWatch
from imu.recorder.folder import JournalFolder
from imu.recorder.journal import Journal, JournalWriter, Kind, Record, read_journal
from imu.recorder.packet import Packet, decode_packet, nominal_scales
from imu.recorder.profile import SensorInfo, decode_info
from imu.recordings.content import make_recording
from imu.recordings.synchronise import align
from imu.settings import AnalysisSettings
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM, Manifest, Recording, Stream

KEPT = 12.0
"""s of records kept a sensor."""
BEFORE_IMPACT = 7.0
AFTER_LAST = 1.3
"""s: a cut begins this long before the peak at most, and not sooner after the last impact."""
FAST = 6.0
"""rad/s of the club that may have been a swing."""
FIRST_LOOK, LAST_LOOK, LOOK_EVERY = 0.35, 3.0, 0.03
"""s after the fastest moment: first and last look for a finished swing, and in between."""
SETTLED = 0.02
"""s of samples wanted after the finish."""
FEWEST = 100
"""Samples of a sensor below which there is nothing to measure."""
POLL = 0.015
CALIBRATION_EVERY = 0.4
TIE_EVERY = 5.0


@dataclass(frozen=True)
class LiveSwing:
    """Headline numbers of one swing.

    host_ns, finish_host_ns : impact and finish in the recorder's monotonic clock; the finish is 0
    when it is not known.
    """

    kind: str
    impact_club_clock_us: float
    host_ns: int
    finish_host_ns: int
    quality: str
    notes: str
    metrics: dict[str, tuple[float, float]]
    """name → value and standard error, in the metric's unit."""

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        numbers = {k: [_plain(v), _plain(se)] for k, (v, se) in self.metrics.items()}
        return {**vars(self), "metrics": numbers}


@dataclass
class LiveAnalysis:
    """Takes journal records as they come and gives each swing once, soon after its finish."""

    manifest: Manifest
    settings: AnalysisSettings = field(default_factory=AnalysisSettings)
    calibration: CalibrationWatch = field(default_factory=CalibrationWatch)
    _records: dict[str, deque[Record]] = field(default_factory=dict)
    _infos: dict[str, Record] = field(default_factory=dict)
    _rates: dict[str, float] = field(default_factory=dict)
    _boots: dict[str, int] = field(default_factory=dict)
    _newest: tuple[Packet, int] | None = None
    """The club's newest packet that came live, and its arrival in ns."""
    _shift_us: float = 0.0
    """Joins the club's clock over its restarts, as the final recording's is."""
    _newest_us: float = -math.inf
    _peak_us: float | None = None
    _peak_rate: float = 0.0
    _look_us: float = math.inf
    _last_impact_us: float = -math.inf
    _start_ns: int | None = None

    def feed(self, role: str, records: Sequence[Record]) -> None:
        """Take in new records of one sensor's journal."""
        kept = self._records.setdefault(role, deque())
        for record in records:
            if record.kind is Kind.INFO:
                info = decode_info(record.payload)
                if isinstance(info, SensorInfo):
                    self._infos[role] = record
                    self._rates[role] = float(info.rate_hz)
            if record.kind not in (Kind.DATA, Kind.BACKFILL):
                continue
            packet = decode_packet(record.payload)
            if not isinstance(packet, Packet):
                continue
            if self._boots.setdefault(role, packet.boot_id) != packet.boot_id:
                self._boots[role] = packet.boot_id
                kept.clear()
                self._forget(role)
            if self._start_ns is None:
                self._start_ns = record.host_ns
            kept.append(record)
            if record.kind is Kind.DATA:
                self.calibration.feed(role, packet, self._rates.get(role, 1000.0))
                if role == CLUB:
                    self._join(packet, record.host_ns)
                    self._watch(packet)
        while kept and kept[-1].host_ns - kept[0].host_ns > KEPT * 1e9:
            kept.popleft()

    def _join(self, packet: Packet, host_ns: int) -> None:
        """Carry the club's clock on over a restart, by when packets arrived."""
        if self._newest is not None and self._newest[0].boot_id != packet.boot_id:
            before, before_ns = self._newest
            self._shift_us += before.time_us + (host_ns - before_ns) * 1e-3 - packet.time_us
        self._newest = (packet, host_ns)

    def _forget(self, role: str) -> None:
        if role == CLUB:
            self._newest_us = self._last_impact_us = -math.inf
            self._peak_us, self._look_us = None, math.inf

    def _watch(self, packet: Packet) -> None:
        """Follow the club's turning rate; note when a swing may be over."""
        self._newest_us = float(packet.time_us)
        scale = nominal_scales(packet.range_code)[1]
        counts = packet.counts[:, 3:].astype(np.float64)
        rate = float(np.sqrt(np.max(np.sum(counts**2, axis=1)))) * scale
        if rate < FAST or packet.time_us < self._last_impact_us + 0.5e6:
            return
        behind = self._peak_us is not None and self._newest_us > self._peak_us + LAST_LOOK * 1e6
        if self._peak_us is None or behind or rate >= self._peak_rate:
            self._peak_us, self._peak_rate = float(packet.time_us), rate
            self._look_us = self._peak_us + FIRST_LOOK * 1e6

    def due(self) -> bool:
        """Whether it is time to look for a finished swing."""
        return self._peak_us is not None and self._newest_us >= self._look_us

    def look(self) -> list[LiveSwing]:
        """Look for a finished swing, if it is time to; gives it, measured, or nothing yet.

        However far behind this comes, each swing that is still kept is looked at once.
        """
        if self._peak_us is None or not self.due():
            return []
        last = self._newest_us > self._peak_us + LAST_LOOK * 1e6
        self._look_us = self._newest_us + LOOK_EVERY * 1e6
        found: list[LiveSwing] = []
        try:
            found = self._measured()
        finally:
            if found or last:
                self._peak_us, self._peak_rate, self._look_us = None, 0.0, math.inf
        return found

    def _measured(self) -> list[LiveSwing]:
        """Swings since the last one, if one is finished."""
        recording = self._cut()
        if recording is None or not self._finished(recording):
            return []
        analysis = analyse(recording, self.settings)
        swings = analysis.swings[
            analysis.swings["impact_club_clock_us"] > self._last_impact_us + 0.5e6
        ]
        rows: list[dict[Any, Any]] = swings.to_dict("records")
        found = [self._swing(row, recording) for row in rows]
        if found:
            self._last_impact_us = found[-1].impact_club_clock_us - self._shift_us
        return found

    def tie_ms(self) -> float | None:
        """Standard error of the two clocks' tie in ms, from the last seconds' arrivals alone."""
        streams = self._streams()
        if streams is None:
            return None
        try:
            aligned = align(make_recording(self.manifest, streams))
        except (SwingspreadError, ValueError):
            return None
        return 1e3 * aligned.clocks[FOREARM].offset_se

    def _streams(self) -> dict[str, Stream] | None:
        """Both streams, and those of further sensors that sent enough; None without both."""
        streams: dict[str, Stream] = {}
        for role in (FOREARM, CLUB, *ROLE_METRICS):
            records = self._records.get(role)
            if records and role in self._infos:
                journal = Journal((self._infos[role], *records), (), 0)
                assembled = assemble_stream(role, [journal], self._start_ns or 0)
                if assembled is not None and len(assembled.stream.time) >= FEWEST:
                    streams[role] = assembled.stream
        return streams if {FOREARM, CLUB} <= set(streams) else None

    def _cut(self) -> Recording | None:
        """The last seconds of both streams as a recording, without the swing before."""
        streams = self._streams()
        if streams is None or self._peak_us is None:
            return None
        since = max(self._peak_us - BEFORE_IMPACT * 1e6, self._last_impact_us + AFTER_LAST * 1e6)
        club = streams[CLUB]
        (after,) = np.nonzero(club.time * 1e6 >= since)
        host = club.host_time[after]
        if not np.isfinite(host).any():
            return None
        host_since = float(host[np.isfinite(host)][0])
        cut = {role: _from_host(stream, host_since) for role, stream in streams.items()}
        cut = {role: stream for role, stream in cut.items() if len(stream.time) >= FEWEST}
        return make_recording(self.manifest, cut) if {FOREARM, CLUB} <= set(cut) else None

    def _finished(self, recording: Recording) -> bool:
        aligned = align(recording)
        newest = min(float(aligned.streams[role].time[-1]) for role in (FOREARM, CLUB))
        clock = aligned.clocks[CLUB]
        return any(
            window.finish < newest - SETTLED
            and float(clock.to_sensor(window.impact)) * 1e6 > self._last_impact_us + 0.5e6
            for window in find_swings(aligned).swings
        )

    def _swing(self, row: dict[Any, Any], recording: Recording) -> LiveSwing:
        club = recording.streams[CLUB]
        live = np.isfinite(club.host_time)
        delay = float(np.min(club.host_time[live] - club.time[live]))
        start_ns = self._start_ns or 0

        def host_ns(clock_us: float) -> int:
            return start_ns + round((clock_us * 1e-6 + delay) * 1e9) if clock_us == clock_us else 0

        metrics = {
            metric.name: (float(row[metric.name]), float(row[metric.se_name]))
            for metric in METRICS
            if metric.headline
        }
        metrics |= {
            metric.name: (float(row[metric.name]), float(row[metric.se_name]))
            for role in recording.streams
            for metric in ROLE_METRICS.get(role, ())
        }
        return LiveSwing(
            kind=str(row["kind"]),
            impact_club_clock_us=float(row["impact_club_clock_us"]) + self._shift_us,
            host_ns=host_ns(float(row["impact_club_clock_us"])),
            finish_host_ns=host_ns(float(row["finish_club_clock_us"])),
            quality=str(row["quality"]),
            notes=str(row["notes"]),
            metrics=metrics,
        )


def _from_host(stream: Stream, since: float) -> Stream:
    """The part of a stream from the first sample that arrived live after ``since``."""
    (late,) = np.nonzero(stream.host_time >= since)
    start = int(late[0]) if len(late) else len(stream.time)
    return stream.rows(slice(start, None))


def _plain(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None


class JournalTail:
    """Reads what is new in the sensor journals of a folder."""

    def __init__(self, folder: JournalFolder) -> None:
        self._folder = folder
        self._offsets: dict[Path, int] = {}

    def new_records(self) -> dict[str, list[Record]]:
        """Records written since the last call, by role."""
        fresh: dict[str, list[Record]] = {}
        for role, paths in self._folder.journals().items():
            for path in paths:
                offset = self._offsets.get(path, 0)
                if path.stat().st_size <= offset:
                    continue
                journal = read_journal(path, offset)
                self._offsets[path] = journal.next_offset
                if journal.records:
                    fresh.setdefault(role, []).extend(journal.records)
        return fresh

    @property
    def ended(self) -> bool:
        """True when nobody records into the folder any more."""
        return not self._folder.held


def follow(folder: JournalFolder, writer: JournalWriter) -> None:
    """Write each swing into ``writer`` as an event, until the recording has ended."""
    live = LiveAnalysis(folder.manifest())
    tail = JournalTail(folder)
    number, calibration_due = 0, 0.0
    tie_due = time.monotonic() + TIE_EVERY
    told_calibration: dict[str, Any] = {}
    told_problem = ""
    while True:
        ended = tail.ended
        fresh = tail.new_records()
        for role, records in fresh.items():
            live.feed(role, records)
        began = time.monotonic_ns()
        try:
            swings = live.look()
        except Exception as problem:  # whatever it is, the next swing shall have its numbers
            swings = []
            kind = "" if isinstance(problem, SwingspreadError) else f"{type(problem).__name__}: "
            if (text := f"{kind}{problem}") != told_problem:
                told_problem = text
                trouble = {"type": "problem", "text": text}
                writer.append_json(Kind.EVENT, time.monotonic_ns(), trouble)
        for swing in swings:
            number += 1
            now, finish = time.monotonic_ns(), swing.finish_host_ns
            timing = {
                "after_impact_ms": round((now - swing.host_ns) * 1e-6),
                "after_finish_ms": round((now - finish) * 1e-6) if finish else None,
                "computing_ms": round((now - began) * 1e-6),
            }
            told = {"type": "swing", "number": number, **swing.as_dict(), **timing}
            writer.append_json(Kind.EVENT, now, told)
        if time.monotonic() >= calibration_due:
            calibration_due = time.monotonic() + CALIBRATION_EVERY
            if (calibration := live.calibration.as_dict()) != told_calibration:
                told_calibration = calibration
                event: dict[str, Any] = {"type": "calibration", **calibration}
                writer.append_json(Kind.EVENT, time.monotonic_ns(), event)
        if time.monotonic() >= tie_due and not live.due():
            tie_due = time.monotonic() + TIE_EVERY
            if (tie := live.tie_ms()) is not None:
                event = {"type": "clock", "tie_se_ms": _plain(tie)}
                writer.append_json(Kind.EVENT, time.monotonic_ns(), event)
        writer.flush()
        if ended and not fresh:
            return
        if not swings:
            time.sleep(POLL)


def main() -> None:
    """Follow the recording in the folder named on the command line."""
    folder = JournalFolder(Path(sys.argv[1]))
    writer = JournalWriter(folder.next_journal("swings"))
    try:
        follow(folder, writer)
    finally:
        writer.append_json(Kind.END, time.monotonic_ns(), {})
        writer.close()


if __name__ == "__main__":
    main()

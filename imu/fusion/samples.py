"""One swing cut out of the streams: what both sensors said, readable at any instant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from imu.fusion.bridging import Doubt, bridge_clipped, gap_doubt
from imu.fusion.clipping import clipped_samples, gap_spans, spans
from imu.types import BALL, CLUB, FOREARM, AlignedStreams, BoolArray, FloatArray, SwingWindow

SENSORS = (FOREARM, CLUB)

_REACH = 0.1
"""s of samples kept before and after the window, for the spline."""
_CLIP_MARGIN_PERIODS = 2.0
_GAP_MARGIN_PERIODS = 1.0
_STRIKE_BEFORE_PERIODS = 2.0
"""Sample periods by which a clipped spell, a gap and the strike reach beyond themselves."""
STRIKE_RINGING = 0.030
"""How long after the strike the accelerometers are not to be trusted, s."""


@dataclass(frozen=True, eq=False)
class SensorSpan:
    """One sensor's samples around one swing.

    signal : spline of (acc, gyr), six columns, SI, sensor frame, against sample time.
    doubts : spells in which the rate was not really read: samples lost, or clipped.
    acc_clipped : for each accelerometer axis (S, 2) s, spells in which it was clipped.
    period : s, nominal sample period.
    """

    signal: CubicSpline
    doubts: tuple[Doubt, ...]
    acc_clipped: tuple[FloatArray, FloatArray, FloatArray]
    period: float

    @property
    def doubt(self) -> FloatArray:
        """(S, 2) s, begin and end of the spells in doubt."""
        return np.array([(one.start, one.end) for one in self.doubts]).reshape(-1, 2)


@dataclass(frozen=True, eq=False)
class SwingSamples:
    """One swing as both sensors felt it, on a uniform time base of the club's clock.

    window : where it lies. time : (N,) s, uniform. sensors : by role.
    """

    window: SwingWindow
    time: FloatArray
    sensors: Mapping[str, SensorSpan]

    @property
    def step(self) -> float:
        """Time between samples of the base, s."""
        return float(self.time[1] - self.time[0])

    def strike(self) -> tuple[float, float] | None:
        """Spell around the strike to be left out, s; None for a practice swing."""
        if self.window.kind != BALL:
            return None
        before = _STRIKE_BEFORE_PERIODS * max(s.period for s in self.sensors.values())
        return self.window.impact - before, self.window.impact + STRIKE_RINGING

    def usable(self, time: FloatArray, shift: FloatArray | float) -> BoolArray:
        """Where neither sensor lost samples, clipped its rate or felt the strike.

        time : (M,) s, recording time. shift : error of the forearm's clock, s, one or (M,).
        """
        good = np.ones(len(time), dtype=bool)
        for role, sensor in self.sensors.items():
            local = time - shift if role == FOREARM else time
            good &= ~within(local, sensor.doubt, _GAP_MARGIN_PERIODS * sensor.period)
        strike = self.strike()
        if strike is not None:
            good &= (time < strike[0]) | (time > strike[1])
        return good

    def clipped_axes(self, role: str, time: FloatArray, shift: FloatArray | float) -> BoolArray:
        """(M, 3) where each accelerometer axis of a sensor was clipped, filter's reach included."""
        sensor = self.sensors[role]
        local = time - shift if role == FOREARM else time
        margin = _CLIP_MARGIN_PERIODS * sensor.period
        flags = [within(local, spells, margin) for spells in sensor.acc_clipped]
        return np.column_stack(flags)


def within(time: FloatArray, spells: FloatArray, margin: float = 0.0) -> BoolArray:
    """(M,) True at times (M,), increasing, inside spells (S, 2) or within ``margin`` of them; s."""
    flags = np.zeros(len(time), dtype=bool)
    for start, end in spells:
        first, last = np.searchsorted(time, [start - margin, end + margin])
        flags[first:last] = True
    return flags


def cut_swing(aligned: AlignedStreams, window: SwingWindow, step: float) -> SwingSamples | None:
    """Cut one swing; None when a sensor has no samples around its key phase.

    step : s, of the uniform time base.
    """
    sensors: dict[str, SensorSpan] = {}
    start, end = window.start, window.end
    for role in SENSORS:
        stream = aligned.streams[role]
        period = 1.0 / stream.rate_hz
        first, last = np.searchsorted(stream.time, [window.start - _REACH, window.end + _REACH])
        time = stream.time[first:last]
        if len(time) < 16 or time[0] > window.takeaway or time[-1] < window.impact + 0.02:
            return None
        start, end = max(start, float(time[0])), min(end, float(time[-1]))
        values = np.hstack([stream.acc[first:last], stream.gyr[first:last]])
        flags = clipped_samples(values[:, :3], values[:, 3:], stream)
        strike = window.impact if window.kind == BALL else np.inf
        values[:, 3:], clipped = bridge_clipped(
            time, values[:, 3:], flags[:, 3:], stream.gyr_range, strike
        )
        signal = CubicSpline(time, values)
        gaps = [gap_doubt(a, b, signal([a, b])[:, 3:]) for a, b in gap_spans(time, period)]
        x, y, z = (spans(flags[:, axis], time) for axis in range(3))
        sensors[role] = SensorSpan(
            signal=signal,
            doubts=(*gaps, *clipped),
            acc_clipped=(x, y, z),
            period=period,
        )
    base = np.arange(start, end, step)
    return SwingSamples(window, base, sensors)

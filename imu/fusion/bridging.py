"""Rates a gyroscope could not read: what stands in for them, and how far that may be wrong.

A clipped rate is bounded from below by its reading and is smooth, so a clipped spell is bridged
by the cubic that leaves and meets the good samples on both sides with their slopes (Hermite).
Where the spell ends in the strike the slope on its far side is not known, for the strike changes
the rate at once: the parabola then serves that leaves with the first slope and comes back to the
reading. Lost samples are bridged by the spline through what is left.

What the bridge misses is an unknown rotation over the spell (``imu.fusion.track.Break``), with a
standard deviation in proportion to what was put in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imu.fusion.runs import runs
from imu.types import BoolArray, FloatArray
from imu.units import DEG

_HARD = 0.9995
"""Of full scale: from here a sample is surely clipped."""
_FILTER_REACH = 2
"""Samples on each side of a surely clipped one that the sensor's low-pass filter may have bent."""
_SLOPE_SPAN = 0.012
_FEWEST, _MOST = 4, 8
"""s, and samples: over how long, and how few and many, a slope beside a spell is read."""
_BOTH_SLOPES_SHARE, _ONE_SLOPE_SHARE = 0.35, 0.7
"""Error of the height put in, as a part of it, with both slopes known and with one."""
_UNBRIDGED_SHARE = 0.1
"""Error of a clipped reading that can't be bridged, as a part of it."""
_AMPLITUDE_FLOOR = 5.0 * DEG
"""rad/s, least error of the height put in."""
_GAP_TURN_OF_CHANGE = 0.1
_GAP_TURN_OF_RATE = 0.02
"""Error of the mean rate over lost samples, as parts of the rate's change and of its size."""
_TURN_FLOOR = 1e-4
"""rad, least doubt about any spell."""


@dataclass(frozen=True)
class Doubt:
    """A spell in which a rate was not really read.

    start, end : s, the good samples on both sides, or the strike that ends it. turn : rad,
    standard deviation of the rotation the bridge misses. open : whether it ends in the strike, so
    that the doubt grows up to its end instead of vanishing there.
    """

    start: float
    end: float
    turn: float
    open: bool = False


def bridge_clipped(
    time: FloatArray, gyr: FloatArray, clipped: BoolArray, full_scale: float, strike: float
) -> tuple[FloatArray, list[Doubt]]:
    """Rates with clipped samples bridged, and the spells in doubt.

    time : (N,) s. gyr : (N, 3) rad/s. clipped : (N, 3), near full scale. full_scale : rad/s.
    strike : s; infinite when there is none.
    """
    if not clipped.any():
        return gyr, []
    filled = gyr.copy()
    found: list[Doubt] = []
    for axis in range(3):
        for first, last in _to_bridge(clipped[:, axis], np.abs(gyr[:, axis]), full_scale):
            found.append(_bridge(time, filled[:, axis], first, last, strike))
    return filled, _joined(found)


def gap_doubt(start: float, end: float, rates: FloatArray) -> Doubt:
    """Doubt over lost samples. rates : (2, 3) rad/s, last read before and first after."""
    change = float(np.linalg.norm(rates[1] - rates[0]))
    level = float(np.linalg.norm(rates, axis=1).max())
    turn = (end - start) * (_GAP_TURN_OF_CHANGE * change + _GAP_TURN_OF_RATE * level)
    return Doubt(start, end, turn + _TURN_FLOOR)


def _to_bridge(near: BoolArray, size: FloatArray, full_scale: float) -> list[tuple[int, int]]:
    """First and last sample of each clipped run.

    A run near full scale that never reaches it is a clipped peak rounded by the filter and counts
    whole; else only what lies within the filter's reach of full scale.
    """
    spells = []
    for first, stop in runs(near).tolist():
        hard = np.flatnonzero(size[first:stop] >= _HARD * full_scale)
        if len(hard):
            last = min(stop - 1, first + int(hard[-1]) + _FILTER_REACH)
            first = max(first, first + int(hard[0]) - _FILTER_REACH)
        else:
            last = stop - 1
        spells.append((first, last))
    return spells


def _bridge(time: FloatArray, rate: FloatArray, first: int, last: int, strike: float) -> Doubt:
    """Bridge samples ``first`` to ``last`` of one axis in place."""
    before, after = first - 1, last + 1
    period = float(np.median(np.diff(time)))
    if before < _FEWEST or after + _FEWEST > len(time):
        # At an end of the stretch: the reading stays, and may be wrong by a good part of itself.
        start, end = float(time[max(before, 0)]), float(time[min(after, len(time) - 1)])
        return Doubt(start, end, _UNBRIDGED_SHARE * abs(float(rate[first])) * (end - start))
    count = int(np.clip(round(_SLOPE_SPAN / period) + 1, _FEWEST, _MOST))
    rows, inside = slice(max(first - count, 0), first), slice(first, last + 1)
    sign = float(np.sign(rate[first]))
    start, end = float(time[before]), float(time[after])
    at_start, slope = _end_of(time[rows], rate[rows], start)
    beyond = slice(after, after + count)
    calm = start >= strike or float(time[beyond][_FEWEST - 1]) < strike - period
    if calm:
        read = slice(after, after + int(np.searchsorted(time[beyond], strike - period)))
        rows = beyond if start >= strike else read
        at_end, slope_end = _end_of(time[rows], rate[rows], end)
        into_strike = False
    else:
        into_strike = end > strike - 0.5 * period
        at_end = float(rate[last if into_strike else after])
        end = min(end, strike)
    width = end - start
    lean = (at_end - at_start) / width
    if not calm:
        # The parabola's slope at its end; none is put in where the rate was falling already.
        slope = lean + sign * max(sign * (slope - lean), 0.0)
        slope_end = 2.0 * lean - slope
    u = np.clip((time[inside] - start) / width, 0.0, 1.0)
    bulge = width * u * (1.0 - u) * ((slope - lean) * (1.0 - u) - (slope_end - lean) * u)
    fill = at_start + lean * width * u + bulge
    put_in = float(np.abs(bulge).max())
    reading = rate[inside]
    bridged = (sign * fill > np.abs(reading)) & ((time[inside] < strike) | (start >= strike))
    rate[inside] = np.where(bridged, fill, reading)
    share = _BOTH_SLOPES_SHARE if calm else _ONE_SLOPE_SHARE
    # The mean of the missing rate over its greatest: of a ramp (``Break.open``), or a parabola.
    mean = 0.5 if into_strike else 2.0 / 3.0
    turn = mean * width * (share * put_in + _AMPLITUDE_FLOOR)
    return Doubt(start, end, turn + _TURN_FLOOR, into_strike)


def _end_of(time: FloatArray, rate: FloatArray, at: float) -> tuple[float, float]:
    """Value and slope at ``at`` of the parabola through some samples (least squares)."""
    _, slope, value = np.polyfit(time - at, rate, 2)
    return float(value), float(slope)


def _joined(doubts: list[Doubt]) -> list[Doubt]:
    """Spells that overlap taken together."""
    joined: list[Doubt] = []
    for doubt in sorted(doubts, key=lambda one: one.start):
        if joined and doubt.start < joined[-1].end:
            last = joined.pop()
            doubt = Doubt(
                last.start,
                max(last.end, doubt.end),
                float(np.hypot(last.turn, doubt.turn)),
                last.open or doubt.open,
            )
        joined.append(doubt)
    return joined

"""A sensor's clock against the host's, from when its packets arrived.

A packet can be late but never early, so the line under all points (sensor time of a packet's
last sample, host arrival) is the clock; the line that lies closest under them is the edge of the
lower convex hull above their mean sensor time (Moon, Skelly & Towsley 1999, IEEE INFOCOM,
pp. 227-234; hull: Zhang, Liu & Xia 2002, IEEE INFOCOM, pp. 1454-1463). Least squares follows
the average delay instead and errs by milliseconds.

The radio hands packets over at fixed moments; when these keep in step with the packets the
least delay is not near zero but anything up to one interval. No fit can see that: it is
carried in the standard error, and events seen by both sensors must remove it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from imu.types import ClockModel, FloatArray, IntArray

RADIO_INTERVAL = 0.015
"""Usual interval between two hand-overs of the radio, s."""

_WINDOW = 1.0
_STEP = 0.2
_MIN_PACKETS = 8


@dataclass(frozen=True)
class ClockFit:
    """What arrival times say about a sensor's clock.

    model : sensor clock to host time; its offset_se holds envelope and radio phase together.
    envelope_se : s, standard error of the line itself at its middle. phase_se : s, of the
    unseen constant delay. steps : (K, 2) sensor time and size in s of jumps of the host's clock.
    """

    model: ClockModel
    envelope_se: float
    phase_se: float
    steps: FloatArray


def lower_hull(x: FloatArray, y: FloatArray) -> IntArray:
    """Indices of the lower convex hull of points (N,) in strictly rising order of ``x``."""
    hull: list[int] = []
    right, up = x.tolist(), y.tolist()  # plain floats are many times faster one by one
    for i in range(len(right)):
        while len(hull) >= 2:
            a, b = hull[-2], hull[-1]
            if (up[b] - up[a]) * (right[i] - right[a]) < (up[i] - up[a]) * (right[b] - right[a]):
                break
            hull.pop()
        hull.append(i)
    return np.array(hull, dtype=np.int64)


def closest_line_below(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Slope and height at the mean of ``x`` of the line closest below all points (N,)."""
    return _line_below(x, y, float(np.mean(x)))


def _line_below(x: FloatArray, y: FloatArray, middle: float) -> tuple[float, float]:
    """Slope and height at ``middle`` of the line through the hull's edge below it."""
    hull = lower_hull(x, y)
    right = int(np.clip(np.searchsorted(x[hull], middle), 1, len(hull) - 1))
    a, b = hull[right - 1], hull[right]
    slope = float((y[b] - y[a]) / (x[b] - x[a]))
    return slope, float(y[a] + slope * (middle - x[a]))


def fit_clock(
    sensor_time: ArrayLike, host_time: ArrayLike, radio_interval: float = RADIO_INTERVAL
) -> ClockFit:
    """Fit the clock to packets received live.

    sensor_time : (N,) s, sensor time of each packet's last sample. host_time : (N,) s, its
    arrival. radio_interval : s, time between hand-overs of the radio.
    Raises ValueError with fewer than 8 packets or less than half a second of them.
    """
    x, y = _in_order(sensor_time, host_time)
    if len(x) < _MIN_PACKETS or x[-1] - x[0] < 0.5:
        raise ValueError(
            f"{len(x)} packets over {x[-1] - x[0] if len(x) else 0.0:.2f} s say too little "
            f"about the clock; at least {_MIN_PACKETS} over half a second are needed"
        )
    steps = find_host_steps(x, y)
    for at, size in steps:
        y = y - np.where(x >= at, size, 0.0)
    reference = float(np.mean(x))
    delay = y - x
    slope, height = closest_line_below(x - reference, delay)
    offset = height + reference
    heights, slopes = _leave_one_part_out(x - reference, delay)
    envelope_se = _jackknife_se(heights)
    phase_se = radio_interval / math.sqrt(12.0)
    model = ClockModel(
        reference,
        offset,
        slope,
        math.hypot(envelope_se, phase_se),
        _jackknife_se(slopes),
    )
    return ClockFit(model, envelope_se, phase_se, steps)


def find_host_steps(sensor_time: FloatArray, host_time: FloatArray) -> FloatArray:
    """Lasting jumps of the host's clock against the sensor's (the host slept), (K, 2).

    A stall delays packets for a while and then catches up; a jump stays. Both inputs (N,) s,
    sorted by sensor time. Columns: sensor time of the first packet after it, size in s.
    """
    delay = host_time - sensor_time
    centres, minima = _window_minima(sensor_time, delay)
    steps: list[tuple[float, float]] = []
    span = 5
    for i in range(1, len(minima)):
        before, after = minima[max(0, i - span) : i], minima[i : i + span]
        size = float(np.min(after) - np.min(before))
        if abs(size) <= _STEP or abs(minima[i] - minima[i - 1]) <= _STEP:
            continue
        if abs(np.median(after) - np.median(before)) > _STEP:
            low, high = centres[i - 1] - _WINDOW, centres[i] + _WINDOW
            near = (sensor_time >= low) & (sensor_time <= high)
            (index,) = np.nonzero(near)
            jump = index[1:][np.argmax(np.abs(np.diff(delay[index])))]
            if not steps or sensor_time[jump] - steps[-1][0] > span * _WINDOW:
                steps.append((float(sensor_time[jump]), size))
    return np.array(steps, dtype=np.float64).reshape(-1, 2)


def _in_order(sensor_time: ArrayLike, host_time: ArrayLike) -> tuple[FloatArray, FloatArray]:
    x = np.asarray(sensor_time, dtype=np.float64)
    y = np.asarray(host_time, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape:
        raise ValueError(f"times: expected two arrays of one length, got {x.shape} and {y.shape}")
    known = np.isfinite(x) & np.isfinite(y)
    x, first = np.unique(x[known], return_index=True)
    return x, y[known][first]


def _window_minima(x: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    window = np.floor((x - x[0]) / _WINDOW).astype(np.int64)
    starts = np.flatnonzero(np.r_[True, np.diff(window) > 0])
    return x[0] + (window[starts] + 0.5) * _WINDOW, np.minimum.reduceat(values, starts)


def _leave_one_part_out(x: FloatArray, y: FloatArray) -> tuple[list[float], list[float]]:
    """Height at x = 0 and slope with each eighth of the points left out."""
    parts = np.array_split(np.arange(len(x)), 8)
    # A hull of all points is made of points on the hulls of the parts.
    lowest = [part[lower_hull(x[part], y[part])] for part in parts]
    heights, slopes = [], []
    for left_out, part in enumerate(parts):
        kept = np.concatenate([hull for n, hull in enumerate(lowest) if n != left_out])
        middle = float((x.sum() - x[part].sum()) / (len(x) - len(part)))
        slope, height = _line_below(x[kept], y[kept], middle)
        slopes.append(slope)
        heights.append(height - slope * middle)
    return heights, slopes


def _jackknife_se(values: list[float]) -> float:
    parts = len(values)
    return math.sqrt((parts - 1) * float(np.var(values)))

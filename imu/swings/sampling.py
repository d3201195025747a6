"""Reading values, crossings, peaks and means between the samples of a uniform series.

Places are *fractional sample numbers*: 12.25 lies a quarter of a step after sample 12.
All reads are linear between samples, so results move smoothly when the data do.
"""

from __future__ import annotations

import math

import numpy as np

from imu.types import FloatArray, IntArray

NOWHERE = math.nan


def value_at(values: FloatArray, place: float) -> float:
    """Value of a (N,) series at a fractional sample number, linear, held at the ends."""
    last = len(values) - 1
    if place <= 0.0:
        return float(values[0])
    if place >= last:
        return float(values[last])
    index = int(place)
    part = place - index
    return float(values[index]) * (1.0 - part) + float(values[index + 1]) * part


def row_at(rows: FloatArray, place: float) -> FloatArray:
    """Row of a (N, K) series at a fractional sample number, linear, held at the ends."""
    last = len(rows) - 1
    place = min(max(place, 0.0), float(last))
    index = min(int(place), last - 1)
    part = place - index
    row: FloatArray = rows[index] * (1.0 - part) + rows[index + 1] * part
    return row


def crossings(values: FloatArray, rising: bool) -> FloatArray:
    """Fractional places where a (N,) series passes zero upwards (or downwards)."""
    signed = values if rising else -values
    above = signed > 0.0
    before: IntArray = np.flatnonzero(~above[:-1] & above[1:])
    low, high = signed[before], signed[before + 1]
    places: FloatArray = before + low / (low - high)
    return places


def choose(places: FloatArray, near: float, otherwise: str = "last") -> float:
    """One of several places: nearest to ``near`` when that is known, else the first or last."""
    if len(places) == 0:
        return NOWHERE
    if not math.isnan(near):
        return float(places[np.argmin(np.abs(places - near))])
    return float(places[-1] if otherwise == "last" else places[0])


def peak(values: FloatArray, first: int, stop: int, reach: int, near: float) -> tuple[float, float]:
    """Place and height of the greatest value of ``values[first:stop]``.

    A parabola fitted by least squares over ``reach`` samples on each side gives both between
    the samples. A greatest value at an end of the span is returned as it stands. With ``near``
    known, only its neighbourhood (four reaches) is searched, so that of two equal humps the
    same one is chosen again.
    """
    if not math.isnan(near):
        span = 4 * reach
        lower, upper = max(first, round(near) - span), min(stop, round(near) + span + 1)
        if upper > lower:
            first, stop = lower, upper
    top = first + int(np.argmax(values[first:stop]))
    low, high = max(first, top - reach), min(stop - 1, top + reach)
    if top in (first, stop - 1) or high - low < 2:
        return float(top), float(values[top])
    offsets = np.arange(low - top, high - top + 1, dtype=np.float64)
    heights = values[low : high + 1]
    # Centring the offsets makes the three normal equations solvable by hand.
    middle = 0.5 * (offsets[0] + offsets[-1])
    x = offsets - middle
    count = float(len(x))
    x2 = x * x
    s2, s4 = float(x2.sum()), float((x2 * x2).sum())
    total, first_moment, second_moment = (
        float(heights.sum()),
        float(x @ heights),
        float(x2 @ heights),
    )
    bend = (count * second_moment - s2 * total) / (count * s4 - s2 * s2)
    slope = first_moment / s2
    if bend >= 0.0:
        return float(top), float(values[top])
    place = min(max(-0.5 * slope / bend, x[0]), x[-1])
    height = (total - bend * s2) / count + slope * place + bend * place * place
    return top + middle + place, height


def mean_between(rows: FloatArray, begin: float, end: float) -> FloatArray:
    """Mean over [begin, end] (fractional places) of a (N,) or (N, K) series, by trapezoids."""
    last = len(rows) - 1
    begin, end = max(begin, 0.0), min(end, float(last))
    flat = rows.ndim == 1
    table = rows[:, None] if flat else rows
    if end - begin < 1e-9:
        mean = row_at(table, begin)
        return mean[0] if flat else mean
    first, final = math.floor(begin) + 1, math.ceil(end) - 1
    at_begin, at_end = row_at(table, begin), row_at(table, end)
    if final < first:
        mean = 0.5 * (at_begin + at_end)
    else:
        inner = table[first : final + 1]
        area = inner.sum(axis=0) - 0.5 * (inner[0] + inner[-1])
        area = area + 0.5 * (at_begin + inner[0]) * (first - begin)
        area = area + 0.5 * (inner[-1] + at_end) * (end - final)
        mean = area / (end - begin)
    return mean[0] if flat else mean


def smoothed(values: FloatArray, span: float) -> FloatArray:
    """Centred running mean of a (N,) series over about ``span`` samples (odd; ends held)."""
    half = round(0.5 * (span - 1.0))
    if half < 1 or len(values) < 2 * half + 2:
        return values
    padded = np.concatenate([np.full(half + 1, values[0]), values, np.full(half, values[-1])])
    total = np.cumsum(padded)
    width = 2 * half + 1
    mean: FloatArray = (total[width:] - total[:-width]) / width
    return mean


def just_before(rows: FloatArray, place: float, guard: float, reach: float) -> FloatArray:
    """Row at ``place`` carried forward from the samples before it, by a parabola.

    Fits ``rows`` (N, K) over [place − reach, place − guard] (samples; at least five of them)
    and extends to ``place``, so that a shock there leaves the value alone.
    """
    stop = max(math.floor(place - guard) + 1, 1)
    first = max(min(math.ceil(place - reach), stop - 5), 0)
    if stop - first < 4:
        return row_at(rows, place)
    weights = _forward_weights(first - place, stop - first)
    row: FloatArray = weights @ rows[first:stop]
    return row


def _forward_weights(begin: float, count: int) -> FloatArray:
    """Weights giving a fitted parabola's value at 0 from samples at begin, begin + 1, …"""
    x = begin + np.arange(count, dtype=np.float64)
    middle = 0.5 * float(x[0] + x[-1])
    x -= middle
    x2 = x * x
    s2, s4 = float(x2.sum()), float((x2 * x2).sum())
    spread = s4 * count - s2 * s2
    weights: FloatArray = (s4 - s2 * x2) / spread - middle * x / s2
    weights += middle * middle * (count * x2 - s2) / spread
    return weights

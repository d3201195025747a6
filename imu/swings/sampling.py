"""Reading values, crossings, peaks and means between the samples of uniform series.

Series come in stacks: (K, N) for K readings of the same swing, with other axes in front where a
quantity has components. Places are *fractional sample numbers*, one a reading, (K,): 12.25 lies a
quarter of a step after sample 12; NaN is a place not found, and what is read there is NaN. All
reads are linear between samples, so results move smoothly when the data do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imu.types import BoolArray, FloatArray, IntArray

NOWHERE = math.nan


def whole(places: FloatArray) -> IntArray:
    """Samples at or before places; 0 for a place before the first or not found."""
    samples: IntArray = np.fmax(places, 0.0).astype(np.int64)
    return samples


def value_at(values: FloatArray, place: FloatArray) -> FloatArray:
    """Values of (…, K, N) series at places, linear, held at the ends.

    place : (K,) for (…, K) values, or (P, K) for (…, P, K).
    """
    last = values.shape[-1] - 1
    held = np.minimum(np.maximum(place, 0.0), last)
    index = np.minimum(whole(held), last - 1)
    part = held - index
    rows = np.arange(index.shape[-1])
    before = values[..., rows, index]
    value: FloatArray = before + part * (values[..., rows, index + 1] - before)
    return value


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where series of a stack (…, K, N) pass zero: C crossings, ordered by series, then place.

    row : (C,) series, counted through the axes of ``shape`` (…, K). before : (C,) last sample
    before the crossing. place : (C,).
    """

    row: IntArray
    before: IntArray
    place: FloatArray
    shape: tuple[int, ...]

    def only(self, chosen: BoolArray) -> Crossings:
        """Those marked in ``chosen`` (C,)."""
        return Crossings(self.row[chosen], self.before[chosen], self.place[chosen], self.shape)


def crossings(
    values: FloatArray,
    rising: bool,
    first: IntArray | None = None,
    stop: IntArray | None = None,
) -> Crossings:
    """Where (…, K, N) series pass zero upwards (or downwards), in samples [first, stop) (K,)."""
    readings = values.shape[-2]
    low = 0 if first is None else int(first.min())
    high = values.shape[-1] if stop is None else int(stop.max())
    part = values[..., low:high]
    past = part > 0.0 if rising else part < 0.0
    # Several times faster than looking for them in all dimensions.
    flat = np.flatnonzero(past[..., 1:] > past[..., :-1])
    row, before = np.divmod(flat, max(part.shape[-1] - 1, 1))
    before += low
    series = values.reshape(-1, values.shape[-1])
    here, there = series[row, before], series[row, before + 1]
    found = Crossings(row, before, before + here / (here - there), values.shape[:-1])
    # A stack of one was cut to its span above.
    if readings > 1 and first is not None:
        found = found.only(found.before >= first[found.row % readings])
    if readings > 1 and stop is not None:
        found = found.only(found.before + 1 < stop[found.row % readings])
    return found


def choose(found: Crossings, near: float | FloatArray, otherwise: str = "last") -> FloatArray:
    """(…, K) one crossing a series: nearest to ``near`` when that is known, else the first or last.

    near : one place, or an array that fits (…, K).
    """
    if isinstance(near, float):
        distance = np.abs(found.place - near)
    else:
        distance = np.abs(found.place - np.broadcast_to(near, found.shape).ravel()[found.row])
    by_order = found.place if otherwise == "first" else -found.place
    order = np.argsort(np.where(np.isnan(distance), by_order, distance), kind="stable")[::-1]
    chosen = np.full(math.prod(found.shape), NOWHERE)
    # Of several assignments to one series the last one stays: its nearest.
    chosen[found.row[order]] = found.place[order]
    return chosen.reshape(found.shape)


def nearer(one: FloatArray, other: FloatArray, near: float) -> FloatArray:
    """Of two places (K,) each the nearer to ``near``; of one not found, the other."""
    second = np.isnan(one) | (np.abs(other - near) < np.abs(one - near))
    return np.where(second, other, one)


def peak(
    values: FloatArray, first: IntArray, stop: IntArray, reach: int, near: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Places and heights (…, K) of the greatest values of (…, K, N) series in samples
    [first, stop) (K,).

    A parabola fitted by least squares over ``reach`` samples on each side gives both between
    the samples. A greatest value at an end of the span is returned as it stands. Where ``near``
    (…, K) or of all is known, only its neighbourhood (four reaches) is searched, so that of two
    equal humps the same one is chosen again.
    """
    size = values.shape[-1]
    stop = np.minimum(stop, size)
    middle = np.rint(near)
    lower, upper = np.fmax(first, middle - 4 * reach), np.fmin(stop, middle + 4 * reach + 1)
    narrow = upper > lower
    first = np.where(narrow, lower, first).astype(np.int64)
    stop = np.where(narrow, upper, stop).astype(np.int64)
    low, high = int(first.min()), int(stop.max())
    searched = values[..., low:high]
    if first.size > 1:
        searched = np.where(_inside(low, high, first, stop), searched, -np.inf)
    top = low + np.argmax(searched, axis=-1)

    begin, end = np.maximum(first, top - reach), np.minimum(stop, top + reach + 1)
    sample = top[..., None] + np.arange(-reach, reach + 1)
    inside = (sample >= begin[..., None]) & (sample < end[..., None])
    held = np.minimum(np.maximum(sample, 0), size - 1).reshape(top.size, -1)
    heights = values.reshape(-1, size)[np.arange(top.size)[:, None], held].reshape(sample.shape)
    fit = _Parabola.through(heights, sample - top[..., None], inside)
    sound = (top > first) & (top < stop - 1) & (end - begin > 2) & (fit.bend < 0.0)
    summit = fit.middle - 0.5 * fit.slope / np.where(sound, fit.bend, -1.0)
    summit = np.minimum(np.maximum(summit, begin - top), end - 1 - top)
    place = top + np.where(sound, summit, 0.0)
    return place, np.where(sound, fit.at(summit), heights[..., reach])


def mean_between(values: FloatArray, begin: FloatArray, end: FloatArray) -> FloatArray:
    """Means of (…, K, N) series over [begin, end], by trapezoids.

    begin, end : (K,) for (…, K) means, or (P, K) for (…, P, K). A sample's weight is the part of
    its hat (one at the sample, falling to zero at its neighbours) that lies in the span. An empty
    span gives the value at its begin.
    """
    last = values.shape[-1] - 1
    begin = np.minimum(np.maximum(begin, 0.0), last)
    end = np.minimum(np.maximum(end, begin), last)
    low, high = int(whole(begin).min()), min(int(whole(end).max()) + 1, last)
    sample = np.arange(low, high + 1)
    width = (end - begin)[..., None]
    after, until = begin[..., None] - sample, end[..., None] - sample
    weights = (_hat_until(until) - _hat_until(after)) / np.maximum(width, 1e-9)
    empty = width < 1e-9
    if empty.any():
        weights = np.where(empty, 1.0 - np.minimum(np.abs(after), 1.0), weights)
    part = values[..., low : high + 1]
    mean: FloatArray = np.vecdot(part if begin.ndim == 1 else part[..., None, :, :], weights)
    return mean


def _hat_until(offset: FloatArray) -> FloatArray:
    """Area under a hat from its middle to ``offset`` samples after it."""
    held = np.minimum(np.maximum(offset, -1.0), 1.0)
    area: FloatArray = held - 0.5 * held * np.abs(held)
    return area


def smoothed(values: FloatArray, span: float) -> FloatArray:
    """Centred running means of (…, N) series over about ``span`` samples (odd; ends held)."""
    half = round(0.5 * (span - 1.0))
    if half < 1:
        return values
    size = values.shape[-1]
    total = np.empty((*values.shape[:-1], size + 2 * half + 1))
    total[..., : half + 1] = values[..., :1]
    total[..., half + 1 : half + 1 + size] = values
    total[..., half + 1 + size :] = values[..., -1:]
    np.cumsum(total, axis=-1, out=total)
    width = 2 * half + 1
    mean: FloatArray = (total[..., width:] - total[..., :-width]) / width
    return mean


def just_before(values: FloatArray, place: FloatArray, guard: float, reach: float) -> FloatArray:
    """(…, K) values at ``place`` (K,) carried forward from the samples before it, by a parabola.

    Fits (…, K, N) series over [place − reach, place − guard] (samples; at least five of them)
    and extends to ``place``, so that a shock there leaves the value alone.
    """
    stop = np.maximum(np.floor(place - guard) + 1.0, 1.0)
    first = np.maximum(np.minimum(np.ceil(place - reach), stop - 5.0), 0.0)
    low, high = int(first.min()), int(stop.max())
    sample = np.arange(low, high) - place[:, None]
    inside = _inside(low, high, first, stop)
    carried = _Parabola.through(values[..., low:high], sample, inside).at(np.zeros(len(place)))
    few = stop - first < 4.0
    return np.where(few, value_at(values, place), carried) if few.any() else carried


def _inside(low: int, high: int, first: np.ndarray, stop: np.ndarray) -> BoolArray:
    """(…, K, high − low) whether the samples from ``low`` on lie in [first, stop) (…, K)."""
    sample = np.arange(low, high)
    inside: BoolArray = (sample >= first[..., None]) & (sample < stop[..., None])
    return inside


@dataclass(frozen=True, eq=False)
class _Parabola:
    """level + slope · (x − middle) + bend · (x − middle)²; of each reading, (…, K)."""

    middle: FloatArray
    level: FloatArray
    slope: FloatArray
    bend: FloatArray

    @classmethod
    def through(cls, values: FloatArray, x: FloatArray, inside: BoolArray) -> _Parabola:
        """Least squares through those of ``values`` (…, K, M) that are ``inside``.

        x, inside : (K, M), or of the shape of the values. Each row's x is evenly spaced, and those
        inside follow on each other.
        """
        weight = inside.astype(np.float64)
        count = np.add.reduce(weight, axis=-1)
        middle = np.vecdot(x, weight) / count
        # About their middle, odd sums vanish and the normal equations can be solved by hand.
        x = (x - middle[..., None]) * weight
        x2 = x * x
        s2, s4 = np.add.reduce(x2, axis=-1), np.vecdot(x2, x2)
        total, first, second = (
            np.vecdot(values, weight),
            np.vecdot(values, x),
            np.vecdot(values, x2),
        )
        bend = (count * second - s2 * total) / np.maximum(count * s4 - s2 * s2, 1e-9)
        return cls(middle, (total - bend * s2) / count, first / np.maximum(s2, 1e-9), bend)

    def at(self, x: FloatArray) -> FloatArray:
        """(…, K) its values at x (K,)."""
        offset = x - self.middle
        value: FloatArray = self.level + self.slope * offset + self.bend * offset * offset
        return value

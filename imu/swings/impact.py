"""The strike: its shock in the club's acceleration, its onset between samples, its error.

A struck ball shakes the club within a millisecond or two; swing forces, however high, change
smoothly, and a clipped axis merely stands still. So each sample is first held against the
straight line through the few before it: the shock is where that foretelling fails at once and
by much, against the usual and against the speed of the club. A turf touched or a club laid
down rises too slowly, or is not at the moment the club returns to where it started.

The onset is then read from the jump of each sample off the parabola through the three before
it: the moment the jump passes a tenth of its first height, on a logarithmic scale between
samples, since a low-pass filter rounds a shock's beginning roughly so. An
anti-alias filter with its corner at 0.25 to 0.3 of the sampling rate delays by 0.5 to 0.7 of
a sampling interval, and the tenth point by about a third of that: this is taken off. What
stays unknown of the filter, the strike's own shape and the sampling are in the standard error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imu.types import BoolArray, FloatArray, Stream

BEFORE = 6
"""Samples before each sample whose straight line foretells it."""

LEAST_SHOCK = 5.0
"""m/s². A surprise below this is never taken for a strike."""

SHOCK_PER_RATE = 1.5
"""m/s² for each rad/s of club rate: a strike's surprise grows with the speed of the head. The
shaft's own unbending and ringing without a ball stays below about 1."""

SHARPNESS = 5.0
"""How many times the usual surprise before it (the median) a strike must reach."""

QUIET_BEFORE = 0.012
"""s before the greatest surprise that may already belong to the shock."""

CLEAR_PART = 0.2
"""Part of the greatest surprise from which a sample surely belongs to the shock."""

LOOK_EARLIER = 4
"""Samples before the first clear one in which the shock may already have begun."""

FIRST_HEIGHT = 0.004
"""s after the first surprise within which the shock's first height is read."""

ONSET_PART = 0.1
"""Part of the first height at which the onset is read."""

DELAY_ERROR = 0.0003
"""s, standard error from the unknown delay of the sensor's filter and the shape of the shock."""

FILTER_LAG = 0.5
"""Lag of the tenth point behind the strike, as a part of the sampling interval."""

STEP_ERROR = 0.35
"""Standard error from sampling and filter, as a part of the interval (even spread: 0.29)."""


@dataclass(frozen=True)
class Strike:
    """A shock: onset (s, recording time), its standard error (s) and size (m/s²)."""

    time: float
    time_se: float
    size: float


def find_strike(stream: Stream, begin: float, end: float, club_rate: float) -> Strike | None:
    """The strike between two times, or None when there is none.

    stream : the club's, in recording time. club_rate : rad/s, greatest club rate near, against
    which the size of the shock is judged.
    """
    first = max(int(np.searchsorted(stream.time, begin)) - 4 * BEFORE, 0)
    stop = int(np.searchsorted(stream.time, end))
    if stop - first < 5 * BEFORE:
        return None
    time, acc = even_time(stream, first, stop), stream.acc[first:stop]
    surprise = _surprise(time, acc)
    inside = (time >= begin) & (np.arange(len(time)) >= 2 * BEFORE)
    if not inside.any():
        return None
    greatest = int(np.argmax(np.where(inside, surprise, 0.0)))
    quiet = inside & (time < time[greatest] - QUIET_BEFORE)
    usual = float(np.median(surprise[quiet])) if quiet.any() else 0.0
    limit = max(LEAST_SHOCK, SHOCK_PER_RATE * club_rate, SHARPNESS * usual)
    if surprise[greatest] < limit:
        return None
    # The greatest surprise may be the ringing; the onset is the first of its run.
    clear = max(CLEAR_PART * float(surprise[greatest]), SHARPNESS * usual)
    run = np.flatnonzero(inside & (surprise >= min(clear, float(surprise[greatest]))))
    run = run[(time[run] > time[greatest] - QUIET_BEFORE) & (run <= greatest)]
    shock = int(run[0])
    calm = slice(max(shock - 40, 3), max(shock - 6, 4))
    usual_jump = float(np.median(_jump(time, acc, calm.start, calm.stop)))
    return _after_gap(time, shock) or _onset(time, acc, shock, usual_jump)


def even_time(stream: Stream, first: int, stop: int) -> FloatArray:
    """Times of samples first to stop, s, freed of the shiver of their stamps.

    A sensor samples evenly by its own clock; stamps put on afterwards shiver by up to a
    quarter of an interval in some sensors. A straight line of time over sample number, half a
    second to each side, dates the samples. Where stamps and numbers do not go together the
    stamps stand.
    """
    reach = round(0.5 * stream.rate_hz)
    low, high = max(first - reach, 0), min(stop + reach, len(stream.time))
    stamps = stream.time[low:high]
    numbers = (stream.seq[low:high] - stream.seq[low]).astype(np.float64)
    middle, centre = float(numbers.mean()), float(stamps.mean())
    across = numbers - middle
    slope = float(across @ (stamps - centre)) / float(across @ across)
    even = centre + slope * across
    if np.abs(stamps - even).max() > 0.75 * slope:
        return stream.time[first:stop]
    dated: FloatArray = even[first - low : stop - low]
    return dated


def _after_gap(time: FloatArray, shock: int) -> Strike | None:
    """A strike first seen right after lost samples happened somewhere among them."""
    step = np.diff(time[max(shock - BEFORE - 2, 0) : shock + 1])
    usual = float(np.median(np.diff(time)))
    longest = int(np.argmax(step))
    if step[longest] < 1.8 * usual:
        return None
    begin = float(time[max(shock - BEFORE - 2, 0) + longest])
    end = float(time[shock])
    return Strike(0.5 * (begin + end), (end - begin) / math.sqrt(12.0), math.inf)


def _onset(time: FloatArray, acc: FloatArray, shock: int, usual_jump: float) -> Strike | None:
    """Onset of the shock whose first clear sample is ``shock``."""
    first = max(shock - LOOK_EARLIER, BEFORE)
    stop = int(np.searchsorted(time, time[shock] + FIRST_HEIGHT, side="right"))
    jump = _jump(time, acc, first, max(stop, shock + 1))
    height = float(jump.max())
    noise = max(usual_jump, 1e-3 * height)
    level = max(ONSET_PART * height, 4.0 * noise)
    (over,) = np.nonzero(jump > level)
    if len(over) == 0:
        return None
    place = first + int(over[0])
    step = float(time[place] - time[place - 1])
    high = float(jump[over[0]])
    low = max(float(jump[over[0] - 1]) if over[0] > 0 else noise, noise)
    part = math.log(level / low) / math.log(high / low) if low < level else 0.5
    usual_step = float(np.median(np.diff(time)))
    moment = float(time[place - 1]) + part * step - FILTER_LAG * usual_step
    return Strike(moment, math.hypot(STEP_ERROR * step, DELAY_ERROR), height)


def _jump(time: FloatArray, acc: FloatArray, first: int, stop: int) -> FloatArray:
    """(stop − first,) m/s², distance of samples from the parabola through the three before."""
    rows = np.arange(first, stop)
    t = time[rows[:, None] - np.array([3, 2, 1])] - time[rows, None]
    a, b, c = t.T
    weights = np.column_stack(
        [b * c / ((a - b) * (a - c)), a * c / ((b - a) * (b - c)), a * b / ((c - a) * (c - b))]
    )
    foretold = np.einsum("ij,ijk->ik", weights, acc[rows[:, None] - np.array([3, 2, 1])])
    missed = acc[rows] - foretold
    size: FloatArray = np.sqrt(np.einsum("ij,ij->i", missed, missed))
    return size


def _surprise(time: FloatArray, acc: FloatArray) -> FloatArray:
    """(N,) m/s², distance of each sample from the line through those before it.

    Zero where nothing can be foretold: the first samples, and those soon after a gap.
    """
    count = len(time) - BEFORE
    rows = np.arange(count)[:, None] + np.arange(BEFORE)
    past = time[rows] - time[BEFORE:, None]
    mean = past.mean(axis=1, keepdims=True)
    centred = past - mean
    spread = np.einsum("ij,ij->i", centred, centred)
    # Weight of each past sample in the line's value at the present sample.
    weights = 1.0 / BEFORE - centred * (mean / spread[:, None])
    foretold = np.einsum("ij,ijk->ik", weights, acc[rows])
    missed = acc[BEFORE:] - foretold
    surprise = np.zeros(len(time))
    surprise[BEFORE:] = np.sqrt(np.einsum("ij,ij->i", missed, missed))
    step = np.diff(time)
    gap: BoolArray = step > 1.8 * float(np.median(step))
    for place in np.flatnonzero(gap):
        surprise[place + 1 : place + 1 + BEFORE] = 0.0
    return surprise

"""The strike: its shock in the club's acceleration, its onset between samples, its error.

A struck ball shakes the club within half a millisecond; swing forces, however high, change
smoothly, and a clipped axis merely stands still. So each sample is held against what the
samples before it foretell (a straight line through the last few, axis by axis): the shock
is where the foretelling fails at once and by much. The sensor's own low-pass filter delays
and rounds the onset; half of the usual delay is taken off and the rest stated in the error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imu.types import FloatArray, Stream

BEFORE = 6
"""Samples before each sample whose straight line foretells it."""

LEAST_SHOCK = 6.0
"""m/s². A surprise below this is never taken for a strike."""

SHOCK_PER_RATE = 0.8
"""m/s² for each rad/s of club rate: a strike's surprise grows with the speed of the head."""

SHARPNESS = 8.0
"""How many times the usual surprise around it (the median) a strike must reach."""


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
    first = int(np.searchsorted(stream.time, begin)) - 3 * BEFORE
    stop = int(np.searchsorted(stream.time, end))
    first = max(first, 0)
    if stop - first < 3 * BEFORE:
        return None
    time, acc = stream.time[first:stop], stream.acc[first:stop]
    surprise = np.zeros(len(time))
    surprise[BEFORE:] = _surprise(time, acc)
    # Across a gap nothing can be foretold.
    gap = np.diff(time) > 1.8 * np.median(np.diff(time))
    for place in np.flatnonzero(gap):
        surprise[place + 1 : place + 1 + BEFORE] = 0.0
    usual = float(np.median(surprise[BEFORE:]))
    limit = max(LEAST_SHOCK, SHOCK_PER_RATE * club_rate, SHARPNESS * usual)
    inside = time >= begin
    over = np.flatnonzero((surprise > limit) & inside)
    if len(over) == 0:
        return None
    # The onset is the first surprise belonging to the greatest one: within 8 ms before it.
    greatest = int(over[np.argmax(surprise[over])])
    near = over[(time[over] > time[greatest] - 0.008) & (over <= greatest)]
    onset = int(near[0])
    # Smaller but already clear surprises just before are the filter's rounding of the onset.
    floor = max(4.0 * usual, 0.05 * limit)
    while onset > BEFORE and surprise[onset - 1] > floor and time[greatest] - time[onset] < 0.008:
        onset -= 1
    step = float(time[onset] - time[onset - 1])
    moment = float(time[onset - 1]) + 0.5 * step
    return Strike(moment, float(np.hypot(step / np.sqrt(12.0), 0.0003)), float(surprise[greatest]))


def _surprise(time: FloatArray, acc: FloatArray) -> FloatArray:
    """(N − BEFORE,) m/s², distance of each sample from the line through those before it."""
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
    size: FloatArray = np.sqrt(np.einsum("ij,ij->i", missed, missed))
    return size

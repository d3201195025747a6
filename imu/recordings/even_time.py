"""Sample times freed of the shiver of their stamps.

A sensor samples evenly by its own clock; the stamps put on afterwards shiver, in some sensors by
a quarter of an interval, and the shiver of a label must not be taken for movement. Time over
sample number is a straight line but for the slow wander of the two clocks within the sensor:
the line, with the mean of what is left over each half second, dates the samples.

Where stamps and sample numbers do not go together (a clock that jumps), the stamps stand.
"""

from __future__ import annotations

import numpy as np

from imu.types import FloatArray, IntArray, Stream

_BLOCK = 0.5
_FEWEST = 16
_APART = 0.75


def even_times(stream: Stream) -> FloatArray:
    """(N,) s, the stream's times without their shiver; strictly increasing like the stamps."""
    return _even(stream.time, stream.seq)


def _even(time: FloatArray, seq: IntArray) -> FloatArray:
    count = len(time)
    if count < 2 * _FEWEST:
        return time
    number = (seq - seq[0]).astype(np.float64)
    period = float(np.median(np.diff(time) / np.diff(number)))
    if not period > 0.0:
        return time
    across = number - number.mean()
    # Summed, not multiplied as vectors: that would round differently with the number of threads.
    slope = float(np.sum(across * (time - time.mean()))) / float(np.sum(across * across))
    left = time - (time.mean() + slope * across)
    block = np.floor(number * period / _BLOCK).astype(np.int64)
    starts = np.flatnonzero(np.diff(block, prepend=-1))
    sizes = np.diff(np.append(starts, count))
    full = sizes >= _FEWEST
    if np.count_nonzero(full) < 2:
        return time
    middle = (np.add.reduceat(number, starts) / sizes)[full]
    level = (np.add.reduceat(left, starts) / sizes)[full]
    even = time - left + np.interp(number, middle, level)
    apart = np.abs(time - even) > _APART * period
    if apart.any():
        # A jump spoils the means of its own block and of both beside it.
        spoilt = np.unique(block[apart])
        near = np.isin(block, np.concatenate([spoilt - 1, spoilt, spoilt + 1]))
        even = np.where(near, time, even)
    return even if np.all(np.diff(even) > 0.0) else time

"""Samples that can't be trusted as read: clipped at full scale, or lost on the way.

A converter clips before the sensor's digital low-pass filter, so a clipped peak may come out
rounded and below full scale. Clipped is therefore any sample near full scale, and its
neighbours within the filter's reach.
"""

from __future__ import annotations

import numpy as np

from imu.types import BoolArray, FloatArray, Stream

NEAR_FULL_SCALE = 0.975
_GAP_PERIODS = 1.6


def clipped_samples(acc: FloatArray, gyr: FloatArray, stream: Stream) -> BoolArray:
    """(N, 6) True where an axis of the accelerometer, then of the gyroscope, is clipped.

    acc, gyr : (N, 3) samples of ``stream``.
    """
    force = np.abs(acc) >= NEAR_FULL_SCALE * stream.acc_range
    rate = np.abs(gyr) >= NEAR_FULL_SCALE * stream.gyr_range
    return np.hstack([force, rate])


def spans(flags: BoolArray, time: FloatArray) -> FloatArray:
    """(S, 2) s, from the last good sample before to the first good one after each run of True."""
    edges = np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8))
    first = np.flatnonzero(edges == 1)
    last = np.flatnonzero(edges == -1)
    end = len(time) - 1
    return np.column_stack([time[np.maximum(first - 1, 0)], time[np.minimum(last, end)]])


def gap_spans(time: FloatArray, period: float) -> FloatArray:
    """(S, 2) s, from the last sample before to the first after each loss."""
    before = np.flatnonzero(np.diff(time) > _GAP_PERIODS * period)
    return np.column_stack([time[before], time[before + 1]])

"""Samples that can't be trusted as read: clipped at full scale, or lost on the way.

A converter clips before the sensor's digital low-pass filter, so a clipped peak may come out
rounded and below full scale. Near full scale counts as clipped, therefore; how far the filter
reaches on both sides is left to those who ask (``imu.fusion.samples``, ``imu.fusion.bridging``).
"""

from __future__ import annotations

import numpy as np

from imu.fusion.runs import runs
from imu.types import BoolArray, FloatArray, Stream

NEAR_FULL_SCALE = 0.975
"""Part of full scale from which a sample may be clipped."""
_GAP_PERIODS = 1.6
"""Nominal periods from one sample to the next that mean a loss."""


def clipped_samples(acc: FloatArray, gyr: FloatArray, stream: Stream) -> BoolArray:
    """(N, 6) True where an axis of the accelerometer, then of the gyroscope, is clipped.

    acc, gyr : (N, 3) m/s² and rad/s, samples of ``stream``, whose ranges count.
    """
    force = np.abs(acc) >= NEAR_FULL_SCALE * stream.acc_range
    rate = np.abs(gyr) >= NEAR_FULL_SCALE * stream.gyr_range
    return np.hstack([force, rate])


def spans(flags: BoolArray, time: FloatArray) -> FloatArray:
    """(S, 2) s, from the last good sample before to the first good one after each run of True.

    flags : (N,). time : (N,) s.
    """
    first, after = runs(flags).T
    last = len(time) - 1
    return np.column_stack([time[np.maximum(first - 1, 0)], time[np.minimum(after, last)]])


def gap_spans(time: FloatArray, period: float) -> FloatArray:
    """(S, 2) s, from the last sample before to the first after each loss.

    time : (N,) s. period : s, nominal.
    """
    before = np.flatnonzero(np.diff(time) > _GAP_PERIODS * period)
    return np.column_stack([time[before], time[before + 1]])

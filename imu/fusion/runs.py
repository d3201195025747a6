"""Runs of True in a row of flags."""

from __future__ import annotations

import numpy as np

from imu.types import BoolArray, IntArray


def runs(flags: BoolArray) -> IntArray:
    """(R, 2) first sample of each run of True in ``flags`` (N,), and one past its last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2)

"""Relabellings of swings between two sets, shared by every permutation test here."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import combinations

import numpy as np

from imu.types import FloatArray

RELABELLINGS = 2000
MOST_ENUMERATED = 4000
"""Small sets are not sampled: every relabelling is used when there are no more than this."""


@lru_cache(maxsize=16)
def relabellings(size_a: int, size_b: int, draws: int, seed: int) -> FloatArray:
    """(R, size_a + size_b) rows of 1 (belongs to A) and 0 (to B); row 0 is as observed.

    All of them when few, else ``draws`` at random and the observed one. Read-only.
    """
    total = size_a + size_b
    if math.comb(total, size_a) <= MOST_ENUMERATED:
        chosen = np.array(list(combinations(range(total), size_a)))
    else:
        generator = np.random.default_rng([seed, size_a, size_b])
        chosen = np.argpartition(generator.random((draws, total)), size_a - 1, axis=1)[:, :size_a]
        chosen = np.vstack([np.arange(size_a), chosen])
    table: FloatArray = np.zeros((len(chosen), total))
    np.put_along_axis(table, chosen, 1.0, axis=1)
    table.flags.writeable = False
    return table


@lru_cache(maxsize=16)
def sign_flips(size: int, draws: int, seed: int) -> FloatArray:
    """(R, size) rows of +1 and −1; row 0 is all +1. All of them when few. Read-only."""
    if 2**size <= MOST_ENUMERATED:
        bits = (np.arange(2**size)[:, None] >> np.arange(size)) & 1
        table = np.asarray(1.0 - 2.0 * bits, np.float64)
    else:
        generator = np.random.default_rng([seed, size])
        table = np.asarray(1.0 - 2.0 * generator.integers(0, 2, (draws + 1, size)), np.float64)
        table[0] = 1.0
    table.flags.writeable = False
    return table


def exceedance(statistics: FloatArray, observed: float) -> float:
    """Share of relabellings (R,), the observed one among them, at or beyond ``observed``."""
    tolerance = 1e-9 * max(1.0, abs(observed))
    return float(np.mean(statistics >= observed - tolerance))

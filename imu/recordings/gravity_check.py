"""Does the gyroscope agree with the accelerometer? Gravity's turn between two rests tells.

At rest the accelerometer shows where up is. Between two rests the gyroscope says how the sensor
turned, so gravity's direction after can be foretold from that before. With a gyroscope in the
wrong unit, or with axes of the wrong sign, it comes out far off; this needs no swing, only a few
moments of rest in different postures.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from imu.types import FloatArray
from imu.units import DEG, STANDARD_GRAVITY

STEP_S = 0.005
"""Rates are averaged over this before they are summed up; faster turning is well resolved."""
REST_S, STEADY_M_S2, GRAVITY_SLACK = 0.15, 0.8, 0.08
"""A rest: this long, the acceleration steady to this, its size gravity's to this share. The
sensor may turn slowly; what counts is that the accelerometer shows where up is."""
LATER_S, LONGEST_S, CLEAR_TURN = 1.0, 10.0, 35.0 * DEG
"""Rests compared lie at most this far apart; up turned by this much between them tells most."""
MOST_PAIRS, LEAST_PAIRS = 12, 3
WRONG, RIGHT = 35.0 * DEG, 12.0 * DEG
"""Median errors that condemn the declared scale and that speak for another."""


def _apart(pairs: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """As many of the pairs as fit side by side without overlap: independent evidence."""
    chosen: list[tuple[int, int]] = []
    for before, after in sorted(pairs, key=lambda pair: pair[1]):
        if not chosen or before >= chosen[-1][1]:
            chosen.append((before, after))
    return chosen


def rest_pairs(time: FloatArray, acc: FloatArray) -> list[tuple[int, int, FloatArray, FloatArray]]:
    """Successive rests with motion between, those with up clearly turned if there are enough.

    Returns the last sample of the first rest, the first of the second, and the unit vectors of up
    in both, sensor frame. acc in m/s².
    """
    length = max(round(REST_S * (len(time) - 1) / (time[-1] - time[0])), 2)
    blocks = len(time) // length
    chunks = acc[: blocks * length].reshape(blocks, length, 3)
    mean = chunks.mean(axis=1)
    size = np.linalg.norm(mean, axis=1)
    steady = np.sqrt(((chunks - mean[:, None]) ** 2).sum(axis=2).mean(axis=1)) < STEADY_M_S2
    at_rest = np.flatnonzero(steady & (np.abs(size / STANDARD_GRAVITY - 1.0) < GRAVITY_SLACK))
    if len(at_rest) < 2:
        return []
    up = mean / np.maximum(size, 1e-9)[:, None]
    rest: list[int] = at_rest.tolist()
    longest, later = LONGEST_S / REST_S, round(LATER_S / REST_S)
    # neighbours with motion between, and rests a second on, for turns slow enough to be steady
    moved = [pair for pair in itertools.pairwise(rest) if 2 <= pair[1] - pair[0] <= longest]
    following = np.minimum(np.searchsorted(at_rest, at_rest + later), len(rest) - 1).tolist()
    slow = [(block, rest[index]) for block, index in zip(rest, following, strict=True)]
    clear = _apart(
        (before, after)
        for before, after in (*moved, *slow)
        if 0 < after - before <= longest and up[before] @ up[after] < np.cos(CLEAR_TURN)
    )
    found = clear if len(clear) >= LEAST_PAIRS else moved
    half = length // 2
    pairs = [(b * length + half, a * length + half, up[b], up[a]) for b, a in found]
    chosen = np.linspace(0, len(pairs) - 1, min(len(pairs), MOST_PAIRS)).astype(int)
    return [pairs[index] for index in chosen]


def _turned(time: FloatArray, gyr: FloatArray) -> Rotation:
    """The sensor's turn over the samples: its later frame seen from its earlier one."""
    group = max(round(STEP_S * (len(time) - 1) / (time[-1] - time[0])), 1)
    starts = np.arange(0, len(time) - 1, group)
    steps = np.diff(time)
    turn = np.add.reduceat(0.5 * (gyr[1:] + gyr[:-1]) * steps[:, None], starts)
    product = Rotation.from_rotvec(turn)
    while len(product) > 1:
        odd = product[-1:] if len(product) % 2 else None
        even = len(product) - len(product) % 2
        halved = product[0:even:2] * product[1:even:2]
        product = halved if odd is None else Rotation.concatenate([halved, odd])
    return product[0]


def gravity_errors(
    time: FloatArray, acc: FloatArray, gyr: FloatArray, scales: Mapping[str, float]
) -> dict[str, float] | None:
    """Median error (rad) of the foretold direction of up, for each factor on the rates.

    time s, acc m/s², gyr rad/s. None when there are too few rests in different postures.
    """
    pairs = rest_pairs(time, acc)
    if len(pairs) < LEAST_PAIRS:
        return None
    errors = {}
    for name, scale in scales.items():
        angles = []
        for start, end, before, after in pairs:
            turn = _turned(time[start : end + 1], scale * gyr[start : end + 1])
            foretold = turn.inv().apply(before)
            angles.append(np.arccos(np.clip(foretold @ after, -1.0, 1.0)))
        errors[name] = float(np.median(angles))
    return errors


def better_scale(errors: Mapping[str, float] | None, declared: str) -> str:
    """The other factor that the evidence strongly speaks for, "" when there is none."""
    if errors is None or errors[declared] < WRONG:
        return ""
    best = min(errors, key=lambda name: errors[name])
    return best if best != declared and errors[best] < RIGHT else ""

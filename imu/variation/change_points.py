"""Steps in a row of session values, reported only when the data support them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import stats

from imu.types import FloatArray, IntArray
from imu.variation.permutation import exceedance
from imu.variation.shift import welch_shift

SHORTEST = 4
"""Sessions on either side of a step."""

DRAWS = 2000


@dataclass(frozen=True)
class Step:
    """A lasting change between two sessions.

    place : index of the first session after it. before, after : means of the stretches on
    either side. low, high : 95 % interval of their difference. p : chance of such a step
    somewhere when the order of sessions means nothing.
    """

    place: int
    before: float
    after: float
    low: float
    high: float
    p: float


def find_steps(values: FloatArray, alpha: float, seed: int, most: int = 4) -> tuple[Step, ...]:
    """Steps of the mean in (N,) session values, by repeated splitting (Scott & Knott 1974).

    A split stands when its largest statistic is beyond all but ``alpha`` of reorderings, also
    after allowing for sessions resembling their neighbours (lag-1 correlation of what is left),
    and when a step fits the stretch better than a straight line: a gradual change is no step.
    """
    found: list[tuple[int, float]] = []
    waiting = [(0, len(values))]
    while waiting and len(found) < most:
        start, end = waiting.pop(0)
        split = _best_split(values[start:end], alpha, seed)
        if split is None:
            continue
        place, p = split
        found.append((start + place, p))
        waiting += [(start, start + place), (start + place, end)]
    places = sorted(found)
    edges = [0, *(place for place, _ in places), len(values)]
    steps = []
    for number, (place, p) in enumerate(places):
        left, right = values[edges[number] : place], values[place : edges[number + 2]]
        change = welch_shift(left, right).difference
        steps.append(
            Step(place, float(left.mean()), float(right.mean()), change.low, change.high, p)
        )
    return tuple(steps)


def _best_split(values: FloatArray, alpha: float, seed: int) -> tuple[int, float] | None:
    size = len(values)
    if size < 2 * SHORTEST or values.std() == 0:
        return None
    centred = (values - values.mean()) / values.std()
    observed = _split_statistics(centred[None])[0]
    place = int(observed.argmax())
    statistic = float(observed[place])
    split = place + SHORTEST
    left, right = centred[:split], centred[split:]
    residual = np.concatenate([left - left.mean(), right - right.mean()])
    line = np.polynomial.polynomial.polyfit(np.arange(size), centred, 1)
    off_line = centred - np.polynomial.polynomial.polyval(np.arange(size), line)
    if (residual**2).sum() >= (off_line**2).sum():
        return None
    square = float((residual**2).sum())
    lag = float((residual[1:] * residual[:-1]).sum() / square) + 1 / size if square > 0 else 0.0
    lag = min(max(lag, 0.0), 0.9)
    statistic *= np.sqrt((1 - lag) / (1 + lag))
    if 2 * stats.t.sf(statistic, size - 2) > alpha:
        # Not even a split chosen beforehand would pass: no need to draw.
        return None
    by_chance = _split_statistics(centred[_orders(size, seed)]).max(axis=1)
    p = max(exceedance(by_chance, statistic), 1 / (DRAWS + 1))
    return (split, p) if p < alpha else None


@lru_cache(maxsize=32)
def _orders(size: int, seed: int) -> IntArray:
    """(DRAWS, size) random reorderings."""
    generator = np.random.default_rng([seed, size])
    return np.argsort(generator.random((DRAWS, size)), axis=1)


def _split_statistics(rows: FloatArray) -> FloatArray:
    """(R, K) |t|-like statistic of every allowed split of (R, N) centred rows."""
    size = rows.shape[1]
    left = np.arange(SHORTEST, size - SHORTEST + 1)
    total = np.cumsum(rows, axis=1)[:, left - 1]
    # Share of the variance that a split explains, as |t|: monotone, so no residual SD is needed
    # for ranking, but the correction for resembling neighbours needs the scale of t.
    explained = np.minimum(total**2 * size / (left * (size - left)) / size, 1 - 1e-12)
    return np.asarray(np.sqrt(explained / (1 - explained) * (size - 2)))

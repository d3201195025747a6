"""Steps in a row of session values, reported only when the data support them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy import stats

from imu.types import FloatArray, IntArray
from imu.variation.permutation import exceedance
from imu.variation.shift import welch_shift

SHORTEST = 4
"""Sessions on either side of a step."""

DRAWS = 2000

GRID = 40
"""Places tried in a long row before the best is refined."""


@dataclass(frozen=True)
class Step:
    """A lasting change between two sessions.

    place : index of the first session after it; session : what that one is called. before, after :
    means of the stretches on either side. low, high : 95 % interval of their difference. p :
    chance of such a step somewhere when the order of sessions means nothing.
    """

    place: int
    before: float
    after: float
    low: float
    high: float
    p: float
    session: str = ""


def find_steps(values: FloatArray, alpha: float, seed: int, most: int = 4) -> tuple[Step, ...]:
    """Steps of the mean in (N,) session values, by repeated splitting.

    Each stretch is split in two, or in three with the middle apart (circular binary
    segmentation; Olshen et al. 2004, Biostatistics 5:557-572). A split stands when its statistic is
    beyond all but ``alpha`` of reorderings, also after allowing for sessions that resemble their
    neighbours (lag-1 correlation of what is left, with one standard error added), and when it
    fits better than a straight line by Schwarz's criterion: a gradual change is no step.
    """
    found: list[tuple[int, float]] = []
    waiting = [(0, len(values))]
    while waiting and len(found) < most:
        start, end = waiting.pop(0)
        places, p = _best_split(values[start:end], alpha, seed)
        if not places:
            continue
        cuts = [start + place for place in places]
        found += [(cut, p) for cut in cuts]
        waiting += list(pairwise([start, *cuts, end]))
    places_found = sorted(found)[:most]
    edges = [0, *(place for place, _ in places_found), len(values)]
    steps = []
    for number, (place, p) in enumerate(places_found):
        left, right = values[edges[number] : place], values[place : edges[number + 2]]
        change = welch_shift(left, right).difference
        steps.append(
            Step(place, float(left.mean()), float(right.mean()), change.low, change.high, p)
        )
    return tuple(steps)


def _best_split(values: FloatArray, alpha: float, seed: int) -> tuple[list[int], float]:
    """Places of the best split that stands, and its p; no places when none does."""
    size = len(values)
    rounding = 4 * np.finfo(np.float64).eps * float(np.abs(values).max(initial=0.0))
    if size < 2 * SHORTEST or values.std() <= rounding:
        return [], 1.0
    centred = (values - values.mean()) / values.std()
    starts, ends = _stretches(size)
    best = int(_statistics(centred[None], starts, ends)[0].argmax())
    places = _refined(centred, int(starts[best]), int(ends[best]))
    inside = np.zeros(size, dtype=bool)
    inside[slice(*places) if len(places) == 2 else slice(places[0], None)] = True
    level = np.where(inside, centred[inside].mean(), centred[~inside].mean())
    residual = centred - level
    resolved = size * (rounding / values.std()) ** 2
    if not _beats_a_line(centred, residual, len(places), float(resolved)):
        return [], 1.0
    square = float((residual**2).sum())
    explained = 1 - square / size
    statistic = np.sqrt(explained / max(square / size, 1e-12) * (size - 2))
    lag = float((residual[1:] * residual[:-1]).sum() / max(square, 1e-12)) + 1 / np.sqrt(size)
    lag = min(max(lag, 0.0), 0.9)
    statistic *= np.sqrt((1 - lag) / (1 + lag))
    if 2 * stats.t.sf(statistic, size - 2) > alpha:
        # Not even a split chosen beforehand would pass: no need to draw.
        return [], 1.0
    by_chance = _statistics(centred[_orders(size, seed)], starts, ends).max(axis=1)
    p = max(exceedance(by_chance, statistic), 1 / (DRAWS + 1))
    return (places, p) if p < alpha else ([], p)


def _beats_a_line(centred: FloatArray, residual: FloatArray, steps: int, resolved: float) -> bool:
    """Whether the steps fit better than a straight line by Schwarz's criterion (1978).

    resolved : sum of squares that rounding alone leaves; a perfect fit is no better than that.
    """
    size = len(centred)
    time = np.arange(size) - (size - 1) / 2
    slope = float(time @ centred / (time @ time))
    off_line = centred - slope * time
    by_steps = size * np.log(max((residual**2).sum(), resolved)) + (2 + steps) * np.log(size)
    by_line = size * np.log(max((off_line**2).sum(), resolved)) + 2 * np.log(size)
    return bool(by_steps < by_line)


def _stretches(size: int) -> tuple[IntArray, IntArray]:
    """First and end index of every stretch set apart; one that ends at ``size`` is a plain split.

    Long rows are looked through on a grid; ``_refined`` then moves the ends.
    """
    stride = max(1, size // GRID)
    grid = np.arange(SHORTEST, size - SHORTEST + 1, stride)
    first, last = (part.ravel() for part in np.meshgrid(grid, grid, indexing="ij"))
    apart = last - first >= SHORTEST
    starts = np.concatenate([grid, first[apart]])
    ends = np.concatenate([np.full(len(grid), size), last[apart]])
    return starts, ends


def _refined(centred: FloatArray, start: int, end: int) -> list[int]:
    """The places of a stretch moved to where it stands out most, within a step of the grid."""
    size = len(centred)
    reach = np.arange(-(size // GRID), size // GRID + 1)
    starts = start + reach
    ends = np.array([size]) if end == size else end + reach
    first, last = (part.ravel() for part in np.meshgrid(starts, ends, indexing="ij"))
    fits = (first >= SHORTEST) & (last - first >= SHORTEST)
    fits &= (last == size) | (last <= size - SHORTEST)
    first, last = first[fits], last[fits]
    best = int(_statistics(centred[None], first, last)[0].argmax())
    return [int(first[best])] if end == size else [int(first[best]), int(last[best])]


@lru_cache(maxsize=32)
def _orders(size: int, seed: int) -> IntArray:
    """(DRAWS, size) random reorderings."""
    generator = np.random.default_rng([seed, size])
    return np.argsort(generator.random((DRAWS, size)), axis=1)


def _statistics(rows: FloatArray, starts: IntArray, ends: IntArray) -> FloatArray:
    """(R, K) |t| of the mean of each stretch against the rest, of (R, N) rows of mean 0, SD 1."""
    size = rows.shape[1]
    total = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)
    length = ends - starts
    inside = total[:, ends] - total[:, starts]
    explained = np.minimum(inside**2 / (length * (size - length)), 1 - 1e-12)
    return np.asarray(np.sqrt(explained / (1 - explained) * (size - 2)))

"""Does a measure go with where the ball went, as noted swing by swing?

Going together is not causing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from imu.columns import headline_metrics
from imu.number_words import decimals, number, with_unit
from imu.shown_units import SI, ShownUnits
from imu.types import FloatArray
from imu.variation.intervals import UNKNOWN, Interval, column_sd
from imu.variation.shift import Shift, holm, welch_shift
from imu.variation.wording import plain_name

FEWEST_SHOTS = 4
"""Shots of either result below which nothing is said."""


@dataclass(frozen=True)
class ShotResult:
    """One metric against the shot result noted.

    question : "bad against good" or "right against left". difference : mean of the first less
    that of the second. superiority : chance that a swing of the first has the larger value
    (0.5: no association), with interval. distance : the same difference for distance from the
    set's own median, of either side: are bad shots the odd ones?
    """

    metric: str
    question: str
    swings_first: int
    swings_second: int
    difference: Interval
    superiority: Interval
    distance: Interval
    p: float
    p_holm: float
    sentence: str


def shot_result_association(
    swings: pd.DataFrame,
    metrics: Sequence[str] | None = None,
    level: float = 0.95,
    units: ShownUnits = SI,
) -> tuple[ShotResult, ...]:
    """Each metric against the shot results noted: bad against good, right against left.

    metrics : the headline ones by default. Empty when too few results are noted. Holm's
    adjustment runs over all metrics of a question. units : of the sentences; numbers stay in the
    units kept.
    """
    names = [m.name for m in headline_metrics()] if metrics is None else list(metrics)
    found: list[ShotResult] = []
    for question, column, of_first, of_second in (
        ("bad against good", "outcome", "bad", "good"),
        ("right against left", "direction", "right", "left"),
    ):
        if column not in swings:
            continue
        noted = swings[column].to_numpy(object)
        rows = []
        for name in names:
            if name not in swings:
                continue
            value = swings[name].to_numpy(np.float64)
            here = np.isfinite(value)
            first, second = value[here & (noted == of_first)], value[here & (noted == of_second)]
            if min(len(first), len(second)) < FEWEST_SHOTS or value[here].std() == 0:
                continue
            middle = float(np.median(value[here]))
            shift = welch_shift(second, first, level)
            distance = welch_shift(np.abs(second - middle), np.abs(first - middle), level)
            chance = superiority(first, second, level)
            rows.append((name, first, second, shift, chance, distance))
        adjusted = holm([row[3].p for row in rows])
        found += [
            ShotResult(
                metric=name,
                question=question,
                swings_first=len(first),
                swings_second=len(second),
                difference=shift.difference,
                superiority=chance,
                distance=distance.difference,
                p=shift.p,
                p_holm=float(p),
                sentence=_shot_sentence(name, of_first, of_second, shift, float(p), level, units),
            )
            for (name, first, second, shift, chance, distance), p in zip(
                rows, adjusted, strict=True
            )
        ]
    return tuple(found)


def superiority(first: FloatArray, second: FloatArray, level: float = 0.95) -> Interval:
    """Chance that a value of ``first`` exceeds one of ``second``, ties half.

    The interval is that of Brunner & Munzel (2000) on the logit scale; unknown when the sets do
    not overlap at all.
    """
    size_a, size_b = len(first), len(second)
    if min(size_a, size_b) < 2:
        return UNKNOWN
    wins = (first[:, None] > second).astype(float) + 0.5 * (first[:, None] == second)
    chance = float(wins.mean())
    part_a = float(column_sd(wins.mean(axis=1))) ** 2 / size_a
    part_b = float(column_sd(wins.mean(axis=0))) ** 2 / size_b
    error = np.sqrt(part_a + part_b)
    if error == 0 or not 0 < chance < 1:
        return Interval(chance, float("nan"), float("nan"))
    freedom = (part_a + part_b) ** 2 / (part_a**2 / (size_a - 1) + part_b**2 / (size_b - 1))
    half = float(stats.t.ppf(0.5 + level / 2, freedom)) * error / (chance * (1 - chance))
    logit = np.log(chance / (1 - chance))
    low, high = (float(1 / (1 + np.exp(-(logit + side * half)))) for side in (-1, 1))
    return Interval(chance, low, high)


def _shot_sentence(
    name: str,
    of_first: str,
    of_second: str,
    shift: Shift,
    p_holm: float,
    level: float,
    units: ShownUnits,
) -> str:
    metric = units.metric(name)
    ends = Interval(*(units.factor(name) * end for end in shift.difference.ends))
    places = decimals(max(abs(ends.low), abs(ends.high)))
    size = with_unit(number(ends.value, places), metric.unit)
    interval = f"{100 * level:.3g} % {number(ends.low, places)} to {number(ends.high, places)}"
    head = f"{plain_name(metric)}: {of_first} shots {size} against {of_second} ones ({interval})"
    if p_holm < 1 - level:
        return f"{head}, more than chance among the measures shown."
    return f"{head}, not told from chance."

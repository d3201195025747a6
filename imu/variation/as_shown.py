"""What was found, in the units a person reads: numbers turned, sentences worded anew.

Nothing is worked out again: means, SDs and their intervals go with the unit, ratios do not.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from imu.shown_units import ShownUnits
from imu.variation.change_points import Step
from imu.variation.findings import Comparison, Finding, SideOfFinding
from imu.variation.intervals import Interval
from imu.variation.progress import Progress
from imu.variation.session_table import SESSION_COLUMNS
from imu.variation.spread import SPREAD_COLUMNS
from imu.variation.trend import Trend, level_sentence
from imu.variation.wording import shift_sentence, spread_sentence

_NO_UNIT = frozenset({"swings", "missing", "cv", "noise_is", "drift_p", "far_out"})
_NAMES = frozenset({"metric", "label", "unit", "session_key", "player", "club", "session", "date"})
IN_UNIT = tuple(
    name for name in {**SPREAD_COLUMNS, **SESSION_COLUMNS} if name not in _NO_UNIT | _NAMES
)
"""Columns of the spread and session tables that are in the metric's unit."""


def table_as_shown(table: pd.DataFrame, units: ShownUnits) -> pd.DataFrame:
    """A spread table or a session table in these units."""
    return units.table(table, IN_UNIT)


def comparison_as_shown(found: Comparison, units: ShownUnits) -> Comparison:
    """A comparison with its findings in these units."""
    findings = tuple(_finding(one, found, units) for one in found.findings)
    return replace(found, findings=findings)


def progress_as_shown(found: Progress, units: ShownUnits) -> Progress:
    """Sessions and trends in these units."""
    trends = tuple(_trend(one, units) for one in found.trends)
    return replace(found, sessions=table_as_shown(found.sessions, units), trends=trends)


def _finding(one: Finding, found: Comparison, units: ShownUnits) -> Finding:
    factor, metric = units.factor(one.metric), units.metric(one.metric)
    if factor == 1.0:
        return one
    a, b, shift = _side(one.a, factor), _side(one.b, factor), _interval(one.shift, factor)
    level, where = found.limits.level, found.where
    return replace(
        one,
        unit=metric.unit,
        a=a,
        b=b,
        shift=shift,
        largest_shift=one.largest_shift * factor,
        shift_sentence=shift_sentence(metric, shift, where, level),
        spread_sentence=spread_sentence(
            metric, one.spread.ratio, a.sd.value, b.sd.value, where, level
        ),
    )


def _side(side: SideOfFinding, factor: float) -> SideOfFinding:
    return replace(
        side,
        mean=side.mean * factor,
        sd=_interval(side.sd, factor),
        noise_sd=side.noise_sd * factor,
        human_sd=side.human_sd * factor,
    )


def _trend(trend: Trend, units: ShownUnits) -> Trend:
    factor, metric = units.factor(trend.metric), units.metric(trend.metric)
    if factor == 1.0:
        return trend
    level = _interval(trend.level_per_month, factor)
    steps = tuple(_step(one, factor) for one in trend.level_steps)
    return replace(
        trend,
        unit=metric.unit,
        level_per_month=level,
        between_sessions_sd=trend.between_sessions_sd * factor,
        level_steps=steps,
        level_sentence=level_sentence(metric, level, trend.level_p_holm, trend.sessions, steps),
    )


def _step(step: Step, factor: float) -> Step:
    ends = (step.before, step.after, step.low, step.high)
    before, after, low, high = (end * factor for end in ends)
    return replace(step, before=before, after=after, low=low, high=high)


def _interval(interval: Interval, factor: float) -> Interval:
    return Interval(*(end * factor for end in interval.ends))

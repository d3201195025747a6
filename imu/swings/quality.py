"""How far a swing's numbers can be trusted, with the reasons in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imu.columns import METRIC_BY_NAME, METRICS
from imu.fusion.setup_finding import SetupFinding
from imu.metric import Metric
from imu.number_words import MINUS, decimals_for, number, with_unit
from imu.swings.measure import SwingMeasurement
from imu.types import Motion, SwingWindow

GOOD, FAIR, POOR = "good", "fair", "poor"
_WORSE = (GOOD, FAIR, POOR)

_BRIDGED_FAIR = 0.010
_BRIDGED_POOR = 0.060
"""s of the downswing."""
_MISFIT_FAIR = 1.6
_MISFIT_POOR = 3.0
_HINGE_SE_POOR_DEG = 5.0
_NEEDED = ("downswing_ms", "release_ms", "hinge_max_deg")
"""A swing without one of these answers nothing that is asked."""


@dataclass(frozen=True)
class Quality:
    """``grade`` is good, fair or poor; poor swings are kept out of statistics."""

    grade: str
    reasons: tuple[str, ...]


def judge(
    motion: Motion,
    window: SwingWindow,
    measured: SwingMeasurement,
    metric_se: Mapping[str, float],
    misfit: float,
) -> Quality:
    """Grade one swing.

    window : with the impact that ``measured`` was read with. metric_se : standard errors by name.
    misfit : how much the two sensors disagree at the wrist, over what is usual (1); NaN where
    they could nowhere be compared.
    """
    grade, reasons = GOOD, []

    def lower(to: str, why: str) -> None:
        nonlocal grade
        reasons.append(why)
        if grade != POOR:
            grade = to

    step = float(motion.time[1] - motion.time[0])
    key = (motion.time > window.top - 0.05) & (motion.time < window.impact)
    bridged = step * float(np.count_nonzero(motion.reconstructed & key))
    if bridged > _BRIDGED_POOR:
        lower(POOR, f"{bridged * 1e3:.0f} ms of the downswing lost or clipped")
    elif bridged > _BRIDGED_FAIR:
        lower(FAIR, f"{bridged * 1e3:.0f} ms of the downswing bridged")
    if math.isnan(misfit):
        lower(POOR, "the two sensors could nowhere be compared in this swing")
    elif misfit > _MISFIT_POOR:
        lower(POOR, "the two sensors do not agree: a loose strap or clamp?")
    elif misfit > _MISFIT_FAIR:
        lower(FAIR, "the two sensors agree less well than in the other swings")
    hinge_se = metric_se.get("hinge_max_deg", math.nan)
    if hinge_se > _HINGE_SE_POOR_DEG:
        lower(POOR, f"hinge uncertain by {hinge_se:.0f}°")
    for name in _NEEDED:
        if not math.isfinite(measured.metrics.get(name, math.nan)):
            lower(POOR, f"{_called(name)} could not be measured")
    for metric in METRICS:
        value = measured.metrics.get(metric.name, math.nan)
        if math.isfinite(value) and not metric.low <= value <= metric.high:
            reasons.append(_unusual(metric, value))
    return Quality(grade, tuple(reasons))


def _unusual(metric: Metric, value: float) -> str:
    low, high = (f"{end:g}".replace("-", MINUS) for end in (metric.low, metric.high))
    read = with_unit(number(value, decimals_for(math.nan, value)), metric.unit)
    usual = f"{low} to {with_unit(high, metric.unit)}"
    return f"{_called(metric.name)} {read} is outside the usual {usual}"


def _called(name: str) -> str:
    """What a metric, or an event, is called within a sentence."""
    label = METRIC_BY_NAME[name].label if name in METRIC_BY_NAME else name.replace("_", " ")
    return label[0].lower() + label[1:]


def missing_in_words(notes: Mapping[str, str]) -> list[str]:
    """Why numbers are missing, each reason once with all that it took.

    notes : the reason by name of metric or event (``SwingMeasurement.notes``).
    """
    together: dict[str, list[str]] = {}
    for name, why in notes.items():
        together.setdefault(why, []).append(_called(name))
    return [f"{', '.join(names)}: {why}" for why, names in together.items()]


def judge_setup(quality: Quality, findings: Sequence[SetupFinding]) -> Quality:
    """The quality lowered by what was found wrong with the set-up in this swing."""
    grade, reasons = quality.grade, list(quality.reasons)
    for found in findings:
        if not found.grade:
            continue
        reasons.append(f"{found.kind}, see the warnings")
        if _WORSE.index(found.grade) > _WORSE.index(grade):
            grade = found.grade
    return Quality(grade, tuple(reasons))

"""Do two sets of swings really differ? One finding a metric, by limits set beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imu.columns import Metric
from imu.errors import SwingspreadError
from imu.types import FloatArray
from imu.variation import comparability as compat
from imu.variation.comparability import Comparability, Design
from imu.variation.curve_difference import CurveFinding, compare_curves
from imu.variation.findings import Comparison, Finding, SideOfFinding
from imu.variation.intervals import (
    UNKNOWN,
    Interval,
    column_sd,
    kurtosis,
    sd_freedom,
    sd_interval,
)
from imu.variation.limits import Limits
from imu.variation.metric_values import chosen_metrics, metric_values
from imu.variation.noise import (
    UNKNOWN_NOISE,
    believable_noise,
    human_sd,
    noise_columns,
    noise_sd,
)
from imu.variation.sd_ratio import NO_RATIO, SdRatio, sd_ratio
from imu.variation.session_units import session_sd_ratio, session_shift, within_sessions
from imu.variation.sets import SwingSet
from imu.variation.shift import NO_SHIFT, Shift, holm, welch_shift
from imu.variation.verdict import (
    NOT_COMPARABLE,
    Evidence,
    Verdict,
    judge,
)
from imu.variation.wording import shift_sentence, spread_sentence, where_words

DEFAULT_SEED = 20_000
NOISY_SHARE = 0.5
"""Part of the variance shown above which the sensors' noise could hide a growth."""


def compare_sets(
    a: SwingSet,
    b: SwingSet,
    limits: Limits | None = None,
    seed: int = DEFAULT_SEED,
    metrics: Sequence[str] | None = None,
    curves: bool = True,
    line_up: Sequence[str] = ("impact",),
) -> Comparison:
    """Compare set B with set A, metric by metric and curve by curve.

    metrics : names of ``imu.columns``; the headline metrics by default. The more are shown, the
    stricter Holm's adjustment. curves : compare hinge and rates over time when both sets carry
    curves. line_up : events at which curves are lined up; impact alone shows timing in the
    curves, ``curve_alignment.LANDMARKS`` takes it out. Same session: swings are the units (Welch;
    permutation). Several or different sessions: sessions are the units. Raises SwingspreadError
    for an empty set, swings in both sets, or an unknown metric.
    """
    limits = limits or Limits()
    chosen = chosen_metrics(metrics)
    _check_sets(a, b)
    design = compat.find_design(a, b)
    comparable = compat.check_comparability(a, b, design)
    a, b = _taking_part(a, design), _taking_part(b, design)
    where = where_words(_labels(a), _labels(b), b.name)
    names = [metric.name for metric in chosen]
    values_a, values_b = (metric_values(one.swings, names) for one in (a, b))
    noise_a, noise_b = noise_columns(a.swings, names), noise_columns(b.swings, names)

    shifts, ratios = [], []
    for column in range(len(chosen)):
        shift, ratio = _one_metric(
            a, b, values_a[:, column], values_b[:, column], design, limits.level, seed
        )
        shifts.append(shift)
        ratios.append(ratio)
    shift_holm = holm([shift.p for shift in shifts])
    ratio_holm = holm([ratio.p for ratio in ratios])

    findings = []
    for column, metric in enumerate(chosen):
        about_a = _about_means(a, values_a[:, column], design)
        about_b = _about_means(b, values_b[:, column], design)
        side_a = _side(values_a[:, column], about_a, noise_a, column, limits.level)
        side_b = _side(values_b[:, column], about_b, noise_b, column, limits.level)
        shift, ratio = shifts[column], ratios[column]
        largest = limits.largest_shift(metric.name, side_a.sd.value)
        evidence = Evidence(
            sd_ratio=ratio.ratio,
            sd_ratio_p=float(ratio_holm[column]),
            shift=shift.difference,
            largest_shift=largest,
            largest_shift_se=limits.largest_shift_se(metric.name, side_a.sd.value, about_a.freedom),
            sd_a=side_a.sd.value,
            kurtosis=max(about_a.kurtosis, about_b.kurtosis),
            count=min(side_a.swings, side_b.swings),
            by_session=design.by_session,
            sessions=min(side_a.sessions, side_b.sessions),
            noisy=_noisy(side_a) or _noisy(side_b),
        )
        findings.append(
            Finding(
                metric=metric.name,
                label=metric.label,
                unit=metric.unit,
                a=side_a,
                b=side_b,
                shift=shift.difference,
                shift_p=shift.p,
                shift_p_holm=float(shift_holm[column]),
                spread=ratio,
                spread_p_holm=float(ratio_holm[column]),
                largest_shift=largest,
                by_session=design.by_session,
                verdict=_verdict(metric, comparable, evidence, limits),
                shift_sentence=shift_sentence(metric, shift.difference, where, limits.level),
                spread_sentence=spread_sentence(
                    metric, ratio.ratio, side_a.sd.value, side_b.sd.value, where, limits.level
                ),
            )
        )
    along: tuple[CurveFinding, ...] = ()
    if curves and not comparable.refusals:
        along = compare_curves(a, b, design, where, seed, limits.level, line_up)
    return Comparison(
        name_a=a.name,
        name_b=b.name,
        where=where,
        limits=limits,
        seed=seed,
        design=design.kind,
        findings=tuple(findings),
        curve_findings=along,
        refusals=comparable.refusals,
        warnings=comparable.warnings,
        left_out_a=len(a.left_out),
        left_out_b=len(b.left_out),
    )


def _labels(swings: SwingSet) -> dict[str, str]:
    return {name: swings.only(name) for name in ("block", "club", "player", "session", "date")}


def _check_sets(a: SwingSet, b: SwingSet) -> None:
    for one in (a, b):
        if not len(one):
            left = f"; all {len(one.left_out)} were left out" if len(one.left_out) else ""
            raise SwingspreadError(f"set {one.name} has no swings{left}")
    keys = [
        set(zip(one.swings["recording_id"], one.swings["swing"], strict=True)) for one in (a, b)
    ]
    if both := keys[0] & keys[1]:
        are = "swing is" if len(both) == 1 else "swings are"
        raise SwingspreadError(
            f"{len(both)} {are} in both {a.name} and {b.name}; choose sets without any in common"
        )


def _taking_part(swings: SwingSet, design: Design) -> SwingSet:
    if not design.shared:
        return swings
    keep = swings.swings["session_key"].isin(design.shared).to_numpy()
    if keep.all():
        return swings
    kept = swings.swings[keep].reset_index(drop=True)
    return SwingSet(swings.name, kept, swings.curves, swings.left_out, swings.selection)


def _one_metric(
    a: SwingSet,
    b: SwingSet,
    values_a: FloatArray,
    values_b: FloatArray,
    design: Design,
    level: float,
    seed: int,
) -> tuple[Shift, SdRatio]:
    here_a, here_b = np.isfinite(values_a), np.isfinite(values_b)
    if min(here_a.sum(), here_b.sum()) < 2:
        return NO_SHIFT, NO_RATIO
    first, second = values_a[here_a], values_b[here_b]
    single = min(len(design.sessions_a), len(design.sessions_b)) < 2
    if not design.by_session or (single and not design.shared):
        about = [_about_means(a, values_a, design), _about_means(b, values_b, design)]
        ratio = sd_ratio(about[0].values, about[1].values, seed, level)
        return welch_shift(first, second, level), ratio
    sessions_a = a.swings["session_key"].to_numpy(str)[here_a]
    sessions_b = b.swings["session_key"].to_numpy(str)[here_b]
    paired = design.kind == compat.PAIRED_SESSIONS
    return (
        session_shift(first, sessions_a, second, sessions_b, paired, level),
        session_sd_ratio(first, sessions_a, second, sessions_b, paired, level),
    )


@dataclass(frozen=True, eq=False)
class _AboutMeans:
    """The values present (N,) of one metric, each session's own mean taken out when sessions are
    the units; scaled so that their SD is the one within sessions."""

    values: FloatArray
    sessions: int
    means: int

    @property
    def freedom(self) -> float:
        """Degrees of freedom that their SD is worth, NaN when it is not known or 0."""
        return float(sd_freedom(self.values, self.means)) if self._spread else float("nan")

    @property
    def kurtosis(self) -> float:
        """3 for a normal population, and where there are too few to tell."""
        return float(kurtosis(self.values)) if self._spread else 3.0

    @property
    def _spread(self) -> bool:
        return len(self.values) > 3 and bool(np.ptp(self.values) > 0)


def _about_means(swings: SwingSet, values: FloatArray, design: Design) -> _AboutMeans:
    here = np.isfinite(values)
    sessions = swings.swings["session_key"].to_numpy(str)[here]
    count = len(np.unique(sessions))
    if not design.by_session:
        return _AboutMeans(values[here], count, 1)
    within = within_sessions(values[here], sessions)
    return _AboutMeans(within[np.isfinite(within)], count, count)


def _side(
    values: FloatArray,
    about: _AboutMeans,
    errors: tuple[FloatArray, list[str]],
    column: int,
    level: float,
) -> SideOfFinding:
    present = values[np.isfinite(values)]
    if not len(present):
        nan = float("nan")
        return SideOfFinding(0, 0, nan, UNKNOWN, nan, UNKNOWN_NOISE, nan)
    low, high = sd_interval(about.values, level, about.means)
    sd = float(column_sd(about.values))
    size = noise_sd(values[:, None], errors[0][:, [column]])
    noises, meaning = believable_noise(size, [errors[1][column]], high)
    noise = float(noises[0])
    return SideOfFinding(
        swings=len(present),
        sessions=about.sessions,
        mean=float(present.mean()),
        sd=Interval(sd, float(low), float(high)),
        noise_sd=noise,
        noise_is=meaning[0],
        human_sd=float(human_sd(sd, noise)),
    )


def _noisy(side: SideOfFinding) -> bool:
    if not (np.isfinite(side.noise_sd) and side.sd.value > 0):
        return False
    return side.noise_sd**2 > NOISY_SHARE * side.sd.value**2


def _verdict(
    metric: Metric, comparable: Comparability, evidence: Evidence, limits: Limits
) -> Verdict:
    if comparable.refuses(metric):
        return Verdict(NOT_COMPARABLE, "the sets differ in player, club or grip as well")
    return judge(evidence, limits)

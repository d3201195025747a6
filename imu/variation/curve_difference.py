"""Where along the swing two sets differ, in their mean curves and in their spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imu.columns import CURVE_COLUMNS
from imu.errors import SwingspreadError
from imu.number_words import decimals, number, with_unit
from imu.types import FloatArray
from imu.variation import curve_tests
from imu.variation.comparability import PAIRED_SESSIONS, Design
from imu.variation.curve_alignment import align, typical_times
from imu.variation.curve_tests import CurveTest
from imu.variation.intervals import column_sd, log_sd_bias
from imu.variation.sets import SwingSet
from imu.variation.shift import holm

CURVES: dict[str, str] = {
    "hinge_deg": "Hinge",
    "hinge_rate_deg_s": "Opening rate of the hinge",
    "arm_rate_deg_s": "Arm rate",
    "club_rate_deg_s": "Club rate",
    "plane_inclination_deg": "Inclination of the shaft's plane",
}
"""Curves compared, and their names in sentences."""

NAMED_BY_ITS_NEGATIVE = frozenset({"hinge_rate_deg_s"})
"""Curves whose name in sentences is of the negative: the hinge's rate is negative while it opens,
so the opening rate is larger where the curve is lower."""

AFTER_IMPACT = 0.05
"""s after impact at which the comparison of curves ends."""

COMPARISON_STEP = 0.005
"""s between the points compared."""

FEWEST_SWINGS = 4
FEWEST_POINTS = 10


@dataclass(frozen=True)
class Region:
    """A stretch of the swing where a curve differs. Times in s from impact.

    peak : where it differs most. size, low, high : difference there (unit of the curve) or ratio
    of SDs, with its interval from the band that covers the whole curve at once.
    """

    start: float
    end: float
    peak: float
    size: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class CurveFinding:
    """Two sets compared along one curve; arrays are (T,) on ``time`` (s from impact).

    mean : difference of mean curves, B less A. spread : ln ratio of SD curves. p_holm values
    are adjusted for the curves compared. regions : where the curves are told to differ, none when
    that does not stand after the adjustment. by_session : sessions were the units.
    """

    curve: str
    label: str
    unit: str
    time: FloatArray
    mean_a: FloatArray
    mean_b: FloatArray
    sd_a: FloatArray
    sd_b: FloatArray
    mean: CurveTest
    spread: CurveTest
    mean_p_holm: float
    spread_p_holm: float
    mean_regions: tuple[Region, ...]
    spread_regions: tuple[Region, ...]
    by_session: bool
    sentence: str
    spread_sentence: str


def compare_curves(
    a: SwingSet,
    b: SwingSet,
    design: Design,
    where: str,
    seed: int,
    level: float = 0.95,
    line_up: Sequence[str] = ("impact",),
) -> tuple[CurveFinding, ...]:
    """Compare the curves of both sets, lined up at impact or at several events.

    Empty when a set carries no curves, when there are too few swings with them, or when
    sessions are the units and there are fewer than two a side.
    """
    if not len(a.curves) or not len(b.curves):
        return ()
    # Both sets are brought to the same event times, between those of the two.
    typical = np.mean([typical_times(s.swings, line_up) for s in (a, b)], axis=0)
    names = [name for name in CURVES if name in a.curves and name in b.curves]
    try:
        of_a, of_b = (
            align(s, names, line_up, _start(a, b), AFTER_IMPACT, COMPARISON_STEP, typical)
            for s in (a, b)
        )
    except SwingspreadError:
        return ()
    tested = []
    for name in names:
        first, second = of_a.values[name], of_b.values[name]
        first_ok, second_ok = _complete(first), _complete(second)
        since = _since(name, a, b)
        here = np.isfinite(first[first_ok]).all(axis=0) & np.isfinite(second[second_ok]).all(axis=0)
        here &= of_a.time >= since
        if min(first_ok.sum(), second_ok.sum()) < FEWEST_SWINGS or here.sum() < FEWEST_POINTS:
            continue
        first, second = first[first_ok][:, here], second[second_ok][:, here]
        keys_a = a.swings["session_key"].to_numpy(str)[of_a.rows[first_ok]]
        keys_b = b.swings["session_key"].to_numpy(str)[of_b.rows[second_ok]]
        tests = _tests(first, keys_a, second, keys_b, design, seed, level)
        if tests is not None:
            tested.append((name, of_a.time[here], first, second, *tests))
    mean_holm = holm([row[4].p for row in tested])
    spread_holm = holm([row[5].p for row in tested])
    return tuple(
        _finding(*row, float(mean_holm[i]), float(spread_holm[i]), design, where, level)
        for i, row in enumerate(tested)
    )


def _start(a: SwingSet, b: SwingSet) -> float | None:
    starts = []
    for one in (a, b):
        takeaway = (one.swings["takeaway_s"] - one.swings["impact_s"]).to_numpy(np.float64)
        known = takeaway[np.isfinite(takeaway)]
        if len(known):
            starts.append(float(np.median(known)))
    return max(starts) if starts else None


def _since(curve: str, a: SwingSet, b: SwingSet) -> float:
    """Time from which a curve means something: the shaft's plane is undefined while the club
    hardly turns, so it is compared over the last 70 % of the downswing only."""
    if curve != "plane_inclination_deg":
        return -np.inf
    tops = [(s.swings["club_top_s"] - s.swings["impact_s"]).to_numpy(np.float64) for s in (a, b)]
    known = np.concatenate(tops)
    known = known[np.isfinite(known)]
    return float(0.7 * known.max()) if len(known) else np.inf


def _complete(curves: FloatArray) -> FloatArray:
    """Swings with data at four fifths of the points or more; a stub of a curve is left out."""
    return np.asarray(np.isfinite(curves).mean(axis=1) >= 0.8)


def _tests(
    first: FloatArray,
    keys_a: FloatArray,
    second: FloatArray,
    keys_b: FloatArray,
    design: Design,
    seed: int,
    level: float,
) -> tuple[CurveTest, CurveTest] | None:
    if not design.by_session:
        return (
            curve_tests.mean_difference(first, second, seed, level),
            curve_tests.log_sd_difference(first, second, seed, level),
        )
    sessions_a, means_a, spreads_a = _by_session(first, keys_a)
    sessions_b, means_b, spreads_b = _by_session(second, keys_b)
    if design.kind == PAIRED_SESSIONS:
        _, in_a, in_b = np.intersect1d(sessions_a, sessions_b, return_indices=True)
        if len(in_a) < 2:
            return None
        return (
            curve_tests.mean_of_pairs(means_b[in_b] - means_a[in_a], seed, level),
            curve_tests.mean_of_pairs(spreads_b[in_b] - spreads_a[in_a], seed, level),
        )
    if min(len(sessions_a), len(sessions_b)) < 2:
        return None
    return (
        curve_tests.mean_difference(means_a, means_b, seed, level),
        curve_tests.mean_difference(spreads_a, spreads_b, seed, level),
    )


def _by_session(curves: FloatArray, keys: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sessions of three swings or more, their mean curves and ln SD curves."""
    names, means, spreads = [], [], []
    for key in np.unique(keys):
        own = curves[keys == key]
        if len(own) >= 3:
            names.append(key)
            means.append(own.mean(axis=0))
            spread = np.maximum(column_sd(own), 1e-9)
            spreads.append(np.log(spread) - float(log_sd_bias(len(own))))
    return np.array(names), np.array(means), np.array(spreads)


def _regions(test: CurveTest, time: FloatArray, as_ratio: bool) -> tuple[Region, ...]:
    found = []
    for first, last in curve_tests.regions(test.beyond):
        peak = first + int(np.abs(test.statistic[first : last + 1]).argmax())
        size, reach = float(test.estimate[peak]), float(test.reach[peak])
        ends = (size, size - reach, size + reach)
        value, low, high = (float(np.exp(x)) for x in ends) if as_ratio else ends
        found.append(
            Region(float(time[first]), float(time[last]), float(time[peak]), value, low, high)
        )
    return tuple(found)


def _finding(
    name: str,
    time: FloatArray,
    first: FloatArray,
    second: FloatArray,
    mean: CurveTest,
    spread: CurveTest,
    mean_p_holm: float,
    spread_p_holm: float,
    design: Design,
    where: str,
    level: float,
) -> CurveFinding:
    label, unit = CURVES[name], CURVE_COLUMNS[name]
    mean_regions = _regions(mean, time, as_ratio=False) if mean_p_holm <= 1 - level else ()
    spread_regions = _regions(spread, time, as_ratio=True) if spread_p_holm <= 1 - level else ()
    return CurveFinding(
        curve=name,
        label=label,
        unit=unit,
        time=time,
        mean_a=first.mean(axis=0),
        mean_b=second.mean(axis=0),
        sd_a=column_sd(first),
        sd_b=column_sd(second),
        mean=mean,
        spread=spread,
        mean_p_holm=mean_p_holm,
        spread_p_holm=spread_p_holm,
        mean_regions=mean_regions,
        spread_regions=spread_regions,
        by_session=design.by_session,
        sentence=_mean_sentence(name, mean_regions, mean_p_holm, where, level),
        spread_sentence=_spread_sentence(label, spread_regions, spread_p_holm, where, level),
    )


def when(start: float, end: float) -> str:
    """ "between 120 and 60 ms before impact", whichever side of impact the ends lie."""
    low, high = round(1e3 * start), round(1e3 * end)
    if low == high == 0:
        return "at impact"
    if low == high:
        return f"at {abs(low)} ms {'before' if low <= 0 else 'after'} impact"
    if high <= 0:
        return f"between {-low} and {-high} ms before impact"
    if low >= 0:
        return f"between {low} and {high} ms after impact"
    return f"from {-low} ms before to {high} ms after impact"


def _mean_sentence(
    curve: str, found: tuple[Region, ...], p: float, where: str, level: float
) -> str:
    label, unit = CURVES[curve], CURVE_COLUMNS[curve]
    if not found:
        return f"{label}: no part of the curve differs {where} beyond chance (p {p:.3f})."
    one = max(found, key=lambda region: abs(region.size))
    places = decimals(abs(one.size))
    size = with_unit(number(abs(one.size), places), unit)
    low, high = sorted((abs(one.low), abs(one.high)))
    ends = f"{100 * level:.3g} % {number(low, places)} to {number(high, places)}"
    word = "larger" if (one.size > 0) != (curve in NAMED_BY_ITS_NEGATIVE) else "smaller"
    return f"{label} {word} {where} {when(one.start, one.end)}, by up to {size} ({ends})."


def _spread_sentence(
    label: str, found: tuple[Region, ...], p: float, where: str, level: float
) -> str:
    if not found:
        return f"{label}: nowhere along the curve is the spread told to differ {where} (p {p:.3f})."
    one = max(found, key=lambda region: abs(np.log(region.size)))
    ends = f"{100 * level:.3g} % {number(one.low, 2)} to {number(one.high, 2)}"
    reach = "up" if one.size > 1 else "down"
    return (
        f"{label} spreads {reach} to {number(one.size, 2)} times as much {where} "
        f"{when(one.start, one.end)} ({ends})."
    )

"""Holds, does not hold, or cannot tell yet and how many more swings would settle it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

from imu.variation.intervals import Interval
from imu.variation.limits import Limits
from imu.variation.sample_size import long_tail_factor, swings_for_sd_ratio, swings_for_shift

HOLDS = "holds"
DOES_NOT_HOLD = "does not hold"
CANNOT_TELL = "cannot tell yet"
NOT_COMPARABLE = "not comparable"

MOST_ASKED = 200
"""Swings per set, or sessions, beyond which no count is given: nobody should swing that often to
find out."""


@dataclass(frozen=True)
class Verdict:
    """One of the four words above, why, and what would settle it.

    more_per_set : about how many more swings in each set, None when not a matter of swings.
    more_sessions : about how many more sessions of each set, None likewise. alone : the finding
    counts by itself, but among this many measures chance could have made it (Holm).
    """

    word: str
    reason: str
    more_per_set: int | None = None
    more_sessions: int | None = None
    alone: bool = False


@dataclass(frozen=True)
class Evidence:
    """What a verdict on one metric rests on; ``count`` is the smaller set's swings.

    sd_ratio_p : adjusted for the number of metrics shown. largest_shift : the limit in the
    metric's unit; largest_shift_se its standard error, when it was itself taken from the
    swings (so many SDs of A). by_session : sessions, not swings, are the units; ``sessions`` is
    then the smaller number. noisy : most of either spread is the sensors' own noise.
    """

    sd_ratio: Interval
    sd_ratio_p: float
    shift: Interval
    largest_shift: float
    sd_a: float
    kurtosis: float
    count: int
    by_session: bool = False
    sessions: int = 1
    noisy: bool = False
    largest_shift_se: float = 0.0

    def shift_reach(self, level: float = 0.95) -> tuple[float, float]:
        """Least and most the mean may have moved, either way, the limit's own error included.

        level : of the interval of the shift.
        """
        low, value, high = sorted((self.shift.low, self.shift.value, self.shift.high))
        if value < 0:
            low, value, high = -high, -value, -low
        # A half width stands for its quantile times the standard error of the shift.
        extra = _quantile(0.5 + level / 2) * self.largest_shift_se
        least = value - math.hypot(value - low, extra)
        most = value + math.hypot(max(high - value, value - low), extra)
        return least, most


def judge(evidence: Evidence, limits: Limits) -> Verdict:
    """The verdict on one metric by the limits set beforehand.

    *holds*: the interval of the SD ratio wholly below the limit and that of the shift wholly
    within its limit. *does not hold*: the SD ratio's interval wholly above 1, or the shift's
    interval wholly beyond its limit. Else *cannot tell yet*. A grown spread that does not stand
    after Holm's adjustment for the metrics shown is marked as counting alone only.
    """
    ratio, shift = evidence.sd_ratio, evidence.shift
    if not (ratio.known and shift.known):
        if evidence.count >= limits.minimum_swings and not evidence.by_session:
            return Verdict(CANNOT_TELL, "one of the sets has no spread at all in this measure")
        return _cannot(evidence, limits, "too few swings with this measure in one of the sets")
    if evidence.by_session and evidence.sessions < limits.minimum_sessions:
        reason = f"fewer than {limits.minimum_sessions} sessions of each set"
        return _cannot(evidence, limits, reason)
    if evidence.count < limits.minimum_swings:
        return _cannot(evidence, limits, f"fewer than {limits.minimum_swings} swings in a set")
    least, most = evidence.shift_reach(limits.level)
    beyond, within = least > evidence.largest_shift, most <= evidence.largest_shift
    grown = ratio.low > 1
    if ratio.high < limits.sd_ratio and within:
        if evidence.noisy:
            reason = "most of the spread may be the sensors' own noise, and a growth hide in it"
            return Verdict(CANNOT_TELL, reason)
        return Verdict(HOLDS, "spread and mean stay within the limits")
    if grown and beyond:
        return Verdict(DOES_NOT_HOLD, "the spread grows and the mean moves beyond its limit")
    if beyond:
        return Verdict(DOES_NOT_HOLD, "the mean moves beyond its limit")
    if grown:
        if evidence.sd_ratio_p < 1 - limits.level:
            return Verdict(DOES_NOT_HOLD, "the spread grows")
        reason = "the spread grows, taken alone; among this many measures chance could do it"
        return Verdict(DOES_NOT_HOLD, reason, alone=True)
    if ratio.high >= limits.sd_ratio:
        return _cannot(evidence, limits, "the spread may be unchanged or grown past the limit")
    return _cannot(evidence, limits, "the mean may have moved beyond its limit or not")


def _cannot(evidence: Evidence, limits: Limits, reason: str) -> Verdict:
    if evidence.by_session:
        more = _more_sessions(evidence, limits)
        if more is None:
            reason = f"{reason}; too close to a limit for {MOST_ASKED} sessions to settle it"
        return Verdict(CANNOT_TELL, reason, more_sessions=more)
    needed = swings_needed(evidence, limits)
    if needed is None:
        return Verdict(
            CANNOT_TELL, f"{reason}; too close to a limit for {MOST_ASKED} swings to settle it"
        )
    return Verdict(CANNOT_TELL, reason, more_per_set=max(needed - evidence.count, 1))


def swings_needed(evidence: Evidence, limits: Limits) -> int | None:
    """Swings per set that would settle the verdict, were the estimates of now the truth.

    The spread is settled when its ratio is told from 1 (grown) or from the limit (not grown);
    the mean when it is told from its limit. None when beyond any reasonable count.
    """
    ratio = evidence.sd_ratio.value
    if not (math.isfinite(ratio) and ratio > 0):
        ratio = 1.0
    factor = long_tail_factor(evidence.kurtosis)
    grown = swings_for_sd_ratio(round(ratio, 2), limits.power, limits.level) if ratio > 1 else None
    bounded = None
    if ratio < limits.sd_ratio:
        apart = round(limits.sd_ratio / ratio, 2)
        bounded = swings_for_sd_ratio(apart, limits.power, limits.level)
    spread = [math.ceil(factor * count) for count in (grown, bounded) if count is not None]
    if not spread:
        return None
    needed = max(min(spread), limits.minimum_swings)
    settled_by_growth = grown is not None and math.ceil(factor * grown) == min(spread)
    if settled_by_growth:
        return needed if needed <= MOST_ASKED else None
    sd, value = evidence.sd_a, evidence.shift.value
    if sd > 0 and math.isfinite(value):
        # Both sets' SDs, as one, make the error of the shift.
        typical = sd * math.sqrt((1 + ratio**2) / 2)
        room = (evidence.largest_shift - abs(value)) / typical
        shift = swings_for_shift(round(room, 2), limits.power, limits.level)
        if shift is None:
            return None
        # A limit taken from the swings has an error of its own, which shrinks as the shift's does.
        own = evidence.largest_shift_se**2 * evidence.count / (2 * typical**2)
        needed = max(needed, math.ceil(shift * (1 + own)))
    return needed if needed <= MOST_ASKED else None


def _more_sessions(evidence: Evidence, limits: Limits) -> int | None:
    """Sessions to add so that the intervals, narrowing with √sessions, leave their limits; None
    when beyond any reasonable count."""
    least = max(limits.minimum_sessions - evidence.sessions, 1)
    ratio, shift = evidence.sd_ratio, evidence.shift
    if not (ratio.known and shift.known) or evidence.sessions < 2:
        return least
    spread = math.log(ratio.high / ratio.low) / 2
    grown, bounded = math.log(ratio.value), math.log(limits.sd_ratio / ratio.value)
    pairs = [(spread, max(grown, bounded))]
    if grown < bounded:
        # A spread that has not grown settles nothing unless the mean is settled as well.
        reach = evidence.shift_reach(limits.level)[1] - abs(shift.value)
        pairs.append((reach, abs(evidence.largest_shift - abs(shift.value))))
    # A margin for the power asked for, beyond an interval that just leaves its limit.
    margin = 1 + _quantile(limits.power) / _quantile(0.5 + limits.level / 2)
    if any(room <= 0 for _, room in pairs):
        return None
    times = max(margin * half / room for half, room in pairs)
    needed = math.ceil(evidence.sessions * min(times, 1e3) ** 2)
    return max(needed - evidence.sessions, least) if needed <= MOST_ASKED else None


def _quantile(share: float) -> float:
    return float(special.ndtri(share))

"""Findings in one plain sentence each: number, interval and what it means."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from imu.columns import Metric
from imu.number_words import decimals, number, with_unit
from imu.variation.intervals import Interval
from imu.variation.noise import SWING_TO_SWING

_MORE_LESS = {
    "time": ("longer", "shorter"),
    "angle": ("larger", "smaller"),
    "rate": ("faster", "slower"),
    "speed": ("faster", "slower"),
    "length": ("longer", "shorter"),
    "ratio": ("higher", "lower"),
    "count": ("more", "fewer"),
}
_OWN_WORDS = {
    "release_ms": ("earlier", "later"),
    "release_onset_ms": ("earlier", "later"),
    "peak_hinge_rate_ms": ("earlier", "later"),
    "peak_club_rate_ms": ("earlier", "later"),
    "peak_arm_rate_ms": ("earlier", "later"),
    "overlap_ms": ("more", "less"),
    "plane_shift_deg": ("more", "less"),
    "closure_deg": ("more", "less"),
}
"""Words for more and less of a metric, where the kind's own would mislead."""

_PLAIN_NAMES = {
    "release_ms": "Release",
    "release_onset_ms": "Release onset",
    "peak_hinge_rate_ms": "Greatest opening rate",
    "peak_club_rate_ms": "Greatest club rate",
    "peak_arm_rate_ms": "Greatest arm rate",
    "backswing_ms": "Backswing",
    "downswing_ms": "Downswing",
}
"""Where the comparative already says what the label repeats ("Release 9 ms later")."""

_MOST_NAMED = 3
"""Sessions that a sentence names before the rest are only counted."""


def plain_name(metric: Metric) -> str:
    """The metric's name at the head of a sentence."""
    return _PLAIN_NAMES.get(metric.name, metric.label)


def more_less(metric: Metric) -> tuple[str, str]:
    """Words for a larger and a smaller value of this metric."""
    return _OWN_WORDS.get(metric.name, _MORE_LESS.get(metric.kind, ("higher", "lower")))


def shift_sentence(metric: Metric, shift: Interval, where: str, level: float = 0.95) -> str:
    """ "Downswing 14 ms shorter under pressure (95 % 6 to 22)." and what it means.

    When the interval holds 0 the sentence says that no change is established.
    """
    name, percent = plain_name(metric), f"{100 * level:.3g} %"
    if not math.isfinite(shift.value):
        return f"{name}: too few swings with this measure to compare."
    more, less = more_less(metric)
    places = decimals(max(abs(shift.low), abs(shift.high), abs(shift.value)))
    size = with_unit(number(abs(shift.value), places), metric.unit)
    word = more if shift.value > 0 else less
    if not shift.known:
        return f"{name} {size} {word} {where} (no interval: too few swings or sessions)."
    if 0.0 in shift:
        ends = f"{percent} {number(shift.low, places)} to {number(shift.high, places)}"
        return (
            f"{name}: no change {where} established; "
            f"{with_unit(number(shift.value, places), metric.unit)} ({ends})."
        )
    low, high = sorted((abs(shift.low), abs(shift.high)))
    ends = f"{percent} {number(low, places)} to {number(high, places)}"
    return f"{name} {size} {word} {where} ({ends})."


def spread_sentence(
    metric: Metric,
    ratio: Interval,
    sd_a: float,
    sd_b: float,
    where: str,
    level: float = 0.95,
) -> str:
    """ "Release spreads 1.6 times as much under pressure (SD 9.1 against 5.6 ms; 95 % …)." """
    name, percent = plain_name(metric), f"{100 * level:.3g} %"
    if not math.isfinite(ratio.value):
        return f"{name}: too few swings, or no spread at all, to compare the spread."
    places = decimals(max(sd_a, sd_b))
    own = with_unit(number(sd_a, places), metric.unit)
    spreads = f"SD {number(sd_b, places)} against {own}"
    if not ratio.known:
        told = f"{name} spreads {number(ratio.value, 2)} times as much {where}"
        return f"{told} ({spreads}; no interval: too few swings or sessions)."
    ends = f"{percent} {number(ratio.low, 2)} to {number(ratio.high, 2)}"
    if 1.0 in ratio:
        said = f"{name}: no change of spread {where} established; "
        return f"{said}{number(ratio.value, 2)} times as much ({spreads}; {ends})."
    return (
        f"{name} spreads {number(ratio.value, 2)} times as much {where}, "
        f"{'less' if ratio.value > 1 else 'more'} repeatable ({spreads}; {ends})."
    )


def least_difference_sentence(least: float, noise_is: str, unit: str) -> str:
    """ "Two swings must differ by 1.2 ms before the sensors can tell (95 % sure)."; "" if unknown.

    least, noise_is : ``least_difference`` and ``noise_is`` of a row of the spread table, in
    ``unit``.
    """
    if not math.isfinite(least):
        return ""
    size = with_unit(number(least, decimals(least)), unit)
    least_of_all = size if noise_is == SWING_TO_SWING else f"{size}, or perhaps less,"
    return f"Two swings must differ by {least_of_all} before the sensors can tell (95 % sure)."


def far_out_sentence(swings: int, usual_sd: Interval, unit: str) -> str:
    """ "2 swings lie far out: …; the usual ones vary by 5.1 ms (95 % 4.0 to 6.9)."; "" for none.

    swings, usual_sd : ``far_out`` and the robust SD of a row of the spread table, in ``unit``. To
    be said wherever an SD is shown with its interval, which holds 95 times in 100 only where no
    swings are far wilder than the rest.
    """
    if not swings:
        return ""
    places = decimals(usual_sd.value)
    size = with_unit(number(usual_sd.value, places), unit)
    ends = f"95 % {number(usual_sd.low, places)} to {number(usual_sd.high, places)}"
    lie = "swing lies" if swings == 1 else "swings lie"
    return (
        f"{swings} {lie} far out: the SD depends on how often such come, so its interval is too "
        f"narrow; the usual ones vary by {size} ({ends})."
    )


def far_out_sessions_sentence(sessions: Sequence[str]) -> str:
    """What `far_out_sentence` says of one SD, said of the SDs of these sessions; "" for none."""
    if not sessions:
        return ""
    more = f" and {len(sessions) - _MOST_NAMED} more" if len(sessions) > _MOST_NAMED else ""
    which = f"{', '.join(sessions[:_MOST_NAMED])}{more}"
    return (
        f"Some swings lie far out in {which}: the SD depends on how often such come, so its "
        "interval is too narrow there."
    )


def where_words(a: Mapping[str, str], b: Mapping[str, str], name_b: str) -> str:
    """What is different about set B, in words: "under pressure", "with the driver", …

    a, b : by context column the one label of the set, "" when there are several.
    """
    for column, words in (
        ("block", "in {}"),
        ("club", "with the {}"),
        ("player", "in {}'s swings"),
        ("session", "in session {}"),
        ("date", "on {}"),
    ):
        label = b.get(column, "")
        if label and label != a.get(column, ""):
            if column == "block" and label.casefold() == "pressure":
                return "under pressure"
            return words.format(label)
    return f"in {name_b}"

"""The sentences of the printed report, worked out from a set of swings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from imu.columns import METRIC_BY_NAME
from imu.exports.pictures import MOST_LINES
from imu.exports.report_page import Finding
from imu.figures.alignment import AlignedCurves
from imu.figures.bands import widest_hinge
from imu.number_words import counted, decimals, number, with_unit
from imu.variation.blocks import BETWEEN, WARM_UP
from imu.variation.compare import Comparison
from imu.variation.intervals import Interval
from imu.variation.sample_size import swings_for_sd_ratio
from imu.variation.spread import Row, far_out_words
from imu.variation.verdict import CANNOT_TELL, DOES_NOT_HOLD, HOLDS, Verdict

FEW = 10
"""Fewer swings than this say little of a spread."""

REASONABLE = 100
"""More swings than this in each block are not asked for."""

SETTLE_FIRST = (
    "release_ms",
    "hinge_at_impact_deg",
    "downswing_ms",
    "lag_at_parallel_deg",
    "overlap_ms",
    "backswing_ms",
)
"""Measures in the order in which they are worth settling."""

WIDER_LIMIT = 1.5
"""Growth of the spread that a next test should be able to see; the usual limit of a verdict."""


def amount(row: Row, key: str = "mean") -> str:
    """A number of the statistics with its unit, rounded to what its spread makes worth saying."""
    return with_unit(number(float(row[key]), _places(row)), str(row["unit"]))


def _places(row: Row) -> int:
    """Decimals that the spread makes worth saying; without one, those of the mean."""
    sd = float(row["sd"])
    return decimals(sd if math.isfinite(sd) and sd > 0 else float(row["mean"]))


def give_or_take(row: Row) -> str:
    """The spread in words: "give or take 4.1 ms (95 % 3.3 to 5.2)"."""
    sd = float(row["sd"])
    if not math.isfinite(sd):
        return "too few swings to say how far it varies"
    return f"give or take {amount(row, 'sd')} (95 % {_ends(row, _places(row))})"


def _ends(row: Row, places: int) -> str:
    """The ends of the SD's interval, without unit."""
    low, high = float(row["sd_low"]), float(row["sd_high"])
    return f"{number(low, places)} to {number(high, places)}"


def resolved_words(row: Row) -> str:
    """How much of the spread is the sensors' own error, in words; "" when it hardly matters."""
    sd, noise = float(row["sd"]), float(row["noise_sd"])
    if not (math.isfinite(sd) and math.isfinite(noise)) or sd <= 0:
        return ""
    if noise >= sd:
        return "That is below what the sensors can resolve: the swing repeats at least this well."
    share = noise**2 / sd**2
    if share > 0.1:
        return f"About {100 * share:.0f} % of that variance is the sensors' own error."
    return ""


def _about_the_sd(row: Row) -> tuple[str, str]:
    """What the sensors and what far-out swings have in the spread, each "" when nothing."""
    return resolved_words(row), far_out_words(row)


def headline_findings(rows: Mapping[str, Row]) -> tuple[Finding, ...]:
    """Release, tempo, and the hinge at impact: the three things that timing shows in.

    rows : statistics by metric name.
    """
    return (_release(rows["release_ms"]), _tempo(rows), _impact(rows["hinge_at_impact_deg"]))


def _release(row: Row) -> Finding:
    if not math.isfinite(float(row["mean"])):
        return Finding("Release", "not known", "Release could not be read in any swing.")
    text = f"The wrists let go {amount(row)} before impact, {give_or_take(row)}."
    return Finding("Release", _figure(row), _joined(text, *_about_the_sd(row)))


def _tempo(rows: Mapping[str, Row]) -> Finding:
    ratio, back, down = rows["tempo_ratio"], rows["backswing_ms"], rows["downswing_ms"]
    if not math.isfinite(float(ratio["mean"])):
        return Finding("Tempo", "not known", "Tempo could not be read in any swing.")
    several = math.isfinite(float(down["sd"]))
    text = (
        f"{amount(back)} back, {amount(down)} down; {'the downswing ' * several}"
        f"{give_or_take(down)}. Back to down is {number(float(ratio['mean']), 2)} to 1."
    )
    return Finding("Tempo", _figure(ratio), _joined(text, *_about_the_sd(down)))


def _impact(row: Row) -> Finding:
    if not math.isfinite(float(row["mean"])):
        return Finding("Hinge at impact", "not known", "No swing could be read at impact.")
    text = f"Forearm and shaft meet at {amount(row)} at impact, {give_or_take(row)}."
    return Finding("Hinge at impact", _figure(row), _joined(text, *_about_the_sd(row)))


def _figure(row: Row) -> str:
    """Mean and SD, the large figure of a finding."""
    places = _places(row)
    mean, unit = number(float(row["mean"]), places), str(row["unit"])
    if not math.isfinite(float(row["sd"])):
        return with_unit(mean, unit)
    return with_unit(f"{mean} ± {number(float(row['sd']), places)}", unit)


def comparison_findings(comparison: Comparison) -> tuple[Finding, ...]:
    """The three findings that matter most between two sets: firm verdicts first.

    Empty when the sets may not be compared.
    """
    order = {DOES_NOT_HOLD: 0, HOLDS: 1, CANNOT_TELL: 2}
    usable = [one for one in comparison.findings if one.verdict.word in order]
    ranked = sorted(usable, key=lambda one: order[one.verdict.word])
    return tuple(
        Finding(
            one.label,
            f"{one.verdict.word[0].upper()}{one.verdict.word[1:]}",
            _joined(one.sentence, settles(one.verdict)),
        )
        for one in ranked[:3]
    )


def comparison_rows(comparison: Comparison) -> tuple[tuple[str, ...], ...]:
    """Rows of the printed comparison: name, verdict, move of the mean, growth of the spread, how
    many more swings in each set would settle it."""
    rows = []
    for one in comparison.findings:
        shift, ratio = one.shift, one.spread.ratio
        places = decimals(max(abs(shift.low), abs(shift.high), abs(shift.value)))
        moved, moved_ends = _with_ends(shift, places)
        grown, grown_ends = _with_ends(ratio, 2)
        more = one.verdict.more_per_set
        rows.append(
            (
                one.label,
                one.verdict.word,
                f"{with_unit(moved, one.unit)}{moved_ends}" if moved else "–",
                f"{grown} ×{grown_ends}" if grown else "–",
                str(more) if more is not None else "–",
            )
        )
    return tuple(rows)


def _with_ends(interval: Interval, places: int) -> tuple[str, str]:
    """The value and its interval in brackets, each "" when unknown."""
    if not math.isfinite(interval.value):
        return "", ""
    value = number(interval.value, places)
    if not interval.known:
        return value, ""
    return value, f" ({number(interval.low, places)} to {number(interval.high, places)})"


def settles(verdict: Verdict) -> str:
    """What would settle a verdict that cannot be told yet; "" for a firm one."""
    if verdict.more_per_set is not None:
        more = counted(verdict.more_per_set, "more swing")
        return f"About {more} in each set would settle it."
    if verdict.more_sessions is not None:
        more = counted(verdict.more_sessions, "more session")
        return f"About {more} of each would settle it."
    return ""


def overlay_caption(aligned: AlignedCurves) -> str:
    """What the overlay shows."""
    count = len(aligned.labels)
    lines = f"Each thin line is one of {count} swings" if count <= MOST_LINES else f"{count} swings"
    return (
        f"{lines}, lined up at impact; the thick line is the median, the band holds the middle "
        "80 in 100."
    )


def spread_caption(aligned: AlignedCurves) -> str:
    """Where on the way down the hinge spreads most, and what the picture cannot show."""
    where = widest_hinge(aligned)
    if not where:
        return "Too few swings to show where they spread."
    return f"{where} Lining up hides differences of timing: for those see the numbers."


def next_time(
    count: int, blocks: Sequence[str], comparison: Comparison | None = None
) -> tuple[str, ...]:
    """What to record next: how many swings, in which block.

    blocks : labels of the swings reported on, each once.
    """
    needed = swings_for_sd_ratio(WIDER_LIMIT)
    swung = [label for label in blocks if label not in (WARM_UP, BETWEEN)]
    other = "practice" if [one.casefold() for one in swung] == ["pressure"] else "pressure"
    items = []
    if comparison is not None:
        items += _settling(comparison)
        other = ""
    elif len(swung) > 1:
        items.append(
            f"These swings are of several blocks ({', '.join(swung)}): set one against another, "
            "since their spread together says little of either."
        )
        other = ""
    if count < FEW:
        say = "says" if count == 1 else "say"
        items.append(f"{counted(count, 'swing')} {say} little of a spread: record at least {FEW}.")
    if other:
        items.append(
            f"To see whether it holds, record a block called “{other}” on the same day, with the "
            "same club and the sensors left in place."
        )
    items.append(
        f"About {needed} swings in each block show a spread {WIDER_LIMIT:g} times as wide (80 % "
        "of the time). Spread them over several days rather than swinging tired."
    )
    items.append("Let the blocks take turns, so that warming up and tiring fall on both alike.")
    return tuple(items)


def _settling(comparison: Comparison) -> list[str]:
    """What a reasonable number of further swings would settle, timing first."""
    told = {one.metric: one for one in comparison.findings}
    for name in SETTLE_FIRST:
        one = told.get(name)
        more = one.verdict.more_per_set if one is not None else None
        if one is not None and more is not None and more <= REASONABLE:
            label = f"{one.label[0].lower()}{one.label[1:]}"
            swings = counted(more, "more swing")
            return [f"About {swings} in each block would settle the {label}."]
    return []


def metric_rows(statistics: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    """Rows of the printed table: name, n, mean, SD, its interval, the sensors' part."""
    rows = []
    for row in statistics.to_dict("records"):
        places = _places(row)
        metric = METRIC_BY_NAME[str(row["metric"])]
        label = f"{metric.label} (model value)" if metric.model else metric.label
        cells = (
            label,
            str(row["swings"]),
            amount(row),
            number(row["sd"], places),
            _ends(row, places),
            number(row["noise_sd"], decimals(row["noise_sd"])),
        )
        rows.append(tuple("–" if "unknown" in cell else cell for cell in cells))
    return tuple(rows)


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)

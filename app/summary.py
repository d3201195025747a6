"""Headline numbers and the one-sentence summary of a set of swings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from app.components.numbers import plain, with_unit
from app.preferences import Preferences
from imu.columns import METRIC_BY_NAME, Metric
from imu.figures.alignment import AlignedCurves
from imu.figures.bands import widest_hinge
from imu.number_words import decimals_for
from imu.variation.as_shown import table_as_shown
from imu.variation.intervals import UNKNOWN, Interval
from imu.variation.noise import UNKNOWN_NOISE
from imu.variation.spread import spread_table
from imu.variation.wording import far_out_sentence, least_difference_sentence

MOST_DECIMALS = {"ms": 0, "°": 1, "m/s": 1, "mph": 1, "km/h": 1, "°/s": 0, "m": 2, "s": 1}
"""Decimals of a mean, by unit, beyond which nobody reads."""


@dataclass(frozen=True)
class Level:
    """Mean and spread of one metric: SD with its 95 % interval, the sensors' part, the least
    difference of two swings that they can tell, and how many swings lie far out of the rest, with
    the SD of the usual ones."""

    metric: Metric
    count: int
    mean: float
    sd: float
    sd_low: float
    sd_high: float
    noise_sd: float = math.nan
    least_difference: float = math.nan
    noise_is: str = UNKNOWN_NOISE
    unit: str = ""
    far_out: int = 0
    usual_sd: Interval = UNKNOWN

    @property
    def mean_text(self) -> str:
        """Mean with unit, rounded to its error."""
        error = self.sd / math.sqrt(self.count) if self.count > 1 else math.nan
        decimals = min(decimals_for(error, self.mean), MOST_DECIMALS.get(self.unit, 2))
        return with_unit(plain(self.mean, decimals), self.unit)

    @property
    def sd_decimals(self) -> int:
        """Decimals that the interval of the SD allows."""
        return decimals_for((self.sd_high - self.sd_low) / 4.0, self.sd)

    @property
    def sd_text(self) -> str:
        """SD, in the unit of the mean."""
        return plain(self.sd, self.sd_decimals)

    @property
    def interval_text(self) -> str:
        """Interval of the SD as "8–15"; an SD has no sign that a dash could be taken for."""
        low, high = plain(self.sd_low, self.sd_decimals), plain(self.sd_high, self.sd_decimals)
        return f"{low}–{high}"

    @property
    def noise_text(self) -> str:
        """The sensors' part of the SD; "under 0.1" where it would round to nothing."""
        least = 10.0**-self.sd_decimals
        if 0.0 <= self.noise_sd < 0.5 * least:
            return f"under {plain(least, self.sd_decimals)}"
        return plain(self.noise_sd, self.sd_decimals)

    @property
    def far_out_text(self) -> str:
        """How many swings lie far out, and the SD of the usual ones; "" when none does."""
        if not self.far_out:
            return ""
        return f"{self.far_out} far out; else SD {plain(self.usual_sd.value, self.sd_decimals)}"

    @property
    def about_text(self) -> str:
        """What to know of the SD shown: what swings far out do to it, and what sensors can tell."""
        far_out = far_out_sentence(self.far_out, self.usual_sd, self.unit)
        return " ".join(part for part in (far_out, self.least_text) if part)

    @property
    def least_text(self) -> str:
        """By how much two swings must differ before the sensors can tell; "" when unknown."""
        return least_difference_sentence(self.least_difference, self.noise_is, self.unit)


def levels(
    swings: pd.DataFrame, names: Sequence[str], preferences: Preferences | None = None
) -> list[Level]:
    """Level and spread of each metric over the swings that count, in the units preferred."""
    nan = math.nan
    if not len(swings):
        return [Level(METRIC_BY_NAME[name], 0, nan, nan, nan, nan) for name in names]
    wanted = preferences or Preferences()
    table = spread_table(swings, names)
    enough = table["swings"] >= 3
    shown = ["sd", "sd_low", "sd_high", "noise_sd", "least_difference"]
    table.loc[~enough, shown] = nan
    usual = ["robust_sd", "robust_sd_low", "robust_sd_high"]
    found = []
    for row in table_as_shown(table, wanted.units).to_dict("records"):
        found.append(
            Level(
                metric=METRIC_BY_NAME[row["metric"]],
                count=row["swings"],
                usual_sd=Interval(*(row[name] for name in usual)),
                **{name: row[name] for name in ("mean", "noise_is", "unit", "far_out", *shown)},
            )
        )
    return found


def session_sentence(swings: pd.DataFrame, aligned: AlignedCurves) -> str:
    """What the set says, in one or two plain sentences computed from it.

    aligned : the hinge curves of the same swings, lined up at impact.
    """
    count = len(swings)
    noun = "swing" if count == 1 else "swings"
    if count == 0:
        return "No swings of this kind count here."
    (release,) = levels(swings, ["release_ms"])
    if not math.isfinite(release.sd):
        return f"{count} {noun}: too few to speak of a spread; ten or more say something."
    text = (
        f"{count} {noun}. Release comes {release.mean_text} before impact, "
        f"give or take {with_unit(release.sd_text, 'ms')}."
    )
    where = widest_hinge(aligned)
    return f"{text} {where}" if where else text

"""The units a person reads: everything is kept in SI, and turned here where it is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from imu.columns import METRIC_BY_NAME
from imu.metric import Metric
from imu.units import MPH

SPEED_UNITS: dict[str, float] = {"m/s": 1.0, "mph": 1.0 / MPH, "km/h": 3.6}
"""Units of speed, and how many of each make 1 m/s."""


@dataclass(frozen=True)
class ShownUnits:
    """The unit of speed chosen; all other units are shown as they are kept."""

    speed: str = "m/s"

    def of(self, unit: str) -> tuple[str, float]:
        """The unit to show in place of ``unit``, and the factor that leads there."""
        return (self.speed, SPEED_UNITS[self.speed]) if unit == "m/s" else (unit, 1.0)

    def factor(self, metric: str) -> float:
        """What the numbers of a metric are multiplied by."""
        return self.of(METRIC_BY_NAME[metric].unit)[1]

    def metric(self, metric: str) -> Metric:
        """A metric as shown: with the unit chosen. Its range stays in the unit kept."""
        kept = METRIC_BY_NAME[metric]
        return replace(kept, unit=self.of(kept.unit)[0])

    def table(self, table: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
        """A table of one row a metric with its numbers and its ``unit`` as shown; never changed in
        place.

        columns : those that are in the metric's unit.
        """
        factors = table["metric"].map(self.factor)
        if not len(table) or (factors == 1.0).all():
            return table
        turned = {name: table[name] * factors for name in columns if name in table}
        if "unit" in table:
            turned["unit"] = table["metric"].map(lambda name: self.metric(name).unit)
        return table.assign(**turned)

    def swings(self, swings: pd.DataFrame, metrics: Sequence[str]) -> pd.DataFrame:
        """A swing table with these metrics and their errors as shown; never changed in place."""
        turned = {
            column: swings[column] * self.factor(name)
            for name in metrics
            for column in METRIC_BY_NAME[name].columns
            if column in swings and self.factor(name) != 1.0
        }
        return swings.assign(**turned) if turned else swings


SI = ShownUnits()
"""As kept."""

"""What still counts as repeating: set before the swings are looked at, kept with the result."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from imu.columns import METRIC_BY_NAME
from imu.errors import SwingspreadError


@dataclass(frozen=True)
class Limits:
    """Limits of a comparison. Raises SwingspreadError for limits that make no sense.

    sd_ratio : the spread may grow to less than this many times. shift_in_sds : the mean may
    move by at most this many SDs of set A, for metrics without a limit of their own in
    ``shift`` (metric → largest move, in the metric's unit). minimum_swings, minimum_sessions :
    with fewer in either set there is no verdict. power : chance of settling the question used
    for "more swings needed". level : of every interval. set_at : when the limits were set
    (ISO 8601), "" when not before the comparison.
    """

    sd_ratio: float = 1.5
    shift_in_sds: float = 1.0
    shift: Mapping[str, float] = field(default_factory=dict)
    minimum_swings: int = 8
    minimum_sessions: int = 3
    power: float = 0.8
    level: float = 0.95
    set_at: str = ""

    def __post_init__(self) -> None:
        if not 1.0 < self.sd_ratio <= 10:
            raise SwingspreadError(
                f"limit on spread {self.sd_ratio}: use a ratio above 1, up to 10"
            )
        if not 0 < self.shift_in_sds <= 20:
            raise SwingspreadError(f"limit on shift {self.shift_in_sds}: use SDs above 0, up to 20")
        for name, value in self.shift.items():
            if name not in METRIC_BY_NAME:
                raise SwingspreadError(f"limit on {name!r}: there is no measure of that name")
            if not value > 0:
                raise SwingspreadError(f"limit on {name}: {value} is not above 0")
        if not (self.minimum_swings >= 2 and self.minimum_sessions >= 2):
            raise SwingspreadError("a verdict needs 2 swings and 2 sessions of each set at least")
        if not 0.5 <= self.power < 1:
            raise SwingspreadError(f"power {self.power}: use 0.5 to 0.99, as 0.8")
        if not 0.5 <= self.level < 1:
            raise SwingspreadError(f"level {self.level}: use 0.5 to 0.999, as 0.95")

    def largest_shift(self, metric: str, sd_a: float) -> float:
        """The limit on a move of this metric's mean, in its unit."""
        return float(self.shift.get(metric, self.shift_in_sds * sd_a))

    def largest_shift_se(self, metric: str, sd_a: float, freedom: float) -> float:
        """Standard error of that limit: 0 when set in the metric's own unit; that of the SD, worth
        ``freedom`` degrees of freedom, when set in SDs of A."""
        if metric in self.shift or not freedom > 0:
            return 0.0
        return float(self.shift_in_sds * sd_a / math.sqrt(2 * freedom))

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {**asdict(self), "shift": dict(self.shift)}


def limits_from_dict(values: Mapping[str, Any]) -> Limits:
    """Read back ``Limits.as_dict``. Raises SwingspreadError for what cannot be a limit."""
    try:
        return Limits(**values)
    except (AttributeError, TypeError) as problem:
        raise SwingspreadError(f"the limits cannot be read: {dict(values)!r}") from problem

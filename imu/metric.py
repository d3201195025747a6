"""What is known of one measurement besides its value: words, unit, definition, source, range."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Metric:
    """One column of the swing table that carries a measurement.

    name : column. label : words for people. unit : as shown. definition : how it is measured.
    source : where the definition comes from. low, high : plausible range for a warning, never
    a target. kind : "time", "angle", "rate", "speed", "length", "ratio" or "count".
    headline : shown first. model : True where a body model stands between sensor and number,
    which is then said wherever the metric is explained. caution : what the number cannot say.
    """

    name: str
    label: str
    unit: str
    definition: str
    source: str
    low: float
    high: float
    kind: str
    headline: bool = False
    model: bool = False
    caution: str = ""

    @property
    def se_name(self) -> str:
        """Column with the standard error of this metric."""
        return f"{self.name}_se"

    @property
    def se_swing_name(self) -> str:
        """Column with the part of that error that differs from swing to swing, not shared."""
        return f"{self.name}_se_swing"

    @property
    def columns(self) -> tuple[str, str, str]:
        """Its columns in the swing table: the value and both errors."""
        return self.name, self.se_name, self.se_swing_name

"""Choices a user may change; they travel with each result."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from imu.units import DEG


@dataclass(frozen=True)
class AnalysisSettings:
    """Thresholds of the definitions, in SI units.

    release_threshold : rad the hinge must have opened from its downswing maximum.
    near_line_tolerance : m, half-open distance from the line that still counts as on it.
    """

    release_threshold: float = 10.0 * DEG
    near_line_tolerance: float = 0.02

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return asdict(self)

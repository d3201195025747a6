"""Which curves the figures show: column, heading, unit."""

from __future__ import annotations

from collections.abc import Iterable

CURVES: dict[str, tuple[str, str]] = {
    "hinge_deg": ("Hinge", "°"),
    "club_rate_deg_s": ("Club rate", "°/s"),
    "arm_rate_deg_s": ("Arm rate", "°/s"),
}
"""Curves of every recording: column, heading, unit."""

FURTHER_CURVES: dict[str, tuple[str, str]] = {"belt_turn_rate_deg_s": ("Belt turn rate", "°/s")}
"""Curves that only recordings with a further sensor have."""

EVERY_CURVE = CURVES | FURTHER_CURVES


def curves_in(columns: Iterable[str]) -> tuple[str, ...]:
    """Curves to show of a table with these columns."""
    there = set(columns)
    return (*CURVES, *(name for name in FURTHER_CURVES if name in there))

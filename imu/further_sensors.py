"""Metrics and curves of sensors beyond the two that every recording needs, by role: data, not code.

Their columns stand in the tables of recordings that have such a sensor, and in no others.
"""

from __future__ import annotations

from collections.abc import Iterable

from imu.metric import Metric

ROLE_METRICS: dict[str, tuple[Metric, ...]] = {
    "belt": (
        Metric(
            "belt_before_arm_ms",
            "Belt turns before arm",
            "ms",
            "How long the belt turns back towards the target before the lead arm does; positive "
            "when the belt goes first.",
            "our definition",
            -150,
            300,
            "time",
            caution="Needs a third sensor, on the belt; not known without one.",
        ),
    ),
}
"""Metrics by role."""

ROLE_CODES: dict[str, int] = {"belt": 3}
"""What a sensor is told and remembers, by role; 0 to 2 are unset, forearm and club."""

ROLE_CURVES: dict[str, dict[str, tuple[str, str]]] = {
    "belt": {
        "belt_turn_rate_deg_s": (
            "°/s",
            "Turning rate of the belt about the vertical; positive towards the target. Only with "
            "a sensor on the belt.",
        )
    }
}
"""Curves by role, with unit and meaning."""


def further_swing_columns(roles: Iterable[str]) -> list[str]:
    """Columns that the swing table has beyond ``SWING_COLUMNS`` in a recording of these roles."""
    return [name for role in roles for one in ROLE_METRICS.get(role, ()) for name in one.columns]


def further_curve_columns(roles: Iterable[str]) -> list[str]:
    """Columns that the curve table has beyond ``CURVE_COLUMNS`` in a recording of these roles."""
    return [name for role in roles for name in ROLE_CURVES.get(role, {})]

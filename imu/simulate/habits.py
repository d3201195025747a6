"""What a golfer means to do, and how much it varies from swing to swing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np


@dataclass(frozen=True)
class SwingNumbers:
    """One swing, or the means or standard deviations of many. Degrees and milliseconds.

    backswing_ms : takeaway to the club's change of direction. downswing_ms : from there to
    impact. overlap_ms : the arm turns back this much before the club. release_ms : hinge 10°
    below its greatest value, before impact. lag_max_deg : greatest lag in the plane.
    lag_at_impact_deg : in the plane. shaft_at_impact_deg : shaft in the plane, hands ahead
    negative. arm_top_deg : arm angle at its top. arm_plane_deg, shaft_plane_deg : inclinations
    at address. impact_plane_deg : shaft plane at impact less that at address. plane_shift_deg :
    how much steeper the shaft starts down. club_elevation_top_deg, arm_elevation_top_deg : out
    of plane at the top. arm_roll_top_deg, arm_roll_impact_deg : forearm roll (pronation +).
    speed : arm rate at impact beyond the shape's, as a share; snap : the same of the rate at
    which the lag opens. finish_deg : arm at the finish.
    sway_m : hub movement away from the target.
    """

    backswing_ms: float = 0.0
    downswing_ms: float = 0.0
    overlap_ms: float = 0.0
    release_ms: float = 0.0
    lag_max_deg: float = 0.0
    lag_at_impact_deg: float = 0.0
    shaft_at_impact_deg: float = 0.0
    arm_top_deg: float = 0.0
    arm_plane_deg: float = 0.0
    shaft_plane_deg: float = 0.0
    impact_plane_deg: float = 0.0
    plane_shift_deg: float = 0.0
    club_elevation_top_deg: float = 0.0
    arm_elevation_top_deg: float = 0.0
    arm_roll_top_deg: float = 0.0
    arm_roll_impact_deg: float = 0.0
    speed: float = 0.0
    snap: float = 0.0
    finish_deg: float = 0.0
    sway_m: float = 0.0

    def as_dict(self) -> dict[str, float]:
        """Plain values by name."""
        return {item.name: float(getattr(self, item.name)) for item in fields(self)}


IRON_MEAN = SwingNumbers(
    backswing_ms=820.0,
    downswing_ms=262.0,
    overlap_ms=32.0,
    release_ms=82.0,
    lag_max_deg=97.0,
    lag_at_impact_deg=6.0,
    shaft_at_impact_deg=-5.0,
    arm_top_deg=-136.0,
    arm_plane_deg=67.0,
    shaft_plane_deg=51.0,
    plane_shift_deg=5.0,
    club_elevation_top_deg=0.0,
    arm_elevation_top_deg=0.0,
    arm_roll_top_deg=80.0,
    arm_roll_impact_deg=4.0,
    speed=-0.12,
    snap=-0.12,
    finish_deg=122.0,
    sway_m=0.03,
)
DRIVER_MEAN = SwingNumbers(
    **{
        **IRON_MEAN.as_dict(),
        "backswing_ms": 850.0,
        "downswing_ms": 258.0,
        "release_ms": 84.0,
        "shaft_at_impact_deg": 0.0,
        "arm_top_deg": -140.0,
        "arm_plane_deg": 62.0,
        "shaft_plane_deg": 46.5,
    }
)
STEADY = SwingNumbers(
    backswing_ms=15.0,
    downswing_ms=5.0,
    overlap_ms=4.0,
    release_ms=3.0,
    lag_max_deg=1.2,
    lag_at_impact_deg=1.2,
    shaft_at_impact_deg=0.8,
    arm_top_deg=1.5,
    arm_plane_deg=0.4,
    shaft_plane_deg=0.4,
    impact_plane_deg=0.6,
    plane_shift_deg=1.2,
    club_elevation_top_deg=1.0,
    arm_elevation_top_deg=0.8,
    arm_roll_top_deg=1.5,
    arm_roll_impact_deg=1.5,
    speed=0.01,
    snap=0.04,
    finish_deg=3.0,
    sway_m=0.004,
)
LOOSE = SwingNumbers(
    backswing_ms=45.0,
    downswing_ms=14.0,
    overlap_ms=9.0,
    release_ms=7.0,
    lag_max_deg=4.0,
    lag_at_impact_deg=3.0,
    shaft_at_impact_deg=2.5,
    arm_top_deg=4.5,
    arm_plane_deg=0.8,
    shaft_plane_deg=0.8,
    impact_plane_deg=1.5,
    plane_shift_deg=3.0,
    club_elevation_top_deg=2.5,
    arm_elevation_top_deg=1.5,
    arm_roll_top_deg=4.0,
    arm_roll_impact_deg=4.0,
    speed=0.025,
    snap=0.04,
    finish_deg=6.0,
    sway_m=0.008,
)


@dataclass(frozen=True)
class SwingHabit:
    """How a golfer swings one club: means, swing-to-swing deviations, drift over a session.

    drift : change from the first to the last swing of a session, by name of the quantity.
    """

    mean: SwingNumbers = IRON_MEAN
    deviation: SwingNumbers = STEADY
    drift: Mapping[str, float] = field(default_factory=dict)

    def draw(self, rng: np.random.Generator, progress: float = 0.0) -> SwingNumbers:
        """One swing; Gaussian, cut at 2.5 deviations. ``progress`` : 0 first, 1 last swing.

        The arm never turns after the club, and no wrist is let go before the club has turned:
        overlap at least 1 ms, release at most half the downswing.
        """
        mean, deviation = self.mean.as_dict(), self.deviation.as_dict()
        values = {
            name: mean[name]
            + self.drift.get(name, 0.0) * progress
            + deviation[name] * float(np.clip(rng.standard_normal(), -2.5, 2.5))
            for name in mean
        }
        values["overlap_ms"] = max(values["overlap_ms"], 1.0)
        values["release_ms"] = min(values["release_ms"], 0.5 * values["downswing_ms"])
        return SwingNumbers(**values)

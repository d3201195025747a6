"""Golfers that differ from each other: habits drawn for sessions nobody has seen before."""

from __future__ import annotations

import numpy as np

from imu.simulate.habits import DRIVER_MEAN, IRON_MEAN, LOOSE, STEADY, SwingHabit, SwingNumbers
from imu.types import Club

LONG_CLUB = 1.05
"""m; a longer club is swung like a driver."""

BETWEEN = SwingNumbers(
    backswing_ms=60.0,
    downswing_ms=18.0,
    overlap_ms=14.0,
    release_ms=5.0,
    lag_max_deg=6.0,
    lag_at_impact_deg=2.0,
    shaft_at_impact_deg=2.5,
    arm_top_deg=6.0,
    arm_plane_deg=2.0,
    shaft_plane_deg=1.5,
    impact_plane_deg=1.0,
    plane_shift_deg=4.0,
    club_elevation_top_deg=3.0,
    arm_elevation_top_deg=2.0,
    arm_roll_top_deg=8.0,
    arm_roll_impact_deg=4.0,
    speed=0.03,
    snap=0.02,
    finish_deg=6.0,
    sway_m=0.008,
)
"""Standard deviations of golfers' means about the common mean: plausible, no source."""


def random_habit(rng: np.random.Generator, club: Club) -> SwingHabit:
    """A golfer's habit with a club: means of his own, and a spread from steady to loose.

    Gaussian means cut at two deviations. Slower downswings release earlier in proportion.
    """
    common = (DRIVER_MEAN if club.length > LONG_CLUB else IRON_MEAN).as_dict()
    between = BETWEEN.as_dict()
    mean = {
        name: value + between[name] * float(np.clip(rng.standard_normal(), -2.0, 2.0))
        for name, value in common.items()
    }
    mean["release_ms"] *= mean["downswing_ms"] / common["downswing_ms"]
    looseness = float(rng.uniform(0.0, 1.0))
    steady, loose = STEADY.as_dict(), LOOSE.as_dict()
    spread = {name: steady[name] + looseness * (loose[name] - steady[name]) for name in steady}
    return SwingHabit(SwingNumbers(**mean), SwingNumbers(**spread))

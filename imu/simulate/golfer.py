"""The simulated golfer: one swing, from its numbers to joint coordinates.

The arm's way from the top to impact and the opening of the lag have the shape of the release of
the driven double pendulum, stretched to the drawn times and angles. The wrists help a little
(an active wrist torque), as without them the hands would be far ahead of the ball at impact.
With the pendulum's own numbers the swing is the pendulum.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from imu.simulate.double_pendulum import PendulumParameters, swing_down
from imu.simulate.habits import SwingNumbers
from imu.simulate.paths import Curve, Paths
from imu.types import FloatArray
from imu.units import DEG, MS

WRIST_TORQUE = 18.0
"""N·m; with it the pendulum of ``double_pendulum`` reaches the ball with 6° of hinge left."""


@dataclass(frozen=True)
class SwingTimes:
    """Where the built swing lies, s: knots of the paths."""

    takeaway: float
    arm_top: float
    club_top: float
    onset: float
    impact: float
    finish: float


@dataclass(frozen=True, eq=False)
class ReleaseShape:
    """Release of the reference pendulum, each over 0..1: (K, 4) knots of time, value,
    first and second derivative. ``arm`` from the top to impact; ``opening`` from the start of
    the release to impact. ``onset`` : where the release starts, as a share of the downswing."""

    arm: FloatArray
    opening: FloatArray
    onset: float


@cache
def release_shape(wrist_torque: float = WRIST_TORQUE) -> ReleaseShape:
    """Shape of the reference pendulum (``double_pendulum``), worked out once."""
    swing = swing_down(PendulumParameters(wrist_torque=wrist_torque), samples=16)
    span = swing.arm[-1, 0] - swing.arm[0, 0]
    total = swing.impact
    arm = np.column_stack(
        [
            swing.time / total,
            (swing.arm[:, 0] - swing.arm[0, 0]) / span,
            swing.arm[:, 1] * total / span,
            swing.arm[:, 2] * total**2 / span,
        ]
    )
    free = swing.time >= swing.release
    opened = swing.club[free] - swing.arm[free]
    lead = swing.impact - swing.release
    opening_span = opened[-1, 0] - opened[0, 0]
    opening = np.column_stack(
        [
            (swing.time[free] - swing.release) / lead,
            (opened[:, 0] - opened[0, 0]) / opening_span,
            opened[:, 1] * lead / opening_span,
            opened[:, 2] * lead**2 / opening_span,
        ]
    )
    return ReleaseShape(arm, opening, swing.release / total)


def opening_time(share: float, shape: ReleaseShape, snap: float = 0.0) -> float:
    """Share of the release time at which the lag has opened by ``share`` of its whole opening."""
    curve = Curve.through(map(tuple, _hurried(shape.opening, snap)))
    grid = np.linspace(0.0, 1.0, 2001)
    return float(np.interp(share, curve(grid)[0], grid))


def _hurried(shape: FloatArray, share: float) -> FloatArray:
    """A shape with its end rate changed by a share of itself, all else at both ends kept."""
    x, extra = shape[:, 0], share * shape[-1, 2]
    more = [0.0 * x, x**4 - x**3, 4 * x**3 - 3 * x**2, 12 * x**2 - 6 * x]
    return shape + extra * np.column_stack(more)


def address_posture(
    numbers: SwingNumbers, arm_length: float, wrist_to_head: float, lift: float = 0.0
) -> dict[str, float]:
    """Coordinates over the ball, clubhead ``lift`` m above the ground (m, rad)."""
    arm_angle, lag = 2.0 * DEG, 3.0 * DEG
    arm_plane, shaft_plane = numbers.arm_plane_deg * DEG, numbers.shaft_plane_deg * DEG
    height = arm_length * np.sin(arm_plane) * np.cos(arm_angle)
    height += wrist_to_head * np.sin(shaft_plane) * np.cos(arm_angle - lag)
    return {
        "hub_z": float(height) + lift,
        "arm_tilt": 90.0 * DEG - arm_plane,
        "arm_angle": arm_angle,
        "arm_elevation": 0.0,
        "arm_roll": 0.0,
        "club_tilt": 90.0 * DEG - shaft_plane,
        "lag": lag,
        "club_elevation": 0.0,
        "club_twist": 0.0,
        "grip": 1.0,
    }


def add_swing(
    paths: Paths,
    takeaway: float,
    numbers: SwingNumbers,
    slowed: float = 0.0,
    contact: float = 2.0 * MS,
    wrist_torque: float = WRIST_TORQUE,
) -> SwingTimes:
    """Add one swing from the address posture that the paths are resting in.

    ``slowed`` : rad/s that the ball takes from the club over the ``contact`` time (s).
    Raises ValueError for numbers that no swing can have (release before the top, arm turning
    after the club).
    """
    shape = release_shape(wrist_torque)
    address = paths.posture()
    arm_top = takeaway + (numbers.backswing_ms - numbers.overlap_ms) * MS
    club_top = takeaway + numbers.backswing_ms * MS
    impact = club_top + numbers.downswing_ms * MS
    top, strike = numbers.arm_top_deg * DEG, numbers.shaft_at_impact_deg * DEG
    lag_max, lag_impact = numbers.lag_max_deg * DEG, numbers.lag_at_impact_deg * DEG
    strike += lag_impact
    opening = lag_max - lag_impact
    lead = numbers.release_ms * MS / (1.0 - opening_time(10.0 * DEG / opening, shape, numbers.snap))
    onset = impact - lead
    if not takeaway < arm_top <= club_top < onset < impact:
        raise ValueError(
            f"no such swing: overlap {numbers.overlap_ms:.0f} ms, downswing "
            f"{numbers.downswing_ms:.0f} ms, release starting {lead / MS:.0f} ms before impact"
        )

    # Arm: pendulum shape, with a share more or less rate at the end (x⁴ − x³ has none at 0).
    span, total = strike - top, impact - arm_top
    arm: list[tuple[float, float, float, float]] = []
    for x, v, v1, v2 in _hurried(shape.arm, numbers.speed):
        arm.append((arm_top + x * total, top + span * v, span * v1 / total, span * v2 / total**2))
    paths.hold(takeaway, ["arm_angle", "lag"])
    for knot in arm:
        paths.add("arm_angle", *knot)

    # Lag: grows past the arm's turn so that the club turns at its own time, then opens.
    arm_rate = float(Curve.through(arm)(np.array([club_top]))[1][0])
    rest = onset - club_top
    paths.add("lag", club_top, lag_max - arm_rate * rest / 3.0, arm_rate, -2.0 * arm_rate / rest)
    opened = _hurried(shape.opening, numbers.snap)
    for x, u, u1, u2 in opened:
        paths.add(
            "lag",
            onset + x * lead,
            lag_max - opening * u,
            -opening * u1 / lead,
            -opening * u2 / lead**2 if x > 0.0 else 0.0,
        )
    lag_rate = -opening * opened[-1, 2] / lead
    arm_rate = arm[-1][2]
    after = impact + contact
    if slowed > 0.0:
        lag_after = lag_impact + (lag_rate + 0.5 * slowed) * contact
        lag_rate += slowed
        paths.add("lag", after, lag_after, lag_rate, 0.0)
    finish = _follow_through(paths, impact, numbers, arm_rate, lag_rate)
    _out_of_plane(paths, takeaway, arm_top, onset, impact, finish, numbers, address)
    return SwingTimes(takeaway, arm_top, club_top, onset, impact, finish)


def _follow_through(
    paths: Paths,
    impact: float,
    numbers: SwingNumbers,
    arm_rate: float,
    lag_rate: float,
) -> float:
    """Bring arm and lag to rest at the finish; returns its time."""
    arm_way = numbers.finish_deg * DEG - paths.last("arm_angle")
    arm_time = 2.4 * arm_way / arm_rate
    paths.add("arm_angle", impact + arm_time, numbers.finish_deg * DEG)
    lag_finish = -min(1.0, numbers.lag_max_deg / 90.0) * 92.0 * DEG
    start = paths.knots["lag"][-1][0]
    lag_time = 2.4 * (lag_finish - paths.last("lag")) / lag_rate
    paths.add("lag", start + lag_time, lag_finish)
    return max(impact + arm_time, start + lag_time)


def _out_of_plane(
    paths: Paths,
    takeaway: float,
    arm_top: float,
    onset: float,
    impact: float,
    finish: float,
    numbers: SwingNumbers,
    address: Mapping[str, float],
) -> None:
    """Rolls, tilts, elevations and the sway of the hub around the planar swing."""
    names = ("arm_roll", "club_tilt", "club_elevation", "arm_elevation", "hub_x", "hub_z")
    paths.hold(takeaway, names)
    roll_top, roll_impact = -numbers.arm_roll_top_deg * DEG, -numbers.arm_roll_impact_deg * DEG
    turn = max(onset + 0.15 * (impact - onset), impact - 0.120)
    rate = 1.45 * (roll_impact - 0.97 * roll_top) / (impact - turn)
    paths.add("arm_roll", arm_top, roll_top)
    paths.add("arm_roll", turn, 0.97 * roll_top)
    paths.add("arm_roll", impact, roll_impact, rate)
    paths.add("arm_roll", impact + 0.130, roll_impact + 0.070 * rate)
    paths.add("arm_roll", finish, roll_impact + 0.050 * rate)

    tilt = address["club_tilt"]
    at_impact = tilt - numbers.impact_plane_deg * DEG
    paths.add("club_tilt", arm_top, tilt - 0.7 * numbers.plane_shift_deg * DEG)
    paths.add("club_tilt", arm_top + 0.65 * (impact - arm_top), at_impact)
    paths.add("club_tilt", impact + 0.03, at_impact)
    paths.add("club_tilt", finish, tilt + 6.0 * DEG)

    for name, value in (
        ("club_elevation", numbers.club_elevation_top_deg),
        ("arm_elevation", numbers.arm_elevation_top_deg),
    ):
        paths.add(name, arm_top, value * DEG)
        paths.add(name, arm_top + 0.8 * (impact - arm_top), 0.0)
        paths.add(name, impact + 0.04, 0.0)
        paths.add(name, finish, 4.0 * DEG)

    sway, x, z = numbers.sway_m, address["hub_x"], address["hub_z"]
    for time, along, up in (
        (arm_top, -sway, -0.2 * sway),
        (impact + 0.02, 0.6 * sway, 0.4 * sway),
        (finish, 2.0 * sway, sway),
    ):
        paths.add("hub_x", time, x + along)
        paths.add("hub_z", time, z + up)

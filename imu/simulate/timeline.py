"""A session being played: the paths so far, what happened when, and the shocks.

Movements (``movements``, ``strokes``) append to it, one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imu.simulate.golfer import SwingTimes, address_posture
from imu.simulate.habits import SwingNumbers
from imu.simulate.kinematics import COORDINATES, Body
from imu.simulate.paths import Curve, Knot, Paths, smooth_noise
from imu.types import Club, FloatArray
from imu.units import DEG

STANDING: dict[str, float] = {
    "hub_z": 1.40,
    "arm_tilt": 14.0 * DEG,
    "arm_angle": 6.0 * DEG,
    "arm_elevation": 0.0,
    "arm_roll": -15.0 * DEG,
    "club_tilt": 52.0 * DEG,
    "lag": -4.0 * DEG,
    "club_elevation": 0.0,
    "club_twist": 0.0,
    "grip": 1.0,
    "worn": 1.0,
}
"""Arm hanging, club held low in front."""


@dataclass(frozen=True)
class Shock:
    """A blow that rings on after ``time`` (s). Accelerations in m/s² at each sensor; the main
    movement of a strike is in the paths, this is what shakes on top of it. ``rate`` : rad/s."""

    time: float
    club: float = 0.0
    forearm: float = 0.0
    rate: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class PlayedSwing:
    """A swing that was built: kind ball or practice, shape full, half or chip."""

    kind: str
    shape: str
    numbers: SwingNumbers
    times: SwingTimes
    club: Club
    start: float
    end: float
    slowed: float
    waggles: int
    settled: float


@dataclass(frozen=True)
class OtherMovement:
    """Anything else that happened: its type, when, and facts about it."""

    type: str
    start: float
    end: float
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass
class Timeline:
    """A session being played. ``now`` : s, up to which all is known."""

    rng: np.random.Generator
    club: Club
    arm_length: float
    restless: float = 1.0
    now: float = 0.0
    paths: Paths = field(init=False)
    swings: list[PlayedSwing] = field(default_factory=list)
    others: list[OtherMovement] = field(default_factory=list)
    shocks: list[Shock] = field(default_factory=list)
    bend: list[Knot] = field(default_factory=lambda: [(-1.0, 0.0, 0.0, 0.0)])
    skin: list[list[Knot]] = field(
        default_factory=lambda: [[(-1.0, 0.0, 0.0, 0.0)] for _ in range(3)]
    )

    def __post_init__(self) -> None:
        self.paths = Paths.standing(0.0, {**dict.fromkeys(COORDINATES, 0.0), **STANDING})

    def span(self, low: float, high: float) -> float:
        """A random duration or amount."""
        return float(self.rng.uniform(low, high))

    def settle(self, target: Mapping[str, float], seconds: float) -> None:
        """Move from the present posture to another, from rest to rest."""
        self.paths.move(self.now, self.now + seconds, target)
        self.now += seconds

    def wait(self, seconds: float) -> None:
        """Stay as one is."""
        self.now += seconds

    def stand(self, seconds: float | None = None) -> None:
        """Come back to standing with the club low."""
        self.settle({**STANDING, "heading": 0.0}, seconds or self.span(1.1, 1.6))

    def address(self, numbers: SwingNumbers, lift: float = 0.0, seconds: float = 0.0) -> None:
        """Take the stance over the ball, not twice on quite the same spot."""
        posture = address_posture(numbers, self.arm_length, self.club.wrist_to_head, lift)
        offsets = self.rng.normal(0.0, 0.008, 2)
        posture |= {
            "hub_x": float(offsets[0]),
            "hub_y": float(offsets[1]),
            "heading": float(self.rng.normal(0.0, 1.0)) * DEG,
            "worn": 1.0,
        }
        self.settle(posture, seconds or self.span(1.1, 1.7))

    def ring(self, time: float, club: float, forearm: float, rate: float = 0.0) -> None:
        """Add a blow."""
        self.shocks.append(Shock(time, club, forearm, rate, int(self.rng.integers(1 << 31))))

    def note(self, type_: str, start: float, **facts: Any) -> None:
        """Write down a movement that ended now."""
        self.others.append(OtherMovement(type_, start, self.now, facts))

    def bend_shaft(self, times: SwingTimes, struck: bool) -> None:
        """Shaft bending of one swing, 1 at its greatest: back early in the downswing, forward
        into the ball, and ringing after (about 45 Hz)."""
        height = 0.5 if struck else 0.2
        whole = times.impact - times.club_top
        knots: list[Knot] = [
            (times.arm_top - 0.05, 0.0, 0.0, 0.0),
            (times.club_top + 0.40 * whole, 1.0, 0.0, 0.0),
            (times.impact - 0.045, 0.2, -20.0, 0.0),
        ]
        fade, turn = 1.0 / 0.060, 2.0 * math.pi * 45.0
        for index in range(45):
            t = index / (8.0 * 45.0) * 2.0
            wave, wave1 = math.cos(turn * t), -turn * math.sin(turn * t)
            envelope = -height * math.exp(-fade * t)
            knots.append(
                (
                    times.impact + t,
                    envelope * wave,
                    envelope * (wave1 - fade * wave),
                    envelope * (-(turn**2) * wave - 2.0 * fade * wave1 + fade**2 * wave),
                )
            )
        knots.append((knots[-1][0] + 0.02, 0.0, 0.0, 0.0))
        self.bend.extend(knots)

    def slide_skin(self, times: SwingTimes) -> None:
        """Turn of the strapped sensor on the forearm's skin in one swing, 1 at its greatest.

        Mostly about the long axis, as the forearm rolls and the speed rises; a third of that
        about the other two.
        """
        whole, end = times.impact - times.club_top, times.impact
        about_long = [(-0.45, -0.4), (-0.2, 0.3), (-0.02, -1.0), (0.3, -0.5)]
        about_x = [(-0.8, -0.35), (-0.4, -0.15), (-0.05, -0.2), (0.25, -0.35)]
        about_z = [(-0.5, 0.0), (-0.1, 0.35), (0.0, 0.4), (0.3, 0.4)]
        for axis, shape in enumerate((about_x, about_long, about_z)):
            knots: list[Knot] = [(times.arm_top - 0.1, 0.0, 0.0, 0.0)]
            knots += [(end + place * whole, value, 0.0, 0.0) for place, value in shape]
            knots.append((end + 1.6 * whole, 0.0, 0.0, 0.0))
            self.skin[axis].extend(knots)

    def wrist_at_rest(self) -> FloatArray:
        """(3,) m, where the wrist is in the present posture."""
        posture = self.paths.posture() | {"grip": 1.0}
        curves = {name: Curve.through([(0.0, value, 0.0, 0.0)]) for name, value in posture.items()}
        return Body(curves, self.arm_length).at(np.zeros(1)).wrist[0]

    def let_go(self, place: FloatArray) -> None:
        """Start the club's own place where it is held now, (3,) m; until then it has no effect."""
        for index, name in enumerate(("place_x", "place_y", "place_z")):
            time = self.paths.knots[name][-1][0]
            self.paths.knots[name][-1] = (time, float(place[index]), 0.0, 0.0)

    def body(self) -> Body:
        """The finished movement, with the tremor and sway that a living body has."""
        duration = self.now + 2.0
        shake, sway = 0.03 * DEG * self.restless, 0.12 * DEG * self.restless**2
        tremor: dict[str, list[Curve]] = {}
        for name in (
            "arm_tilt",
            "arm_angle",
            "arm_elevation",
            "arm_roll",
            "club_tilt",
            "lag",
            "club_elevation",
        ):
            tremor[name] = [
                smooth_noise(self.rng, duration, 0.06, shake),
                smooth_noise(self.rng, duration, 0.45, sway),
            ]
        for name in ("hub_x", "hub_y", "hub_z"):
            tremor[name] = [smooth_noise(self.rng, duration, 0.6, 0.0015 * self.restless**2)]
        return Body(self.paths.curves(), self.arm_length, tremor)

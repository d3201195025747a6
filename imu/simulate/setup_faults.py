"""Ways to set the sensors up wrongly, for tests of what the analysis says about them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from imu.simulate.paths import Curve, Knot
from imu.simulate.timeline import PlayedSwing
from imu.types import Stream
from imu.units import DEG


@dataclass(frozen=True)
class SetupFaults:
    """What is wrong; nothing by default.

    handedness, club_length : declared so in the manifest, whatever is true ("" and 0: as true).
    swapped : the sensors' roles exchanged. wrong_arm : the forearm's sensor on the trail arm.
    upside_down : roles strapped end for end.
    slip_deg : by role, turn about the segment in the middle of the session, in a strike.
    loose_deg : by role, shaking of a loose strap during the swings (standard deviation).
    """

    handedness: str = ""
    club_length: float = 0.0
    swapped: bool = False
    wrong_arm: bool = False
    upside_down: tuple[str, ...] = ()
    slip_deg: Mapping[str, float] = field(default_factory=dict)
    loose_deg: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Wobble:
    """The sensor turns against its segment about a segment axis (0 x, 1 y long, 2 z) by a curve
    (rad); ``lever`` m: it also moves sideways along x by lever · angle (shaft bending)."""

    axis: int
    curve: Curve
    lever: float = 0.0


def slip(swings: Sequence[PlayedSwing], degrees: float) -> Wobble | None:
    """A turn about the long axis within 30 ms after the impact in the middle of the session."""
    if not swings or not degrees:
        return None
    impact = swings[len(swings) // 2].times.impact
    knots: list[Knot] = [(impact, 0.0, 0.0, 0.0), (impact + 0.030, degrees * DEG, 0.0, 0.0)]
    return Wobble(1, Curve.through(knots))


def moved_over(start: float, end: float, degrees: float = 65.0) -> Wobble:
    """The sensor strapped to another club between two times (s): turned about the shaft."""
    knots: list[Knot] = [(start, 0.0, 0.0, 0.0), (end, degrees * DEG, 0.0, 0.0)]
    return Wobble(1, Curve.through(knots))


def shaking(
    swings: Sequence[PlayedSwing], degrees: float, rng: np.random.Generator
) -> list[Wobble]:
    """Wobbles about the two cross axes from the top to the finish of every swing."""
    if not degrees:
        return []
    found = []
    for axis in (0, 2):
        knots: list[Knot] = [(-1.0, 0.0, 0.0, 0.0)]
        for swing in swings:
            start, end = swing.times.arm_top, swing.times.finish
            knots.append((start, 0.0, 0.0, 0.0))
            for time in np.arange(start + 0.03, end - 0.03, 0.03):
                knots.append((float(time), float(rng.normal(0.0, degrees * DEG)), 0.0, 0.0))
            knots.append((end, 0.0, 0.0, 0.0))
        found.append(Wobble(axis, Curve.through(knots)))
    return found


def exchanged(streams: Mapping[str, Stream]) -> dict[str, Stream]:
    """The same streams with the two roles exchanged."""
    first, second = streams
    return {
        first: replace(streams[second], role=first),
        second: replace(streams[first], role=second),
    }

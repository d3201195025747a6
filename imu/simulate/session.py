"""A whole simulated session: a plan, a sensor profile and a seed in; recording and truth out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from imu.recordings.content import make_recording
from imu.simulate.kinematics import Body
from imu.simulate.paths import Curve, Knot
from imu.simulate.plan import ACTIONS, DRIVER, IRON_7, SessionPlan, mixed_plan, play
from imu.simulate.profiles import Profile, SensorDraw, draw_sensor, profile_named
from imu.simulate.sensor import Measured, measure
from imu.simulate.session_truth import SimulatedTruth, session_truth
from imu.simulate.setup_faults import Wobble, exchanged, moved_over, shaking, slip
from imu.simulate.timeline import Timeline
from imu.types import CLUB, FOREARM, Club, Manifest, Player, Recording

__all__ = [
    "ACTIONS",
    "DRIVER",
    "IRON_7",
    "SessionPlan",
    "SimulatedSession",
    "SimulatedTruth",
    "mixed_plan",
    "play",
    "simulate_session",
]


@dataclass(frozen=True, eq=False)
class SimulatedSession:
    """A recording, the truth about it, the body that moved, and the sensors as measured."""

    recording: Recording
    truth: SimulatedTruth
    body: Body
    measured: Mapping[str, Measured]


def simulate_session(plan: SessionPlan, profile: str | Profile, seed: int) -> SimulatedSession:
    """Play a plan and record it with two modelled sensors.

    profile : "clean", "good", "typical" or "harsh" (see ``profiles``), or one of your own. The
    same seed gives the same session to the bit. Raises SwingspreadError for an unknown profile
    or action.
    """
    name, errors = (
        ("own", profile) if isinstance(profile, Profile) else (profile, profile_named(profile))
    )
    streams = np.random.SeedSequence(seed).spawn(5)
    play_rng, body_rng, *sensor_rngs, meta_rng = (np.random.default_rng(s) for s in streams)
    line = play(plan, play_rng)
    line.rng = body_rng
    body = line.body()
    measured: dict[str, Measured] = {}
    draws: dict[str, SensorDraw] = {}
    for role, rng in zip((FOREARM, CLUB), sensor_rngs, strict=True):
        draws[role] = draw_sensor(errors, role, rng)
        measured[role] = measure(
            body,
            line.shocks,
            draws[role],
            role,
            line.now - plan.trim[1],
            rng,
            plan.club.wrist_from_butt,
            plan.player.handedness == "left",
            _wobbles(plan, line, role, errors, draws[role]),
            plan.trim[0] + 0.2,
            role in plan.faults.upside_down,
            plan.faults.wrong_arm,
        )
    recorded = {role: found.stream for role, found in measured.items()}
    if plan.faults.swapped:
        recorded = exchanged(recorded)
    manifest = _manifest(plan, draws, errors.declared, meta_rng)
    recording = make_recording(manifest, recorded)
    truth = session_truth(plan, name, seed, line, body, draws, measured)
    return SimulatedSession(recording, truth, body, measured)


def _wobbles(
    plan: SessionPlan, line: Timeline, role: str, errors: Profile, draw: SensorDraw
) -> list[Wobble]:
    """How the sensor moves against its segment: bending shaft, sliding skin, bad strap."""
    wobbles = []
    if role == CLUB and errors.bend > 0.0 and line.swings:
        # Bent from the hands on: the sensor moves aside by a share of its distance from them.
        lever = 0.18 * (draw.distance - plan.club.wrist_from_butt)
        wobbles.append(Wobble(2, _scaled(line.bend, errors.bend), lever))
    if role == FOREARM and errors.skin > 0.0 and line.swings:
        wobbles += [Wobble(k, _scaled(line.skin[k], errors.skin)) for k in range(3)]
    if role == CLUB:
        wobbles += [moved_over(o.start, o.end) for o in line.others if o.type == "change club"]
    slipped = slip(line.swings, plan.faults.slip_deg.get(role, 0.0))
    if slipped:
        wobbles.append(slipped)
    return wobbles + shaking(line.swings, plan.faults.loose_deg.get(role, 0.0), line.rng)


def _scaled(knots: Sequence[Knot], size: float) -> Curve:
    return Curve.through([(t, size * x, size * v, size * a) for t, x, v, a in knots])


def _manifest(
    plan: SessionPlan, draws: Mapping[str, SensorDraw], error: float, rng: np.random.Generator
) -> Manifest:
    """What the user would know: distances as measured with a tape."""

    def taped(value: float, deviation: float = error) -> float:
        return round(value + float(np.clip(rng.normal(), -2.0, 2.0)) * deviation, 3)

    player = Player(
        plan.player.name,
        plan.faults.handedness or plan.player.handedness,
        taped(plan.player.arm_length),
    )
    club = Club(
        plan.club.name,
        plan.faults.club_length or plan.club.length,
        taped(plan.club.wrist_from_butt, 2.0 * error),
    )
    sensors: dict[str, dict[str, Any]] = {}
    for role, draw in draws.items():
        name = "distance_from_butt" if role == CLUB else "distance_to_wrist"
        sensors[role] = {"rate_hz": draw.rate_hz, name: taped(draw.distance)}
    return Manifest(
        player=player,
        club=club,
        name=plan.name,
        session=plan.session,
        block=plan.block,
        recorded_at=plan.recorded_at,
        notes="Simulated; nobody swung.",
        sensors=sensors,
        source="simulated",
    )

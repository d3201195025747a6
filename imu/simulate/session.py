"""A whole simulated session: a plan, a sensor profile and a seed in; recording and truth out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from imu.errors import SwingspreadError
from imu.recordings.content import make_recording
from imu.simulate import movements
from imu.simulate.golfer import DRIVER_MEAN, SwingHabit, SwingNumbers
from imu.simulate.kinematics import Body
from imu.simulate.paths import Curve, Knot
from imu.simulate.population import random_habit
from imu.simulate.profiles import Profile, SensorDraw, draw_sensor, profile_named
from imu.simulate.sensor import Measured, measure
from imu.simulate.setup_faults import SetupFaults, Wobble, exchanged, moved_over, shaking, slip
from imu.simulate.strokes import CHIP, FULL, HALF, stroke
from imu.simulate.timeline import Timeline
from imu.simulate.truth import measure_swing
from imu.types import BALL, CLUB, FOREARM, PRACTICE, Club, Manifest, Player, Recording

IRON_7 = Club("7-iron", 0.94)
DRIVER = Club("driver", 1.12)


@dataclass(frozen=True)
class SessionPlan:
    """What is played.

    actions : in order; each one of ``ACTIONS``. player, club : true sizes (the manifest holds
    what was measured, with errors). restless : 1 a calm player; 3 one who never stands still.
    other_club, other_habit : taken up by the action ``change_club``, the club's sensor moved to
    it. faults : what is set up wrongly, for tests of warnings. trim : s cut off both ends, so that
    a recording may begin or end within a swing.
    """

    actions: Sequence[str] = ("stand", *(["ball"] * 6))
    player: Player = field(default_factory=Player)
    club: Club = IRON_7
    habit: SwingHabit = field(default_factory=SwingHabit)
    practice_speed: float = 0.9
    waggle_chance: float = 0.4
    restless: float = 1.0
    name: str = ""
    session: str = ""
    block: str = ""
    recorded_at: str = ""
    other_club: Club = DRIVER
    other_habit: SwingHabit = field(default_factory=lambda: SwingHabit(DRIVER_MEAN))
    faults: SetupFaults = field(default_factory=SetupFaults)
    trim: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class SimulatedTruth:
    """What really happened. ``data`` : plain JSON values. ``curves`` : all swings' curves, with
    ``swing`` from 1 on and ``t_club_clock_us``. Orientations are those of a right-handed player
    (a left-handed one is the mirror image)."""

    data: Mapping[str, Any]
    curves: pd.DataFrame

    @property
    def swings(self) -> list[dict[str, Any]]:
        """Full swings: kind, events_s (true time), events_club_clock_us, values, drawn."""
        return list(self.data["swings"])


@dataclass(frozen=True, eq=False)
class SimulatedSession:
    """A recording, the truth about it, the body that moved, and the sensors as measured."""

    recording: Recording
    truth: SimulatedTruth
    body: Body
    measured: Mapping[str, Measured]


def _swing(
    kind: str, shape: str, quick: bool = False, brushes: bool = False
) -> Callable[[Timeline, SessionPlan], None]:
    def act(line: Timeline, plan: SessionPlan) -> None:
        total = max(1, sum(action in _COUNTED for action in plan.actions) - 1)
        habit = plan.habit if line.club == plan.club else plan.other_habit
        numbers = habit.draw(line.rng, min(1.0, len(line.swings) / total))
        if kind == PRACTICE:
            slower = 1.0 / plan.practice_speed - 1.0
            numbers = _eased(numbers, slower)
        waggles = 0
        if shape == FULL and not quick and line.rng.random() < plan.waggle_chance:
            waggles = int(line.rng.integers(1, 3))
        stroke(line, numbers, kind, shape, waggles, quick, brushes)

    return act


def _eased(numbers: SwingNumbers, slower: float) -> SwingNumbers:
    """The same swing, slower coming down."""
    return replace(
        numbers,
        downswing_ms=numbers.downswing_ms * (1.0 + slower),
        release_ms=numbers.release_ms * (1.0 + slower),
    )


def _quick_pair(line: Timeline, plan: SessionPlan) -> None:
    _swing(PRACTICE, FULL, quick=True)(line, plan)
    _swing(BALL, FULL)(line, plan)


def _rehearsal(line: Timeline, plan: SessionPlan) -> None:
    movements.rehearsal(line, plan.habit.draw(line.rng))


def _change_club(line: Timeline, plan: SessionPlan) -> None:
    line.club = plan.other_club
    movements.change_club(line)


ACTIONS: dict[str, Callable[[Timeline, SessionPlan], None]] = {
    "ball": _swing(BALL, FULL),
    "practice": _swing(PRACTICE, FULL),
    "brush": _swing(PRACTICE, FULL, brushes=True),
    "quick_pair": _quick_pair,
    "half": _swing(BALL, HALF),
    "chip": _swing(BALL, CHIP),
    "rehearsal": _rehearsal,
    "stand": lambda line, plan: movements.stand_still(line),
    "walk": lambda line, plan: movements.walk(line),
    "twirl": lambda line, plan: movements.twirl(line),
    "point": lambda line, plan: movements.point(line),
    "tap": lambda line, plan: movements.tap(line),
    "drop": lambda line, plan: movements.drop_club(line),
    "take_off": lambda line, plan: movements.take_off(line),
    "change_club": _change_club,
    "calibrate": lambda line, plan: movements.calibrate(line),
}
"""What a plan may contain. ``brush`` is a practice swing that brushes the grass; ``take_off`` must
be last."""

_COUNTED = frozenset({"ball", "practice", "brush", "quick_pair", "half", "chip"})


def play(plan: SessionPlan, rng: np.random.Generator) -> Timeline:
    """Move the player through the plan. Raises SwingspreadError for an unknown action."""
    unknown = sorted(set(plan.actions) - set(ACTIONS))
    if unknown:
        raise SwingspreadError(f"plan: unknown action {unknown[0]!r}; known: {', '.join(ACTIONS)}")
    line = Timeline(rng, plan.club, plan.player.arm_length, plan.restless)
    line.wait(1.0)
    for action in plan.actions:
        ACTIONS[action](line, plan)
    line.wait(1.5)
    line.paths.hold(line.now)
    return line


def simulate_session(plan: SessionPlan, profile: str, seed: int) -> SimulatedSession:
    """Play a plan and record it with two modelled sensors.

    profile : "clean", "good", "typical" or "harsh" (see ``profiles``). The same seed gives the
    same session to the bit. Raises SwingspreadError for an unknown profile or action.
    """
    errors = profile_named(profile)
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
        )
    recorded = {role: found.stream for role, found in measured.items()}
    if plan.faults.swapped:
        recorded = exchanged(recorded)
    manifest = _manifest(plan, draws, errors.declared, meta_rng)
    recording = make_recording(manifest, recorded)
    truth = _truth(plan, profile, seed, line, body, draws, measured)
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


def _truth(
    plan: SessionPlan,
    profile: str,
    seed: int,
    line: Timeline,
    body: Body,
    draws: Mapping[str, SensorDraw],
    measured: Mapping[str, Measured],
) -> SimulatedTruth:
    swings: list[dict[str, Any]] = []
    partial: list[dict[str, Any]] = []
    curves: list[pd.DataFrame] = []
    clock = draws[CLUB]

    def club_us(time: float) -> float:
        return (clock.clock_offset + (1.0 + clock.clock_skew) * time) * 1e6

    for played in line.swings:
        found = measure_swing(
            body, played.times, played.kind, plan.player.arm_length, played.club.wrist_to_head
        )
        entry = {
            "kind": played.kind,
            "shape": played.shape,
            "club": played.club.name,
            "start_s": played.start,
            "end_s": played.end,
            "events_s": _known(found.events),
            "events_club_clock_us": _known({k: club_us(v) for k, v in found.events.items()}),
            "values": {
                **_known(found.values),
                "waggle_count": played.waggles,
                "address_time_s": found.events["takeaway"] - played.settled,
            },
            "drawn": played.numbers.as_dict(),
            "ball_slows_club_rad_s": played.slowed,
        }
        if played.shape == FULL:
            swings.append({"swing": len(swings) + 1, **entry})
            table = found.curves
            table.insert(0, "swing", len(swings))
            table.insert(2, "t_club_clock_us", [club_us(t) for t in table["t_s"]])
            curves.append(table)
        else:
            partial.append(entry)
    sensors = {}
    for role, draw in draws.items():
        seen = measured[role]
        sensors[role] = {
            "mount_xyzw": seen.site.mount.as_quat().tolist(),
            "point_from_wrist_m": seen.site.point.tolist(),
            "gyr_bias_rad_s": draw.gyr_bias.tolist(),
            "acc_bias_m_s2": draw.acc_bias.tolist(),
            "gyr_matrix": draw.gyr_matrix.tolist(),
            "acc_matrix": draw.acc_matrix.tolist(),
            "clock_offset_s": draw.clock_offset,
            "clock_skew": draw.clock_skew,
            "filter_delay_s": draw.filter_delay,
            "latency_s": draw.latency,
            "lost_samples": seen.lost,
            "clipped_acc": int(seen.clipped_acc.sum()),
            "clipped_gyr": int(seen.clipped_gyr.sum()),
        }
    data = {
        "seed": seed,
        "profile": profile,
        "duration_s": line.now,
        "handedness": plan.player.handedness,
        "arm_length_m": plan.player.arm_length,
        "club_length_m": plan.club.length,
        "wrist_from_butt_m": plan.club.wrist_from_butt,
        "clock_rule": "sensor clock s = clock_offset_s + (1 + clock_skew) * true time",
        "mount_rule": "sensor to segment, right-handed player; left-handed: the streams "
        "mirrored in sensor y",
        "sensors": sensors,
        "swings": swings,
        "partial_swings": partial,
        "other_movements": [
            {"type": o.type, "start_s": o.start, "end_s": o.end, **o.facts} for o in line.others
        ],
    }
    table = pd.concat(curves, ignore_index=True) if curves else pd.DataFrame()
    return SimulatedTruth(data, table)


def _known(values: Mapping[str, float]) -> dict[str, float | None]:
    """Plain JSON: what a short stroke does not have is None."""
    return {name: None if math.isnan(value) else float(value) for name, value in values.items()}


def mixed_plan(
    rng: np.random.Generator,
    balls: int = 8,
    practices: int = 2,
    club: Club = IRON_7,
    handedness: str = "right",
    habit: SwingHabit | None = None,
    extras: Sequence[str] = ("walk", "walk", "twirl", "rehearsal", "point", "tap"),
) -> SessionPlan:
    """A session in random order: balls, practice swings and what lies between.

    habit : how this golfer swings; None draws a golfer (see ``population``).
    """
    actions = ["ball"] * balls + ["practice"] * practices + list(extras)
    order = [actions[i] for i in rng.permutation(len(actions))]
    return SessionPlan(
        actions=("stand", *order),
        player=Player("", handedness),
        club=club,
        habit=habit or random_habit(rng, club),
    )

"""What is played in a simulated session, in which order, by whom and with what."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from imu.errors import SwingspreadError
from imu.simulate import movements
from imu.simulate.habits import DRIVER_MEAN, SwingHabit, SwingNumbers
from imu.simulate.population import random_habit
from imu.simulate.setup_faults import SetupFaults
from imu.simulate.strokes import CHIP, FULL, HALF, stroke
from imu.simulate.timeline import Timeline
from imu.types import BALL, PRACTICE, Club, Player

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

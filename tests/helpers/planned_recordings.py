"""Helpers: a recording that follows a plan, with swings told as the live analysis tells them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from live_swings import swing

from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recorder.plan_steps import follow_plan
from imu.types import Club, Manifest, Player
from imu.variation.blocks import FollowedPlan, PlannedBlock

PLAN = FollowedPlan(
    "april-test",
    1,
    (
        PlannedBlock(1, 1, "practice", 2, 0),
        PlannedBlock(2, 1, "pressure", 2, 90),
        PlannedBlock(3, 1, "pressure", 2, 90),
        PlannedBlock(4, 1, "practice", 2, 90),
    ),
    kinds=("practice", "pressure"),
)


def swing_at(seconds: float, number: int = 1, **more: Any) -> dict[str, Any]:
    """A live swing with its impact at a second of the club's clock."""
    return swing(number, **{"impact_club_clock_us": seconds * 1e6, **more})


class Planned:
    """A recording under way that follows a plan."""

    def __init__(self, root: Path, plan: FollowedPlan = PLAN) -> None:
        self.folder: JournalFolder = new_folder(
            root, Manifest(Player("Robin Field"), Club("7-iron", 0.94))
        )
        follow_plan(self.folder, plan)
        self._writer = JournalWriter(self.folder.next_journal("swings"))

    def hit(self, *seconds: float, **more: Any) -> None:
        """Swings with impacts at these seconds of the club's clock."""
        for second in seconds:
            self._writer.append_json(Kind.EVENT, 1, swing_at(second, **more))
        self._writer.flush()

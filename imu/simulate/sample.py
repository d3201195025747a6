"""The sample recordings: two invented players, made by one command.

    python -m imu.simulate.sample --out recordings

The differences built into the pressure blocks are written beside the recordings, with the
truth of every swing, so that a reader can see what the analysis should find.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from imu.errors import SwingspreadError
from imu.recordings.store import write_recording
from imu.simulate.habits import DRIVER_MEAN, IRON_MEAN, SwingHabit, SwingNumbers
from imu.simulate.session import DRIVER, IRON_7, SessionPlan, simulate_session
from imu.types import Club, Player

PROFILE = "good"
PROVENANCE_FILE = "provenance.json"

ROBIN = Player("Robin (invented)", "right", 0.62)
KIM = Player("Kim (invented)", "left", 0.58)

ROBIN_SPREAD = SwingNumbers(
    backswing_ms=20.0,
    downswing_ms=6.0,
    overlap_ms=4.0,
    release_ms=3.5,
    lag_max_deg=1.6,
    lag_at_impact_deg=1.3,
    shaft_at_impact_deg=1.0,
    arm_top_deg=1.8,
    arm_plane_deg=0.4,
    shaft_plane_deg=0.4,
    impact_plane_deg=0.6,
    plane_shift_deg=1.4,
    club_elevation_top_deg=1.0,
    arm_elevation_top_deg=0.8,
    arm_roll_top_deg=1.8,
    arm_roll_impact_deg=1.8,
    speed=0.012,
    snap=0.04,
    finish_deg=3.0,
    sway_m=0.004,
)
LATE = -0.18
"""Share of the opening rate lost into the ball, by both players."""

KIM_MEAN = replace(
    IRON_MEAN,
    snap=LATE,
    backswing_ms=900.0,
    downswing_ms=290.0,
    overlap_ms=18.0,
    release_ms=94.0,
    lag_max_deg=88.0,
    arm_top_deg=-126.0,
    arm_plane_deg=65.0,
    shaft_plane_deg=49.0,
    shaft_at_impact_deg=-2.0,
)


@dataclass(frozen=True)
class Block:
    """One sample recording. ``mean``, ``spread`` : what is changed against practice: added to
    the means, and factors on the swing-to-swing deviations."""

    name: str
    player: Player
    club: Club
    block: str
    recorded_at: str
    habit: SwingHabit
    seed: int
    balls: int = 14
    mean: dict[str, float] = field(default_factory=dict)
    spread: dict[str, float] = field(default_factory=dict)
    calibrate: bool = False

    @property
    def changed_habit(self) -> SwingHabit:
        """The habit with the block's changes."""
        mean, deviation = self.habit.mean, self.habit.deviation
        return replace(
            self.habit,
            mean=replace(mean, **{k: getattr(mean, k) + v for k, v in self.mean.items()}),
            deviation=replace(
                deviation, **{k: getattr(deviation, k) * v for k, v in self.spread.items()}
            ),
        )


_ROBIN_IRON = SwingHabit(replace(IRON_MEAN, snap=LATE), ROBIN_SPREAD)
_ROBIN_DRIVER = SwingHabit(replace(DRIVER_MEAN, snap=LATE), ROBIN_SPREAD)
_KIM_IRON = SwingHabit(KIM_MEAN, ROBIN_SPREAD)

BLOCKS: tuple[Block, ...] = (
    Block(
        "robin-7-iron-practice",
        ROBIN,
        IRON_7,
        "practice",
        "2026-03-14T09:10:00+00:00",
        _ROBIN_IRON,
        11,
        calibrate=True,
    ),
    Block(
        "robin-7-iron-pressure",
        ROBIN,
        IRON_7,
        "pressure",
        "2026-03-14T09:24:00+00:00",
        _ROBIN_IRON,
        12,
        mean={"downswing_ms": -14.0, "backswing_ms": -30.0},
        spread={"release_ms": 2.0, "lag_at_impact_deg": 2.2, "impact_plane_deg": 2.5},
    ),
    Block(
        "robin-driver-practice",
        ROBIN,
        DRIVER,
        "practice",
        "2026-03-14T09:41:00+00:00",
        _ROBIN_DRIVER,
        13,
    ),
    Block(
        "robin-driver-pressure",
        ROBIN,
        DRIVER,
        "pressure",
        "2026-03-14T09:55:00+00:00",
        _ROBIN_DRIVER,
        14,
        mean={"overlap_ms": -14.0, "downswing_ms": -9.0, "lag_max_deg": -5.0},
        spread={"downswing_ms": 1.8, "release_ms": 1.8},
    ),
    Block(
        "kim-7-iron-practice",
        KIM,
        IRON_7,
        "practice",
        "2026-03-15T16:05:00+00:00",
        _KIM_IRON,
        15,
    ),
    Block(
        "kim-7-iron-pressure",
        KIM,
        IRON_7,
        "pressure",
        "2026-03-15T16:20:00+00:00",
        _KIM_IRON,
        16,
    ),
)
"""Robin's swing gives way under pressure; Kim's holds: nothing at all is changed there."""


def block_plan(block: Block) -> SessionPlan:
    """Order of a block: balls with practice swings, walking and fidgeting between."""
    rng = np.random.default_rng([block.seed, 1])
    actions = ["stand", *(["tap", "calibrate"] if block.calibrate else [])]
    between = ["walk", "practice", "twirl", "practice", "rehearsal"]
    order = list(rng.permutation(len(between)))
    for index in range(block.balls):
        if index % 2 == 1 and order:
            actions.append(between[int(order.pop())])
        actions.append("ball")
    return SessionPlan(
        actions=actions,
        player=block.player,
        club=block.club,
        habit=block.changed_habit,
        restless=1.3,
        name=block.name,
        session=f"{block.player.name.split()[0].lower()} {block.recorded_at[:10]}",
        block=block.block,
        recorded_at=block.recorded_at,
    )


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 5)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list) else value


def write_samples(out: Path, blocks: Sequence[Block] = BLOCKS) -> list[Path]:
    """Write every block's recording into ``out`` and the provenance beside them.

    Sample folders of the same names are replaced. Raises SwingspreadError when one of them
    holds something else than a simulated recording.
    """
    written, provenance = [], []
    for block in blocks:
        folder = out / block.name
        if folder.exists():
            manifest = folder / "recording.json"
            if not manifest.is_file() or '"simulated"' not in manifest.read_text("utf-8"):
                raise SwingspreadError(f"{folder}: is not a sample recording; not replaced")
            shutil.rmtree(folder)
        session = simulate_session(block_plan(block), PROFILE, block.seed)
        recording = write_recording(session.recording, folder)
        written.append(folder)
        truth = session.truth.data
        provenance.append(
            {
                "name": block.name,
                "id": recording.id,
                "seed": block.seed,
                "profile": PROFILE,
                "added_to_means": block.mean,
                "factors_on_spread": block.spread,
                "means": block.changed_habit.mean.as_dict(),
                "spread": block.changed_habit.deviation.as_dict(),
                "swings": [
                    {key: swing[key] for key in ("swing", "kind", "events_s", "values")}
                    for swing in truth["swings"]
                ],
                "other_movements": truth["other_movements"],
                "clock": {
                    role: {key: facts[key] for key in ("clock_offset_s", "clock_skew")}
                    for role, facts in truth["sensors"].items()
                },
                "clock_rule": truth["clock_rule"],
            }
        )
    document = {"note": "Invented players; simulated; nobody swung.", "blocks": provenance}
    text = json.dumps(_rounded(document), indent=1, ensure_ascii=False) + "\n"
    (out / PROVENANCE_FILE).write_text(text, encoding="utf-8")
    return written


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="Make the sample recordings anew.")
    parser.add_argument("--out", type=Path, default=Path("recordings"), metavar="DIR")
    options = parser.parse_args(arguments)
    try:
        for folder in write_samples(options.out):
            print(folder)
    except (SwingspreadError, OSError) as problem:
        print(problem, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Before the swings: how many a test needs, and how to lay out a fair one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from imu.cautions import BEFORE_SWINGING
from imu.errors import SwingspreadError
from imu.variation.blocks import PlannedBlock
from imu.variation.limits import Limits
from imu.variation.sample_size import (
    MOST_SWINGS,
    mean_shift_power,
    sd_ratio_power,
    swings_for_sd_ratio,
    swings_for_shift,
)

PRACTICE_LABEL, PRESSURE_LABEL = "practice", "pressure"

FATIGUE = "Fatigue: stop when quality fades; more data is no reason to go on tired."
DAY = "Day: one day is one draw. What should hold next month needs several sessions."
ORDER = (
    "Order: all practice first and all pressure last lets warming up or tiring look like pressure; "
    "alternate the blocks."
)
PITFALLS: tuple[str, ...] = (
    FATIGUE,
    DAY,
    ORDER,
    "Same club, ball, target, grip and straps throughout; do not move a sensor between blocks.",
    "Set the limits before the first ball and do not change them afterwards.",
    "Decide beforehand which swings may be left out, and note the reason at once.",
    "Looking again and again and stopping when it looks good finds changes that are not there; "
    "swing the planned number.",
    "Pressure does not harm everybody: the test looks both ways, one player at a time.",
    "Many measures at once turn up chance findings; choose the few that matter beforehand.",
)


@dataclass(frozen=True)
class Plan:
    """A test laid out. ``Record`` follows ``blocks`` one by one.

    question : what it can answer. swings_per_set : in all sessions together. sessions : days to
    spread it over. blocks : in order. checklist : what to do. limits : kept with the result.
    """

    question: str
    swings_per_set: int
    sessions: int
    blocks: tuple[PlannedBlock, ...]
    checklist: tuple[str, ...]
    pitfalls: tuple[str, ...]
    limits: Limits

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {**asdict(self), "limits": self.limits.as_dict()}


def swings_needed_table(
    sd_ratios: tuple[float, ...] = (1.25, 1.5, 1.75, 2.0),
    shifts_in_sds: tuple[float, ...] = (0.25, 0.5, 0.75, 1.0),
    powers: tuple[float, ...] = (0.8, 0.9),
    level: float = 0.95,
) -> pd.DataFrame:
    """Swings per set by change and power. Columns: change, size, power, swings_per_set.

    change : "spread" (ratio of SDs) or "mean" (shift in SDs). Missing when beyond any count.
    """
    rows = []
    for power in powers:
        for size in sd_ratios:
            count = swings_for_sd_ratio(size, power, level)
            rows.append(("spread", size, power, count))
        for size in shifts_in_sds:
            rows.append(("mean", size, power, swings_for_shift(size, power, level)))
    table = pd.DataFrame(rows, columns=["change", "size", "power", "swings_per_set"])
    return table.astype({"swings_per_set": "Int64"})


def smallest_seen(per_set: int, power: float = 0.8, level: float = 0.95) -> tuple[float, float]:
    """Smallest SD ratio and smallest shift (in SDs) seen with ``per_set`` swings in each set."""
    if per_set < 3:
        raise SwingspreadError("fewer than 3 swings in a set show no spread")
    return (
        _smallest(lambda ratio: sd_ratio_power(ratio, per_set, level) >= power, start=1.0),
        _smallest(lambda shift: mean_shift_power(shift, per_set, level) >= power, start=0.0),
    )


def _smallest(reaches: Callable[[float], bool], start: float) -> float:
    """Smallest size above ``start`` that is seen: out in steps, then halving back."""
    low, step = start, 0.25
    while not reaches(low + step):
        low, step = low + step, step * 1.5
    high = low + step
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


def alternating_plan(
    limits: Limits | None = None,
    sd_ratio: float | None = None,
    shift_in_sds: float | None = None,
    swings_per_set: int | None = None,
    most_per_block: int = 10,
    most_per_session: int = 60,
    rest_s: int = 90,
    labels: tuple[str, str] = (PRACTICE_LABEL, PRESSURE_LABEL),
) -> Plan:
    """A test of two conditions in alternating blocks, mirrored so that drift cancels.

    The count comes from the change to be seen (the limits' SD ratio by default) or is given.
    Blocks run A B B A, then B A A B, so that each condition's mean place in the session is the
    same and a straight-line drift favours neither. Sessions hold at most ``most_per_session``
    swings, both kinds together; more are spread over days. Raises SwingspreadError when the count
    is unreasonable, or the labels cannot tell the blocks apart.
    """
    limits = limits or Limits()
    if not all(label.strip() for label in labels) or labels[0].casefold() == labels[1].casefold():
        raise SwingspreadError("give the two kinds of block different names")
    if any("|" in label for label in labels):
        raise SwingspreadError("a block's name cannot hold |, which parts several names")
    if not 3 <= most_per_block <= 50 or most_per_session < 4 * 3:
        raise SwingspreadError("use 3 to 50 swings a block and 12 or more a session")
    if swings_per_set is None:
        wanted = []
        if shift_in_sds is not None:
            wanted.append(swings_for_shift(shift_in_sds, limits.power, limits.level))
        if sd_ratio is not None or not wanted:
            ratio = sd_ratio if sd_ratio is not None else limits.sd_ratio
            wanted.append(swings_for_sd_ratio(ratio, limits.power, limits.level))
        if None in wanted:
            raise SwingspreadError(
                f"that change is too small: more than {MOST_SWINGS} swings in each set"
            )
        swings_per_set = max(count for count in wanted if count is not None)
    if swings_per_set < limits.minimum_swings:
        raise SwingspreadError(
            f"{swings_per_set} swings in a set can give no verdict; plan {limits.minimum_swings} "
            "or more"
        )
    if swings_per_set > MOST_SWINGS:
        raise SwingspreadError(f"more than {MOST_SWINGS} swings in each set are not planned")
    sessions = math.ceil(2 * swings_per_set / most_per_session)
    while 2 * sum(_block_sizes(swings_per_set, sessions, most_per_block)) > most_per_session:
        sessions += 1
    sizes = _block_sizes(swings_per_set, sessions, most_per_block)
    blocks: list[PlannedBlock] = []
    for session in range(1, sessions + 1):
        places = zip(_mirrored(len(sizes), session % 2 == 0), np.repeat(sizes, 2), strict=True)
        for place, (which, size) in enumerate(places):
            rest = rest_s if place else 0
            blocks.append(PlannedBlock(len(blocks) + 1, session, labels[which], int(size), rest))
    each = sum(block.swings for block in blocks if block.label == labels[0])
    ratio_seen, shift_seen = smallest_seen(each, limits.power, limits.level)
    question = (
        f"{each} swings in each set show, {100 * limits.power:.0f} times in 100, a spread "
        f"{ratio_seen:.2f} times as large or a mean moved by {shift_seen:.2f} SD."
    )
    return Plan(
        question, each, sessions, tuple(blocks), _checklist(blocks, labels), PITFALLS, limits
    )


def _block_sizes(swings_per_set: int, sessions: int, most_per_block: int) -> list[int]:
    """Swings of the blocks of one kind in a session. Those of a four (A B B A) are alike, so that
    its two kinds have the same mean place; fours differ by one swing at most."""
    half = math.ceil(swings_per_set / sessions / 2)
    fours = max(1, math.ceil(half / most_per_block))
    sizes = [half // fours + (four < half % fours) for four in range(fours)]
    return [size for size in sizes for _ in range(2)]


def _mirrored(pairs: int, start: bool) -> list[int]:
    """0 and 1, ``pairs`` of each: 0 1 1 0, 1 0 0 1, …, each four centred on the same place."""
    order: list[int] = []
    for four in range(pairs // 2):
        order += [1, 0, 0, 1] if (four + start) % 2 else [0, 1, 1, 0]
    return order


def _checklist(blocks: list[PlannedBlock], labels: tuple[str, str]) -> tuple[str, ...]:
    steps = [
        *BEFORE_SWINGING,
        "Write down the limits and the few measures that matter; save the plan.",
        f"Say what makes a swing a {labels[1]} swing (a stake, a watcher, a score kept) and keep "
        "it the same in every such block.",
        "Strap both sensors on, calibrate, and leave them on to the end of the session.",
    ]
    last = 0
    for block in blocks:
        if block.session != last:
            last = block.session
            steps.append(f"Session {block.session}: warm up, then")
        rest = f"rest {block.rest_s} s, then " if block.rest_s else ""
        steps.append(f"  Block {block.number}: {rest}{block.swings} swings, {block.label}.")
    steps.append("Note each shot's result as it falls, and why if a swing is to be left out.")
    steps.append(f"Compare {labels[0]} with {labels[1]} with this plan's limits.")
    return tuple(steps)

"""The time over the ball: when the club settled, and how often it was waggled since."""

from __future__ import annotations

import math

import numpy as np

from imu.fusion.runs import runs
from imu.swings.club_grid import GRID_HZ, ClubGrid, orientation_from

LOOK_BACK = 60.0
"""s before the takeaway searched for the settling."""

MOVING_RATE = 0.4
"""rad/s. A club turning faster than this is being moved, not just held."""

LEAST_TURN = 5.0 * math.pi / 180.0
"""rad. A movement that turns the club less than this on its way is sway."""

JOINED = 0.25
"""s. Movements parted by less stillness than this are one."""

WAGGLE_RATE = 4.5
WAGGLE_TIME = 4.0
WAGGLE_RETURN = 25.0 * math.pi / 180.0
WAGGLE_NET = 0.4
"""rad/s, s, rad, part. A waggle is slower and shorter than these, leaves the shaft near where
it was, and goes to and fro: its net turn is a small part of its whole turn."""


def read_address(grid: ClubGrid, takeaway: float, earliest: float) -> tuple[int, float]:
    """Number of waggles before a takeaway, and when the club settled (NaN when not seen).

    earliest : s, the recording's start or the finish of the swing before.
    """
    stop = grid.index(takeaway)
    first = max(grid.index(earliest), stop - int(LOOK_BACK * GRID_HZ))
    moving = grid.speed[first:stop] > MOVING_RATE
    spells = _joined(runs(moving) + first)
    waggles = 0
    for begin, end in reversed(spells):
        whole = float(grid.across[begin:end].sum()) / GRID_HZ
        if end >= stop - 2 or whole < LEAST_TURN:
            continue
        if begin == first or not _is_waggle(grid, begin, end):
            return waggles, float(grid.time[end])
        waggles += 1
    return waggles, math.nan


def _joined(spells: np.ndarray) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for begin, end in spells.tolist():
        if joined and begin - joined[-1][1] < JOINED * GRID_HZ:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined


def _is_waggle(grid: ClubGrid, begin: int, end: int) -> bool:
    if end - begin > WAGGLE_TIME * GRID_HZ or grid.across[begin:end].max() > WAGGLE_RATE:
        return False
    if not grid.shaft.any():
        return True
    moved = orientation_from(grid, begin, end)[-1].apply(grid.shaft)
    net = math.acos(min(max(float(moved @ grid.shaft), -1.0), 1.0))
    whole = float(grid.across[begin:end].sum()) / GRID_HZ
    return net < WAGGLE_RETURN and net < WAGGLE_NET * whole

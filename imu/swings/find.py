"""Find the swings in a recording from the raw streams, before any orientation.

A swing, of whatever speed, is: the club turns back from rest, changes direction, and comes
forward clearly faster than it went back, through the direction it started from. A *ball* swing
has a strike's shock there. Without a shock it is a *practice* swing only when delivered at
speed; otherwise it is a waggle, a rehearsal, or carrying the club about, and is not counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.signal import find_peaks

from imu.settings import AnalysisSettings
from imu.swings.club_grid import GRID_HZ, ClubGrid, club_grid, orientation_from
from imu.swings.impact import Strike, find_strike
from imu.types import BALL, CLUB, PRACTICE, AlignedStreams, BoolArray, Stream, SwingWindow

LEAST_RATE = 3.0
"""rad/s across the shaft. Slower movements of the club are not looked at."""

PRACTICE_RATE = 8.0
"""rad/s. A swing without a strike must reach this to count as a practice swing."""

DELIVERED = 1.6
"""A swing without a strike comes forward at least this many times faster than it went back."""

LEAST_BACK = 0.35
"""rad. A backswing turns the club at least this far (20°)."""

LOOK_BACK = 3.0
LOOK_ON = 2.5
"""s before and after the fastest moment in which the parts of a swing are looked for."""

REST_RATE = 0.25
STILL_RATE = 0.6
SLOW_RATE = 1.0
"""rad/s. Takeaway; still enough to be a rest; finish."""

REST_WANTED = 1.5
CALM_WANTED = 1.0
"""s of rest before the takeaway and calm after the finish kept in the window, where there are."""


@dataclass(frozen=True)
class FoundSwings:
    """Swings in time order, and movements seen and not counted (start_s, end_s, reason)."""

    swings: tuple[SwingWindow, ...]
    rejected: pd.DataFrame


@dataclass(frozen=True, eq=False)
class _Parts:
    """Times (s) and sizes of a movement taken as a swing; ``fault`` says why it is none."""

    takeaway: float
    top: float
    fastest: float
    finish: float
    back_angle: float
    back_rate: float
    forward_rate: float
    turned: float
    fault: str = ""


def find_swings(aligned: AlignedStreams, settings: AnalysisSettings) -> FoundSwings:
    """Find and classify every swing of a recording.

    Raises ValueError when there is no club stream.
    """
    if CLUB not in aligned.streams:
        raise ValueError("find_swings: a club stream is needed")
    stream = aligned.streams[CLUB]
    if len(stream.time) < 100:
        return FoundSwings((), _rejected_table([]))
    grid = club_grid(stream)
    peaks, _ = find_peaks(
        np.concatenate([[0.0], grid.across, [0.0]]), height=LEAST_RATE, distance=int(0.5 * GRID_HZ)
    )
    peaks = peaks - 1
    order = peaks[np.argsort(-grid.across[peaks], kind="stable")]
    taken: list[tuple[float, float]] = []
    swings: list[SwingWindow] = []
    rejected: list[tuple[float, float, str]] = []
    for peak in order:
        moment = float(grid.time[peak])
        if any(begin <= moment <= end for begin, end in taken):
            continue
        parts = _take_apart(grid, int(peak))
        strike = _strike_of(stream, parts)
        fault = parts.fault or _judge(parts, strike)
        if fault:
            span = _moving_span(grid, int(peak))
            rejected.append((*span, fault))
            taken.append(span)
            continue
        swings.append(_window(stream, grid, parts, strike))
        taken.append((parts.takeaway - 0.2, parts.finish))
    swings.sort(key=lambda swing: swing.impact)
    return FoundSwings(tuple(_apart(swings)), _rejected_table(rejected))


def _take_apart(grid: ClubGrid, peak: int) -> _Parts:
    """Read a movement around its fastest moment as backswing, top, downswing, finish."""
    first = max(peak - int(LOOK_BACK * GRID_HZ), 0)
    stop = min(peak + int(LOOK_ON * GRID_HZ), len(grid.time))
    fastest = peak - first
    turn = orientation_from(grid, first, stop)
    rate = turn.apply(grid.gyr[first:stop])
    shaft = turn.apply(grid.shaft)
    across = rate - np.einsum("ij,ij->i", rate, shaft)[:, None] * shaft
    delivery = across[max(fastest - 6, 0) : fastest + 1].sum(axis=0)
    normal = delivery / max(float(np.sqrt(delivery @ delivery)), 1e-12)
    plane_rate = across @ normal
    time = grid.time[first:stop]
    moment = float(time[fastest])

    def broken(reason: str) -> _Parts:
        return _Parts(moment, moment, moment, moment, 0.0, 0.0, 0.0, 0.0, reason)

    before = np.flatnonzero(plane_rate[: fastest + 1] <= 0.0)
    if len(before) == 0:
        at_start = first == 0
        return broken(
            "the recording starts during this movement" if at_start else "no change of direction"
        )
    top = int(before[-1])
    back = -plane_rate[: top + 1]
    # The backswing is the last stretch turning back before the top.
    busy = np.flatnonzero(back > 0.5 * float(back[max(top - int(2.0 * GRID_HZ), 0) :].max()))
    if len(busy) == 0:
        return broken("no backswing")
    slow = np.flatnonzero(grid.speed[first : first + int(busy[-1])] < REST_RATE)
    if len(slow):
        takeaway = int(slow[-1])
    elif first == 0:
        return broken("the recording starts during this swing")
    else:
        span = slice(max(top - int(2.0 * GRID_HZ), 0), int(busy[-1]) + 1)
        takeaway = span.start + int(np.argmin(grid.speed[first:][span]))
    back_angle = float(back[takeaway:].clip(min=0.0).sum()) / GRID_HZ
    finished = np.flatnonzero(grid.speed[first + fastest : stop] < SLOW_RATE)
    forward = plane_rate[top:]
    turned = float(forward[: fastest - top + 1].clip(min=0.0).sum()) / GRID_HZ
    if len(finished):
        finish = fastest + int(finished[0])
    elif stop == len(grid.time):
        return broken("the recording ends during this swing")
    else:
        finish = len(time) - 1
    return _Parts(
        float(time[takeaway]),
        float(time[top]),
        moment,
        float(time[finish]),
        back_angle,
        float(back[takeaway:].max()),
        float(grid.across[peak]),
        turned,
    )


def _strike_of(stream: Stream, parts: _Parts) -> Strike | None:
    if parts.fault:
        return None
    begin = parts.top + 0.3 * (parts.fastest - parts.top)
    return find_strike(stream, begin, parts.fastest + 0.12, parts.forward_rate)


def _judge(parts: _Parts, strike: Strike | None) -> str:
    """Why a movement is no swing ("" when it is one)."""
    if parts.back_angle < LEAST_BACK:
        return "too small a backswing"
    if parts.turned < 0.4 * parts.back_angle:
        return "the club did not come back to where it started"
    if strike is not None:
        return ""
    if parts.forward_rate < PRACTICE_RATE or parts.forward_rate < DELIVERED * parts.back_rate:
        return "waggle, rehearsal or carrying: not delivered at speed, and no strike"
    return ""


def _window(stream: Stream, grid: ClubGrid, parts: _Parts, strike: Strike | None) -> SwingWindow:
    start = parts.takeaway - _still_before(grid, parts.takeaway)
    end = parts.finish + _calm_after(grid, parts.finish)
    rest, waggles, settled = _address(grid, parts.takeaway)
    return SwingWindow(
        start=max(start, float(stream.time[0])),
        end=min(end, float(stream.time[-1])),
        kind=PRACTICE if strike is None else BALL,
        takeaway=parts.takeaway,
        top=parts.top,
        impact=parts.fastest if strike is None else strike.time,
        impact_se=1.0 / GRID_HZ if strike is None else strike.time_se,
        finish=parts.finish,
        waggles=waggles,
        notes=() if rest else ("the club was not still before the takeaway",),
        settled=settled,
    )


def _still_before(grid: ClubGrid, takeaway: float) -> float:
    """s of stillness before the takeaway, from 0.2 to REST_WANTED."""
    index = grid.index(takeaway)
    first = max(index - int(REST_WANTED * GRID_HZ), 0)
    moving = np.flatnonzero(grid.speed[first:index] > STILL_RATE)
    still = index - (first + int(moving[-1]) + 1 if len(moving) else first)
    return max(still / GRID_HZ, 0.2)


def _calm_after(grid: ClubGrid, finish: float) -> float:
    """s of calm after the finish, from 0.3 to CALM_WANTED."""
    index = grid.index(finish)
    stop = min(index + int(CALM_WANTED * GRID_HZ), len(grid.speed))
    moving = np.flatnonzero(grid.speed[index:stop] > SLOW_RATE * 1.5)
    calm = int(moving[0]) if len(moving) else stop - index
    return max(calm / GRID_HZ, 0.3)


def _address(grid: ClubGrid, takeaway: float) -> tuple[bool, int, float]:
    """Whether the club rested before the takeaway, how often it was waggled, since when."""
    index = grid.index(takeaway)
    rest = bool(grid.speed[max(index - 10, 0) : index].min(initial=9.0) < REST_RATE)
    return rest, 0, math.nan


def _moving_span(grid: ClubGrid, peak: int) -> tuple[float, float]:
    """Begin and end (s) of the movement around a bin, up to 3 s to each side."""
    reach = int(3.0 * GRID_HZ)
    first, stop = max(peak - reach, 0), min(peak + reach, len(grid.speed))
    calm: BoolArray = grid.speed[first:stop] < STILL_RATE
    before, after = np.flatnonzero(calm[: peak - first]), np.flatnonzero(calm[peak - first :])
    begin = first + (int(before[-1]) if len(before) else 0)
    end = peak + int(after[0]) if len(after) else stop - 1
    return float(grid.time[begin]), float(grid.time[end])


def _apart(swings: list[SwingWindow]) -> list[SwingWindow]:
    """Cut windows so that none reaches into its neighbour's swing."""
    cut = list(swings)
    for index in range(len(cut) - 1):
        here, after = cut[index], cut[index + 1]
        if here.end > after.takeaway:
            cut[index] = replace(here, end=max(here.finish, after.takeaway - 0.2))
        if after.start < cut[index].finish:
            cut[index + 1] = replace(after, start=min(cut[index].finish, after.takeaway))
    return cut


def _rejected_table(rows: list[tuple[float, float, str]]) -> pd.DataFrame:
    rows = sorted(rows)
    return pd.DataFrame(
        {
            "start_s": [row[0] for row in rows],
            "end_s": [row[1] for row in rows],
            "reason": [row[2] for row in rows],
        }
    )

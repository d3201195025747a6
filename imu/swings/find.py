"""Find the swings in a recording from the raw streams, before any orientation.

A swing, of whatever speed, is: the club turns back, changes direction, comes forward clearly
faster than it went back, returns to where it started and goes on beyond. A *ball* swing has a
strike's shock at that return, in proportion to its speed, and the club flies on with most of
its speed, since a ball takes only part of it (a ball weighs about 46 g, a clubhead four to six
times that: common knowledge, no source). Without a shock it is a *practice* swing only when
delivered at speed. All else is a waggle, a rehearsal, a dropped club, carrying, and so on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.signal import find_peaks

from imu.fusion.runs import runs
from imu.swings.address import read_address
from imu.swings.club_grid import GRID_HZ, STILL_RATE, ClubGrid, club_grid
from imu.swings.events import SLOW_RATE
from imu.swings.impact import Strike, find_strike
from imu.swings.lost_strike import place_lost, rung
from imu.swings.parts import SwingParts, take_apart
from imu.types import BALL, CLUB, PRACTICE, AlignedStreams, BoolArray, Stream, SwingWindow

LEAST_RATE = 3.0
"""rad/s across the shaft. Slower movements of the club are not looked at."""

PRACTICE_RATE = 8.0
"""rad/s. A swing without a strike must reach this to count as a practice swing."""

DELIVERED = 1.6
DELIVERED_WITH_STRIKE = 1.15
"""Forward rate against back rate, at least: a swing is delivered, a waggle goes to and fro."""

LEAST_BACK = 0.3
"""rad. A backswing turns the club at least this far (17°)."""

LEAST_RETURN = 0.5
"""Part of the backswing's turn that the forward turn must make before the strike or the peak."""

LEAST_BEYOND = 0.3
"""Turn beyond the return, as a part of the backswing's: a tap on the ground stops there."""

LEAST_KEPT = 0.3
"""Part of the forward rate left after a strike; a club hitting the ground or dropped keeps less."""

SLOW_SHOCK_PER_RATE = 2.5
"""m/s² for each rad/s. Below PRACTICE_RATE a strike must be this clear to make a ball swing."""

CENTRIPETAL_RADIUS = 0.08
"""m. In a swing the acceleration along the shaft is at least this times the squared rate."""

FREE_FALL = 3.0
FREE_FALL_TIME = 0.15
"""m/s² and s. A club less accelerated than this for so long is falling."""

LOST = 0.4
LOST_NOTED = 0.02
"""s. Longest loss of samples between takeaway and impact that leaves a swing to be told, and
that goes without a note."""

LOST_STRIKE = "samples lost at impact: its time is less certain"

REST_WANTED = 0.9
CALM_WANTED = 0.6
"""s of rest before the takeaway and calm after the finish kept in the window, where there are."""


@dataclass(frozen=True)
class FoundSwings:
    """Swings in time order, and movements seen and not counted (start_s, end_s, reason)."""

    swings: tuple[SwingWindow, ...]
    rejected: pd.DataFrame


@dataclass(frozen=True, eq=False)
class _Played:
    """A swing as read: its parts, its strike if any, and a note."""

    parts: SwingParts
    strike: Strike | None
    note: str


def find_swings(aligned: AlignedStreams) -> FoundSwings:
    """Find and classify every swing of a recording.

    aligned : streams in recording time; the club's is needed, the forearm's only decides where
    the club's samples are lost at impact; its clock may be 20 ms off. Sensors may sit at any
    angle, and the streams may be mirrored. Raises ValueError when there is no club stream.
    """
    if CLUB not in aligned.streams:
        raise ValueError("find_swings: a club stream is needed")
    club = aligned.streams[CLUB]
    if len(club.time) < 100 or float(club.time[-1] - club.time[0]) < 1.0:
        return FoundSwings((), _rejected_table([]))
    grid = club_grid(club)
    # A peak may lie at either end, where a recording cuts a swing: pad with zeros.
    padded = np.concatenate([[0.0], grid.across, [0.0]])
    peaks = find_peaks(padded, height=LEAST_RATE, distance=int(0.3 * GRID_HZ))[0] - 1
    order = peaks[np.argsort(-grid.across[peaks], kind="stable")]
    taken = np.zeros(len(grid.time), dtype=bool)
    played: list[_Played] = []
    rejected: list[tuple[float, float, str]] = []
    for peak in order:
        if taken[peak]:
            continue
        before = np.flatnonzero(taken[:peak])
        parts = take_apart(grid, int(peak), int(before[-1]) + 1 if len(before) else 0)
        if isinstance(parts, str):
            fault = parts
        else:
            strike, note = _strike(aligned, grid, parts)
            fault = _judge(club, grid, parts, strike)
        if fault or isinstance(parts, str):
            begin, end = _moving_span(grid, int(peak))
            rejected.append((begin, end, fault))
            taken[grid.index(begin) : grid.index(end) + 1] = True
            continue
        played.append(_Played(parts, strike, note))
        taken[grid.index(parts.takeaway - 0.1) : grid.index(parts.finish) + 1] = True
    played.sort(key=lambda swing: swing.parts.fastest)
    swings = [_window(club, grid, swing) for swing in _strikes_placed(played)]
    return FoundSwings(tuple(_with_address(grid, _apart(swings))), _rejected_table(rejected))


def _strike(
    aligned: AlignedStreams, grid: ClubGrid, parts: SwingParts
) -> tuple[Strike | None, str]:
    """The strike of a swing, and a note when lost samples leave it in doubt."""
    begin = max(parts.time_of_turn(0.4), parts.top)
    end = max(parts.fastest + 0.04, parts.time_of_turn(1.6))
    strike = find_strike(aligned.streams[CLUB], begin, end, parts.forward_rate)
    if strike is not None:
        # Sample times were dated back by the filter's delay, but an onset lags less than that
        # and its lag is taken off by itself.
        strike = replace(strike, time=strike.time + aligned.delays.get(CLUB, 0.0))
        return strike, LOST_STRIKE if strike.lost else ""
    first, stop = grid.index(parts.time_of_turn(0.85)), grid.index(end) + 1
    lost = grid.time[first:stop][grid.missing[first:stop]]
    if len(lost) == 0:
        return None, ""
    found = rung(aligned, parts, float(lost[0]), float(lost[-1]))
    if found is None:
        return None, "samples lost where a strike would be; no ringing of one is left"
    return found, LOST_STRIKE


def _strikes_placed(played: list[_Played]) -> list[_Played]:
    """Swings with the strikes dated that fell among lost samples."""
    struck = [(swing.parts, swing.strike) for swing in played if swing.strike is not None]
    placed = iter(place_lost(struck))
    return [
        swing if swing.strike is None else replace(swing, strike=next(placed)) for swing in played
    ]


def _judge(club: Stream, grid: ClubGrid, parts: SwingParts, strike: Strike | None) -> str:
    """Why a movement is no swing ("" when it is one)."""
    if parts.back_angle < LEAST_BACK:
        return "hardly any backswing: moved, not swung"
    if _falls(club, parts):
        return "the club was dropped"
    turned = parts.turned(parts.fastest if strike is None else strike.time)
    if turned < LEAST_RETURN * parts.back_angle:
        return "the club did not come back to where it started"
    if parts.forward_angle < (1.0 + LEAST_BEYOND) * parts.back_angle:
        return "the club stopped where it started: a waggle or a tap"
    if _longest_loss(grid, parts) > LOST:
        return "too many samples lost in the swing"
    struck = strike is not None
    if struck and parts.forward_rate < PRACTICE_RATE and strike is not None:
        struck = strike.size > SLOW_SHOCK_PER_RATE * parts.forward_rate
    if struck and strike is not None and parts.kept_after(strike.time) < LEAST_KEPT:
        return "the club was stopped by what it hit: the ground, or a fall"
    if struck:
        if parts.forward_rate < DELIVERED_WITH_STRIKE * parts.back_rate:
            return "a knock, but no swing: forward no faster than back"
        return ""
    if parts.forward_rate < PRACTICE_RATE:
        return "a waggle, rehearsal or carrying: slow, and no strike"
    if parts.forward_rate < DELIVERED * parts.back_rate:
        return "to and fro: forward hardly faster than back, and no strike"
    if not _on_an_arc(club, grid, parts):
        return "the club turned on the spot: handled, not swung"
    return ""


def _falls(club: Stream, parts: SwingParts) -> bool:
    """Whether the club is in free fall for a while before its fastest moment or just after."""
    first, stop = np.searchsorted(club.time, [parts.takeaway, parts.fastest + 0.3])
    acc = club.acc[first:stop]
    light = np.einsum("ij,ij->i", acc, acc) < FREE_FALL**2
    if not light.any():
        return False
    begin, after = runs(light).T
    spells = club.time[first:stop][after - 1] - club.time[first:stop][begin]
    return bool(spells.max() > FREE_FALL_TIME)


def _longest_loss(grid: ClubGrid, parts: SwingParts) -> float:
    """s, longest loss of samples between the takeaway and the fastest moment."""
    begin, after = runs(grid.missing[grid.index(parts.takeaway) : grid.index(parts.fastest) + 1]).T
    return float((after - begin).max(initial=0)) / GRID_HZ


def _on_an_arc(club: Stream, grid: ClubGrid, parts: SwingParts) -> bool:
    """Whether the acceleration along the shaft fits a sensor going round, not turning in place."""
    first, stop = np.searchsorted(club.time, [parts.fastest - 0.02, parts.fastest + 0.02])
    if stop <= first:
        return True
    pull = float(np.median(club.acc[first:stop] @ grid.shaft))
    wanted = CENTRIPETAL_RADIUS * parts.forward_rate**2
    return pull > min(wanted, 0.5 * club.acc_range)


def _window(club: Stream, grid: ClubGrid, swing: _Played) -> SwingWindow:
    parts, strike = swing.parts, swing.strike
    start = parts.takeaway - _still_before(grid, parts.takeaway)
    end = parts.finish + _calm_after(grid, parts.finish)
    notes = [swing.note] if swing.note else []
    loss = _longest_loss(grid, parts)
    if loss > LOST_NOTED:
        notes.append(f"samples lost for up to {1e3 * loss:.0f} ms in the swing")
    if not parts.rested:
        notes.append("the club was not still before the takeaway")
    return SwingWindow(
        start=max(start, float(club.time[0])),
        end=min(end, float(club.time[-1])),
        kind=PRACTICE if strike is None else BALL,
        takeaway=parts.takeaway,
        top=parts.top,
        impact=parts.fastest if strike is None else strike.time,
        impact_se=1.0 / GRID_HZ if strike is None else strike.time_se,
        finish=parts.finish,
        notes=tuple(notes),
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
        if here.end > after.takeaway - 0.2:
            cut[index] = here = replace(here, end=max(here.finish, after.takeaway - 0.2))
        if after.start < here.finish:
            cut[index + 1] = replace(after, start=min(here.finish, after.takeaway))
    return cut


def _with_address(grid: ClubGrid, swings: list[SwingWindow]) -> list[SwingWindow]:
    """Add the waggles and the time of settling to each window."""
    earliest = float(grid.time[0])
    known = []
    for swing in swings:
        waggles, settled = read_address(grid, swing.takeaway, earliest)
        known.append(replace(swing, waggles=waggles, settled=settled))
        earliest = swing.finish
    return known


def _rejected_table(rows: list[tuple[float, float, str]]) -> pd.DataFrame:
    rows = sorted(rows)
    return pd.DataFrame(
        {
            "start_s": np.array([row[0] for row in rows], dtype=np.float64),
            "end_s": np.array([row[1] for row in rows], dtype=np.float64),
            "reason": [row[2] for row in rows],
        }
    )

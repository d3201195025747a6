"""Take a movement of the club apart as if it were a swing: backswing, top, downswing, finish.

A first, rough reading in whole bins of the club's grid, to tell swings from other movements and to
cut them out. The events of the same names that are measured are read anew from the fitted motion
between its samples (``imu.swings.events``), by the same definitions.

Works on the gyroscope alone, whatever the sensor's angle on the shaft: the angular velocity is
carried into the sensor's own frame at the start of the stretch, where the club's turning about
the axis of its fastest moment is forward, and the other way is back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imu.swings.club_grid import GRID_HZ, ClubGrid, orientation_from
from imu.swings.events import CLEARLY_BACK, LATELY, REST_RATE, SLOW_RATE
from imu.types import FloatArray

LOOK_BACK = 3.5
LOOK_ON = 2.5
"""s before and after the fastest moment in which the parts of a swing are looked for."""

BACKSWING_SPAN = 2.5
"""s. A backswing takes no longer."""

STARTS_INSIDE = "the recording starts during this movement"
AFTER_SWING = "the club brought back after a swing"
ENDS_INSIDE = "the recording ends during this movement"


@dataclass(frozen=True, eq=False)
class SwingParts:
    """A movement as a swing. Times s, angles rad, rates rad/s in the plane of its fastest moment.

    rested : whether the club was still before the takeaway. back_angle, forward_angle : turn
    from takeaway to top, and from top to finish. time, angle, rate : (K,) from the top on, the
    turn since the top and its rate.
    """

    takeaway: float
    top: float
    fastest: float
    finish: float
    rested: bool
    back_angle: float
    back_rate: float
    forward_rate: float
    forward_angle: float
    time: FloatArray
    angle: FloatArray
    rate: FloatArray

    def turned(self, time: float) -> float:
        """Turn since the top, rad."""
        return float(np.interp(time, self.time, self.angle))

    def time_of_turn(self, part: float) -> float:
        """When the forward turn first reaches a part of the backswing's turn, s."""
        wanted = part * self.back_angle
        reached = np.flatnonzero(self.angle >= wanted)
        if len(reached) == 0:
            return float(self.time[-1])
        after = max(int(reached[0]), 1)
        low, high = float(self.angle[after - 1]), float(self.angle[after])
        share = (wanted - low) / max(high - low, 1e-12)
        step = float(self.time[after] - self.time[after - 1])
        return float(self.time[after - 1]) + min(max(share, 0.0), 1.0) * step

    def kept_after(self, time: float) -> float:
        """Rate from 20 to 60 ms after a moment, as a part of that from 40 to 5 ms before."""
        before = self.rate[(self.time > time - 0.04) & (self.time < time - 0.005)]
        after = self.rate[(self.time > time + 0.02) & (self.time < time + 0.06)]
        if len(before) == 0 or len(after) == 0:
            return 1.0
        return float(after.mean()) / max(float(before.mean()), 1e-6)


def take_apart(grid: ClubGrid, peak: int, earliest: int = 0) -> SwingParts | str:
    """Read the movement around its fastest bin as a swing, or say why it cannot be one.

    peak, earliest : bins of the grid; the second is the first that does not belong to a swing
    found before this movement.
    """
    first = max(peak - int(LOOK_BACK * GRID_HZ), earliest)
    stop = min(peak + int(LOOK_ON * GRID_HZ), len(grid.time))
    fastest = peak - first
    time, speed = grid.time[first:stop], grid.speed[first:stop]
    rate = _plane_rate(grid, first, stop, fastest)

    backward = np.flatnonzero(rate[: fastest + 1] <= 0.0)
    if len(backward) == 0:
        return _cut_reason(first, earliest, "no change of direction")
    top = int(backward[-1])
    begin = max(top - int(BACKSWING_SPAN * GRID_HZ), 0)
    back = -rate[begin : top + 1]
    busy = np.flatnonzero(back > CLEARLY_BACK * float(back.max()))
    if len(busy) == 0:
        return _cut_reason(first, earliest, "no backswing")
    busiest = begin + int(busy[-1])
    slow = np.flatnonzero(speed[begin:busiest] < REST_RATE)
    turned = np.flatnonzero(rate[begin:busiest] >= 0.0)
    rested = len(slow) > 0
    if rested or len(turned):
        rest = begin + int(slow[-1]) if rested else -math.inf
        turn = begin + int(turned[-1]) if len(turned) else -math.inf
        # A club that was not at rest lately goes back from its last turn on.
        rested = turn - rest < LATELY * GRID_HZ
        takeaway = int(rest if rested else turn)
    elif first == 0:
        return STARTS_INSIDE
    else:
        takeaway = begin + int(np.argmin(speed[begin : busiest + 1]))
    ended = np.flatnonzero(speed[fastest:] < SLOW_RATE)
    if len(ended):
        finish = fastest + int(ended[0])
    elif stop == len(grid.time):
        return ENDS_INSIDE
    else:
        finish = len(time) - 1
    angle = np.zeros(len(time))
    angle[top + 1 :] = np.cumsum(rate[top + 1 :]) / GRID_HZ
    return SwingParts(
        takeaway=float(time[takeaway]),
        top=float(time[top]),
        fastest=float(time[fastest]),
        finish=float(time[finish]),
        rested=rested,
        back_angle=float(-rate[takeaway : top + 1].sum()) / GRID_HZ,
        back_rate=float(-rate[takeaway : top + 1].min()),
        forward_rate=float(rate[fastest]),
        forward_angle=float(angle[fastest : finish + 1].max()),
        time=time[top:],
        angle=angle[top:],
        rate=rate[top:],
    )


def _cut_reason(first: int, earliest: int, otherwise: str) -> str:
    """Why a movement that begins inside the stretch looked at is no swing."""
    if first == 0:
        return STARTS_INSIDE
    return AFTER_SWING if first == earliest else otherwise


def _plane_rate(grid: ClubGrid, first: int, stop: int, fastest: int) -> FloatArray:
    """(K,) rad/s about the axis of the fastest moment (60 ms up to it), forward positive."""
    turn = orientation_from(grid, first, stop)
    rate = turn.apply(grid.gyr[first:stop])
    shaft = turn.apply(grid.shaft)
    across = rate - np.einsum("ij,ij->i", rate, shaft)[:, None] * shaft
    delivery = across[max(fastest - 6, 0) : fastest + 1].sum(axis=0)
    normal = delivery / max(float(np.sqrt(delivery @ delivery)), 1e-12)
    plane_rate: FloatArray = across @ normal
    return plane_rate

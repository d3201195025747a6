"""Events of one swing, read between samples from the movement of forearm and club.

Definitions: takeaway, the club's turning rate last rises through ``REST_RATE`` before the
backswing (or, where the club was not at rest lately, its last turn from forward to back); arm
top and club top, last change from back to forward of the in-plane rate; shaft parallel, the
shaft level on the way down; release, the hinge has opened by the threshold from its downswing
maximum; impact from the shock, or for a practice swing the shaft's return to its address
direction; finish, the club slow again. In-plane rates are taken about the mean direction of the
club's angular velocity across the shaft from shaft parallel to impact (a plane of the execution
phase; after Kwon et al. 2012, Sports Biomech 11:127-148).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from imu.fusion.movements import Movements
from imu.swings import kinematics as kin
from imu.swings.sampling import (
    NOWHERE,
    choose,
    crossings,
    mean_between,
    nearer,
    peak,
    smoothed,
    value_at,
    whole,
)
from imu.types import BALL, BoolArray, FloatArray, IntArray, SwingWindow

REST_RATE = 0.25
"""rad/s. A club turning slower than this counts as at rest (standing sway is about 0.05)."""

SLOW_RATE = 1.0
"""rad/s. The finish is where the club first turns slower than this after impact."""

LATELY = 0.45
"""s. A club that last rested longer than this before it turned back was not at rest."""

CLEARLY_BACK = 0.5
"""The last stretch that is clearly backswing turns at this part of its greatest rate or more."""

ADDRESS_SPAN = 0.3
"""s of stillness before the takeaway over which the address is averaged."""

TAKEAWAY_SPAN = 0.011
"""s of running mean for the takeaway, where the rate climbs slowly and noise makes it shiver."""

AFTER_IMPACT = 0.06
"""s after the rough impact up to which axes and angles are worked out."""

PEAK_REACH = 0.004
"""s on each side of a peak to which the local parabola is fitted."""


@dataclass(frozen=True, eq=False)
class SwingPlaces:
    """Places (fractional samples) of the events of K readings of a swing, and the series they
    were read from.

    movements : of the K readings.
    place : (K,) by event name and, besides, ``onset`` (greatest hinge), ``address_begin`` and
    ``address_end``; NaN where not found.
    returned : (K,) False where impact had to be guessed, since the shaft of a practice swing did
    not return to its address direction.
    normal : (3, K) unit normal of the delivery plane, along the downswing's turning.
    axes : (3, 2, K, M) of arm and shaft; across : (3, K, M) the club's angular velocity across
    the shaft; arm_rate, club_rate : (K, M) in-plane, rad/s; hinge : (K, M) rad; all up to a
    little after impact only. speed : (K, N) rad/s, turning rate of the club.
    hinge_max : (K,) rad, greatest in the downswing. release_threshold : rad.
    """

    movements: Movements
    place: Mapping[str, FloatArray]
    returned: BoolArray
    normal: FloatArray
    axes: FloatArray
    across: FloatArray
    arm_rate: FloatArray
    club_rate: FloatArray
    hinge: FloatArray
    hinge_max: FloatArray
    speed: FloatArray
    release_threshold: float

    def times(self, names: Iterable[str]) -> FloatArray:
        """(len(names), K) s, recording times of events (NaN where not found)."""
        return self.movements.start + self.step * np.array([self.place[name] for name in names])

    @property
    def step(self) -> float:
        """s between samples."""
        return self.movements.step

    @property
    def peak_reach(self) -> int:
        """Samples on each side of a peak used for its parabola."""
        return max(2, round(PEAK_REACH / self.step))

    def why_not(self, name: str) -> str:
        """Why an event was not found."""
        if name == "release":
            degrees = math.degrees(self.release_threshold)
            return f"the hinge did not open by {degrees:g}° before impact"
        return _WHY_NOT.get(name, f"{name} was not found")


_WHY_NOT = {
    "impact": "the shaft did not return to its address direction",
    "club_top": "no change of direction before impact",
    "shaft_parallel": "the shaft did not pass level on the way down",
    "arm_top": "the arm did not change direction before impact",
    "takeaway": "no backswing from rest in this stretch",
    "finish": "the club was still moving where this stretch ends",
}


def find_events(
    movements: Movements,
    window: SwingWindow,
    release_threshold: float,
    near: Mapping[str, float] | None = None,
    impact_time: FloatArray | None = None,
) -> SwingPlaces:
    """Find the events of K readings of one swing.

    window : for its kind and its impact, which for a practice swing is rough.
    release_threshold : rad. near : times (s) of the same events in an earlier reading of the same
    swing; among several candidates the nearest is then chosen, so that a slightly changed motion
    gives slightly changed events. impact_time : (K,) s, in place of the window's impact.
    """
    start, step, size = movements.start, movements.step, len(movements.time)
    hints = {} if near is None else near

    def hint(name: str) -> float:
        return (hints.get(name, NOWHERE) - start) / step

    unknown = np.full(len(movements), NOWHERE)
    struck = np.full(len(movements), window.impact) if impact_time is None else impact_time
    rough = (struck - start) / step
    impact = np.minimum(np.maximum(rough, 2.0), size - 2.0)
    # Beyond the strike only the club's speed is wanted, for the finish.
    used = np.minimum(size, np.ceil(impact + AFTER_IMPACT / step).astype(np.int64))
    most = int(used.max())
    arm_turning, club_turning = movements.rates[:, 0, :, :most], movements.rates[:, 1, :, :most]
    axes = kin.distal_axis(movements.quats[..., :most])
    shaft = axes[:, 1]
    across = kin.across(club_turning, shaft)
    speed = kin.length(movements.rates[:, 1])
    returned = np.full(len(movements), True)

    # A first normal from the last part of the downswing is good enough to find the top.
    normal = _mean_direction(across, impact - 0.05 / step, impact)
    takeaway = parallel = begin_address = end_address = unknown
    for turn in range(1 if window.kind == BALL else 3):
        stop = whole(impact) + 1
        club_rate = _along(across[:, :, : int(stop.max())], normal)
        top = choose(crossings(club_rate, rising=True, stop=stop), hint("club_top"))
        begin = np.fmax(top, 0.0)
        level = choose(
            crossings(shaft[2], rising=False, first=whole(begin), stop=stop),
            hint("shaft_parallel"),
        )
        parallel = np.where(returned, level, parallel)
        if turn == 0:
            takeaway, begin_address, end_address = _takeaway(
                speed, club_rate, top, hint("takeaway"), step
            )
        halfway = 0.5 * (begin + impact)
        delivery = np.where(np.isnan(parallel), halfway, parallel)
        normal = np.where(returned, _mean_direction(across, delivery, impact), normal)
        if window.kind != BALL:
            guess = rough if math.isnan(hint("impact")) else hint("impact")
            address = mean_between(shaft, begin_address, end_address)
            back = _return_to_address(shaft, address, normal, whole(begin), used, guess)
            returned = returned & ~np.isnan(back)
            impact = np.where(returned, back, impact)
            if not returned.any():
                break
    club_rate, arm_rate = _along(across, normal), _along(arm_turning, normal)
    stop = whole(impact) + 1
    turns = crossings(np.array([club_rate, arm_rate]), rising=True, stop=stop)
    top, arm_top = choose(turns, np.array([[hint("club_top")], [hint("arm_top")]]))

    angle = kin.hinge(axes)
    first = whole(np.fmin(arm_top, top))
    reach = max(2, round(PEAK_REACH / step))
    onset, greatest = peak(angle, first, np.maximum(stop, first + 3), reach, hint("onset"))
    opened = angle - (greatest - release_threshold)[:, None]
    opening = crossings(opened, rising=False, first=whole(onset), stop=stop + 1)
    release = choose(opening, hint("release"), "first")
    release = np.where(release > impact, NOWHERE, release)
    slowing = crossings(speed - SLOW_RATE, rising=False, first=whole(impact))
    place = {
        "takeaway": takeaway,
        "arm_top": arm_top,
        "club_top": top,
        "release": release,
        "shaft_parallel": parallel,
        "impact": impact,
        "finish": choose(slowing, hint("finish"), "first"),
        "onset": onset,
        "address_begin": begin_address,
        "address_end": end_address,
    }
    return SwingPlaces(
        movements=movements,
        place=place,
        returned=returned,
        normal=normal,
        axes=axes,
        across=across,
        arm_rate=arm_rate,
        club_rate=club_rate,
        hinge=angle,
        hinge_max=greatest,
        speed=speed,
        release_threshold=release_threshold,
    )


def _along(vectors: FloatArray, normal: FloatArray) -> FloatArray:
    """(K, M) part of (3, K, M) vectors along (3, K) unit vectors."""
    return kin.dot(vectors, normal[:, :, None])


def _mean_direction(across: FloatArray, begin: FloatArray, end: FloatArray) -> FloatArray:
    """(3, K) mean direction of (3, K, M) vectors between places (K,)."""
    first = max(math.floor(begin.min()), 0)
    unit = kin.directions(across[:, :, first : math.ceil(end.max()) + 1])
    return kin.directions(mean_between(unit, begin - first, end - first))


def _takeaway(
    speed: FloatArray, club_rate: FloatArray, top: FloatArray, near: float, step: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places (K,) of the takeaway and of the begin and end of the stillness before it."""
    size = int(whole(top).max()) + 1
    sample = np.arange(size)
    back = np.where(sample <= top[:, None], -club_rate[:, :size], -np.inf)
    busy = back > CLEARLY_BACK * back.max(axis=1)[:, None]
    last = size - 1 - np.argmax(busy[:, ::-1], axis=1)
    swung = busy.any(axis=1)
    stop = np.where(swung, last, 0) + 1
    size = int(stop.max())
    series = _held(np.array([speed[:, :size], -club_rate[:, :size]]), stop)
    series = smoothed(series, TAKEAWAY_SPAN / step)
    calm = series[0]
    calm -= REST_RATE
    rise, turn = choose(crossings(series, rising=True, stop=stop), near)
    if math.isnan(near):
        # A club that was not at rest lately goes back from its last turn on.
        by_rise = np.isnan(turn) | (turn <= rise + LATELY / step)
        takeaway = np.where(by_rise, rise, turn)
    else:
        takeaway = nearer(rise, turn, near)
    takeaway = np.where(swung, takeaway, NOWHERE)
    sample = sample[:size]
    moving = (calm > 0.0) & (sample < whole(takeaway)[:, None])
    rest = np.where(moving.any(axis=1), size - np.argmax(moving[:, ::-1], axis=1), 0)
    begin = np.minimum(np.maximum(takeaway - ADDRESS_SPAN / step, rest), takeaway)
    lost = np.isnan(takeaway)
    if not lost.any():
        return takeaway, begin, takeaway
    slowest = np.argmin(np.where(sample < stop[:, None], calm, np.inf), axis=1)
    return takeaway, np.where(lost, slowest, begin), np.where(lost, slowest, takeaway)


def _held(values: FloatArray, stop: IntArray) -> FloatArray:
    """(…, K, N) series that keep their value from the last sample before ``stop`` (K,) on."""
    if len(stop) == 1:
        return values[..., : int(stop[0])]
    last = values[..., np.arange(len(stop)), stop - 1]
    return np.where(np.arange(values.shape[-1]) < stop[:, None], values, last[..., None])


def _return_to_address(
    shaft: FloatArray,
    address: FloatArray,
    normal: FloatArray,
    first: IntArray,
    stop: IntArray,
    guess: FloatArray | float,
) -> FloatArray:
    """Places (K,) where the shaft, seen in the plane, passes its address direction going down.

    shaft : (3, K, M). address, normal : (3, K). first, stop : (K,) samples looked at. guess :
    place near which the passing is looked for.
    """
    passed = crossings(_along(shaft, kin.cross(address, normal)), False, first, stop)
    facing = _along(shaft, address)
    passed = passed.only(facing[passed.row, passed.before] > 0.0)
    return choose(passed, guess)


def address_hinge(events: SwingPlaces) -> FloatArray:
    """(K,) rad, mean hinge over the stillness before the takeaway."""
    return mean_between(events.hinge, events.place["address_begin"], events.place["address_end"])


def arm_directions(events: SwingPlaces, places: FloatArray) -> FloatArray:
    """(3, P, K) arm axis at places (P, K), in the plane of the delivery."""
    return kin.across(value_at(events.axes[:, 0], places), events.normal[:, None])

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
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.swings import kinematics as kin
from imu.swings.sampling import (
    NOWHERE,
    choose,
    crossings,
    mean_between,
    peak,
    row_at,
    smoothed,
    value_at,
)
from imu.types import BALL, FloatArray, Motion, SwingWindow

REST_RATE = 0.25
"""rad/s. A club turning slower than this counts as at rest (standing sway is about 0.05)."""

SLOW_RATE = 1.0
"""rad/s. The finish is where the club first turns slower than this after impact."""

LATELY = 0.45
"""s. A club that last rested longer than this before it turned back was not at rest."""

ADDRESS_SPAN = 0.3
"""s of stillness before the takeaway over which the address is averaged."""

TAKEAWAY_SPAN = 0.011
"""s of running mean for the takeaway, where the rate climbs slowly and noise makes it shiver."""

AFTER_IMPACT = 0.06
"""s after the rough impact up to which axes and angles are worked out."""

PEAK_REACH = 0.004
"""s on each side of a peak to which the local parabola is fitted."""


@dataclass(frozen=True, eq=False)
class SwingPlace:
    """Places (fractional samples) of the events, and the series they were read from.

    place : by event name and, besides, ``onset`` (greatest hinge), ``address_begin`` and
    ``address_end``; NaN where not found. reason : why, by event name.
    normal : (3,) unit normal of the delivery plane, along the downswing's turning.
    arm, shaft : (M, 3) axes; across : (M, 3) the club's angular velocity across the shaft;
    club_rate, arm_rate : (M,) in-plane, rad/s; hinge : (M,) rad; club_quats : (M, 4) xyzw; all
    up to a little after impact only. hinge_max : rad, greatest in the downswing.
    """

    start: float
    step: float
    place: Mapping[str, float]
    reason: Mapping[str, str]
    normal: FloatArray
    arm: FloatArray
    shaft: FloatArray
    across: FloatArray
    club_rate: FloatArray
    arm_rate: FloatArray
    hinge: FloatArray
    hinge_max: float
    club_quats: FloatArray

    def time(self, name: str) -> float:
        """s, recording time of an event (NaN when it was not found)."""
        return self.start + self.step * self.place[name]

    @property
    def peak_reach(self) -> int:
        """Samples on each side of a peak used for its parabola."""
        return max(2, round(PEAK_REACH / self.step))


def find_events(
    motion: Motion,
    window: SwingWindow,
    release_threshold: float,
    near: Mapping[str, float] | None = None,
) -> SwingPlace:
    """Find the events of one swing.

    near : times (s) of the same events in an earlier reading of the same swing; among several
    candidates the nearest is then chosen, so that a slightly changed motion gives slightly
    changed events.
    """
    start, size = float(motion.time[0]), len(motion.time)
    step = (float(motion.time[-1]) - start) / (size - 1)
    hints = {} if near is None else near

    def hint(name: str) -> float:
        return (hints.get(name, NOWHERE) - start) / step

    impact = min(max((window.impact - start) / step, 2.0), size - 2.0)
    # Beyond the strike only the club's speed is wanted, for the finish.
    used = min(size, math.ceil(impact + AFTER_IMPACT / step))
    club_quats = motion.club.as_quat()[:used]
    arm = kin.distal_axis(motion.forearm.as_quat()[:used])
    shaft = kin.distal_axis(club_quats)
    across = kin.across(motion.club_rate[:used], shaft)
    speed = np.sqrt(kin.dot(motion.club_rate, motion.club_rate))
    reason: dict[str, str] = {}

    # A first normal from the last part of the downswing is good enough to find the top.
    normal = _mean_direction(across, impact - 0.05 / step, impact)
    top = parallel = takeaway = NOWHERE
    address = (0.0, 0.0)
    address_shaft = shaft[0]
    for turn in range(1 if window.kind == BALL else 3):
        stop = math.floor(impact) + 1
        club_rate = across[:stop] @ normal
        top = choose(crossings(club_rate, rising=True), hint("club_top"))
        top_or_start = 0.0 if math.isnan(top) else top
        parallel = _shaft_parallel(shaft, top_or_start, stop, hint("shaft_parallel"))
        begin = 0.5 * (top_or_start + impact) if math.isnan(parallel) else parallel
        if turn == 0:
            takeaway, address = _takeaway(speed, club_rate, top, hint("takeaway"), step)
            address_shaft = mean_between(shaft, *address)
        normal = _mean_direction(across, begin, impact)
        if window.kind != BALL:
            guess = hint("impact")
            guess = (window.impact - start) / step if math.isnan(guess) else guess
            returned = _return_to_address(shaft, address_shaft, normal, top_or_start, guess)
            if math.isnan(returned):
                reason["impact"] = "the shaft did not return to its address direction"
                break
            impact = returned
    club_rate, arm_rate = across @ normal, motion.forearm_rate[:used] @ normal
    stop = math.floor(impact) + 1
    top = choose(crossings(club_rate[:stop], rising=True), hint("club_top"))
    arm_top = choose(crossings(arm_rate[:stop], rising=True), hint("arm_top"))
    if math.isnan(top):
        reason["club_top"] = "no change of direction before impact"
    if math.isnan(parallel):
        reason["shaft_parallel"] = "the shaft did not pass level on the way down"
    if math.isnan(arm_top):
        reason["arm_top"] = "the arm did not change direction before impact"
    if math.isnan(takeaway):
        reason["takeaway"] = "no backswing from rest in this stretch"

    tops = [place for place in (arm_top, top) if not math.isnan(place)]
    first = int(min(tops)) if tops else 0
    angle = kin.hinge(arm, shaft)
    reach = max(2, round(PEAK_REACH / step))
    onset, greatest = peak(angle, first, max(stop, first + 3), reach, hint("onset"))
    opened = angle[int(onset) : stop + 1] - (greatest - release_threshold)
    release = int(onset) + choose(
        crossings(opened, rising=False), hint("release") - int(onset), "first"
    )
    if math.isnan(release) or release > impact:
        release = NOWHERE
        degrees = math.degrees(release_threshold)
        reason["release"] = f"the hinge did not open by {degrees:g}° before impact"
    finish = _finish(speed, impact, hint("finish"))
    if math.isnan(finish):
        reason["finish"] = "the club was still moving where this stretch ends"
    place = {
        "takeaway": takeaway,
        "arm_top": arm_top,
        "club_top": top,
        "release": release,
        "shaft_parallel": parallel,
        "impact": impact,
        "finish": finish,
        "onset": onset,
        "address_begin": address[0],
        "address_end": address[1],
    }
    return SwingPlace(
        start=start,
        step=step,
        place=place,
        reason=reason,
        normal=normal,
        arm=arm,
        shaft=shaft,
        across=across,
        club_rate=club_rate,
        arm_rate=arm_rate,
        hinge=angle,
        hinge_max=greatest,
        club_quats=club_quats,
    )


def _mean_direction(across: FloatArray, begin: float, end: float) -> FloatArray:
    first, stop = max(math.floor(begin), 0), math.ceil(end) + 1
    unit = kin.directions(across[first:stop])
    mean = mean_between(unit, begin - first, end - first)
    normal: FloatArray = mean / max(kin.length(mean), 1e-12)
    return normal


def _shaft_parallel(shaft: FloatArray, top: float, stop: int, near: float) -> float:
    first = int(top)
    height = shaft[first:stop, 2]
    return first + choose(crossings(height, rising=False), near - first)


def _takeaway(
    speed: FloatArray, club_rate: FloatArray, top: float, near: float, step: float
) -> tuple[float, tuple[float, float]]:
    """Place of the takeaway and of the begin and end of the stillness before it."""
    if math.isnan(top):
        return NOWHERE, (0.0, 0.0)
    stop = int(top) + 1
    back = -club_rate[:stop]
    # The last stretch that is clearly backswing: half its greatest rate or more.
    busy = np.flatnonzero(back > 0.5 * float(back.max()))
    if len(busy) == 0:
        return NOWHERE, (0.0, 0.0)
    stop = int(busy[-1]) + 1
    span = TAKEAWAY_SPAN / step
    calm = smoothed(speed[:stop], span)
    rises = crossings(calm - REST_RATE, rising=True)
    turns = crossings(smoothed(back[:stop], span), rising=True)
    if not math.isnan(near):
        takeaway = choose(np.concatenate([rises, turns]), near)
    else:
        # A club that was not at rest lately goes back from its last turn on.
        takeaway, turned = choose(rises, NOWHERE), choose(turns, NOWHERE)
        if not turned <= takeaway + LATELY / step:
            takeaway = takeaway if math.isnan(turned) else turned
    if math.isnan(takeaway):
        slowest = float(np.argmin(calm))
        return NOWHERE, (slowest, slowest)
    moving = np.flatnonzero(calm[: int(takeaway)] > REST_RATE)
    begin = max(takeaway - ADDRESS_SPAN / step, float(moving[-1] + 1) if len(moving) else 0.0, 0.0)
    return takeaway, (min(begin, takeaway), takeaway)


def _return_to_address(
    shaft: FloatArray,
    address: FloatArray,
    normal: FloatArray,
    top: float,
    guess: float,
) -> float:
    """Place where the shaft, seen in the plane, passes its address direction on the way down."""
    first = int(top)
    side = kin.cross3(address, normal)
    passed = shaft[first:] @ side
    facing = shaft[first:] @ address
    places = first + crossings(passed, rising=False)
    places = places[facing[(places - first).astype(int)] > 0.0]
    return choose(places, guess)


def _finish(speed: FloatArray, impact: float, near: float) -> float:
    first = int(impact)
    return first + choose(crossings(speed[first:] - SLOW_RATE, rising=False), near - first, "first")


def address_hinge(events: SwingPlace) -> float:
    """rad, mean hinge over the stillness before the takeaway."""
    place = events.place
    if math.isnan(place["takeaway"]):
        return value_at(events.hinge, place["address_begin"])
    return float(mean_between(events.hinge, place["address_begin"], place["address_end"]))


def arm_direction(events: SwingPlace, place: float) -> FloatArray:
    """(3,) arm axis at a place, in the plane of the delivery."""
    arm = row_at(events.arm, place)
    flat: FloatArray = arm - (arm @ events.normal) * events.normal
    return flat

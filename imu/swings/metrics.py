"""Numbers of one swing from its events: every metric of ``imu.columns``, in its unit there.

This is an edge of the house: degrees and milliseconds leave here. Clubhead speed takes the
arm to turn about a fixed shoulder (double-pendulum theory; White 2006, Am J Phys 74:1088).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.columns import METRICS
from imu.settings import AnalysisSettings
from imu.swings import kinematics as kin
from imu.swings.events import SwingPlace, address_hinge, arm_direction
from imu.swings.sampling import just_before, mean_between, peak, row_at, value_at
from imu.types import BALL, Club, FloatArray, Motion, SwingWindow
from imu.units import DEG, MS

TRANSITION_PART = 0.3
"""Part of the downswing counted as the transition for the plane shift."""

LEAST_GAIN = 0.05
"""Part of the head's speed that must be gained after shaft parallel for a share of it to mean
anything: the model's speeds are good to a percent or two."""

LEAST_TURNING = 0.05
"""rad/s across the shaft, about a sensor's noise: below it the club turns in no plane."""

GUARD = 0.0015
"""s before impact left out when rates are carried forward to it: timing error of the strike."""

REACH = 0.014
"""s before impact from which rates are carried forward."""

_NEEDS: Mapping[str, tuple[str, ...]] = {
    "backswing_ms": ("takeaway", "club_top"),
    "downswing_ms": ("club_top", "impact"),
    "tempo_ratio": ("takeaway", "club_top", "impact"),
    "overlap_ms": ("arm_top", "club_top"),
    "release_ms": ("release", "impact"),
    "release_onset_ms": ("impact",),
    "release_arm_angle_deg": ("release", "impact"),
    "lag_at_parallel_deg": ("shaft_parallel",),
    "hinge_max_deg": (),
    "hinge_at_top_deg": ("club_top",),
    "hinge_at_impact_deg": ("impact",),
    "hinge_at_impact_from_address_deg": ("impact", "takeaway"),
    "wrist_share": ("shaft_parallel", "impact"),
    "plane_shift_deg": ("club_top", "shaft_parallel", "impact"),
    "near_line_m": ("impact",),
    "near_line_ms": ("impact",),
    "peak_hinge_rate_deg_s": ("club_top", "impact"),
    "peak_hinge_rate_ms": ("club_top", "impact"),
    "peak_club_rate_deg_s": ("club_top", "impact"),
    "peak_club_rate_ms": ("club_top", "impact"),
    "peak_arm_rate_deg_s": ("club_top", "impact"),
    "peak_arm_rate_ms": ("club_top", "impact"),
    "clubhead_speed_m_s": ("impact",),
    "closure_deg": ("impact", "takeaway"),
    "closure_rate_deg_s": ("impact",),
    "address_time_s": ("takeaway",),
    "waggle_count": (),
}
"""Events without which a metric cannot be had."""


@dataclass(frozen=True, eq=False)
class SwingNumbers:
    """Metrics by name, reasons for the missing ones, and the order in which rates peaked."""

    metrics: Mapping[str, float]
    notes: Mapping[str, str]
    order_of_peaks: str


@dataclass(frozen=True, eq=False)
class _Moment:
    """State of arm and club at one instant; each row (3,)."""

    arm: FloatArray
    shaft: FloatArray
    arm_rate: FloatArray
    club_rate: FloatArray

    def head_velocity(self, arm_length: float, lever: float) -> FloatArray:
        return arm_length * kin.cross3(self.arm_rate, self.arm) + lever * kin.cross3(
            self.club_rate, self.shaft
        )

    def wrist_speed(self, velocity: FloatArray, lever: float) -> float:
        own = lever * kin.cross3(self.club_rate - self.arm_rate, self.shaft)
        return float(own @ velocity) / max(kin.length(velocity), 1e-12)


def swing_numbers(
    motion: Motion,
    window: SwingWindow,
    events: SwingPlace,
    club: Club,
    arm_length: float,
    settings: AnalysisSettings,
    near: Mapping[str, float] | None = None,
) -> SwingNumbers:
    """Compute every metric of one swing.

    near : metrics of an earlier reading of the same swing, so that the same peaks are chosen.
    """
    place, step = events.place, events.step
    to_ms = step / MS
    lever = club.wrist_to_head
    impact, top = place["impact"], place["club_top"]
    parallel, release = place["shaft_parallel"], place["release"]
    out: dict[str, float] = {}

    out["backswing_ms"] = (top - place["takeaway"]) * to_ms
    out["downswing_ms"] = (impact - top) * to_ms
    out["tempo_ratio"] = (top - place["takeaway"]) / (impact - top)
    out["overlap_ms"] = (top - place["arm_top"]) * to_ms
    out["release_ms"] = (impact - release) * to_ms
    out["release_onset_ms"] = (impact - place["onset"]) * to_ms

    hinge_impact = value_at(events.hinge, impact)
    out["hinge_max_deg"] = events.hinge_max / DEG
    out["hinge_at_impact_deg"] = hinge_impact / DEG
    out["hinge_at_impact_from_address_deg"] = (hinge_impact - address_hinge(events)) / DEG
    if not math.isnan(top):
        out["hinge_at_top_deg"] = value_at(events.hinge, top) / DEG
    if not math.isnan(parallel):
        out["lag_at_parallel_deg"] = value_at(events.hinge, parallel) / DEG
    if not math.isnan(release):
        out["release_arm_angle_deg"] = _turn_in_plane(events, release, impact) / DEG

    strike = _at_impact(motion, events, window.kind == BALL)
    velocity = strike.head_velocity(arm_length, lever)
    speed = kin.length(velocity)
    out["clubhead_speed_m_s"] = speed
    if not math.isnan(parallel):
        level = _at(motion, events, parallel)
        level_velocity = level.head_velocity(arm_length, lever)
        gained = speed - kin.length(level_velocity)
        by_wrists = strike.wrist_speed(velocity, lever) - level.wrist_speed(level_velocity, lever)
        # Asked only once: readings of slightly changed motions follow the first.
        worth = gained > LEAST_GAIN * speed if near is None else math.isfinite(near["wrist_share"])
        out["wrist_share"] = by_wrists / gained if worth else math.nan
    out.update(_near_line(strike, events.normal, speed, settings.near_line_tolerance))
    out.update(_plane_shift(events))
    out.update(_roll(motion, events, strike))
    peaks = _peaks(motion, events, near)
    out.update(peaks)
    out["address_time_s"] = events.time("takeaway") - window.settled
    out["waggle_count"] = float(window.waggles)

    metrics: dict[str, float] = {}
    notes: dict[str, str] = {}
    for metric in METRICS:
        missing = [name for name in _NEEDS[metric.name] if math.isnan(place[name])]
        value = math.nan if missing else out.get(metric.name, math.nan)
        metrics[metric.name] = value
        if math.isnan(value):
            notes[metric.name] = (
                events.reason.get(missing[0], f"{missing[0]} was not found")
                if missing
                else _OTHER_REASON.get(metric.name, "cannot be had from this swing")
            )
    return SwingNumbers(metrics, notes, _order(peaks, metrics))


_OTHER_REASON = {
    "address_time_s": "the club was not seen settling before this swing",
    "wrist_share": "the head gained hardly any speed after shaft parallel",
    "near_line_m": "the delivery is too upright for an arc approximation",
    "near_line_ms": "the delivery is too upright for an arc approximation",
}


def _at(motion: Motion, events: SwingPlace, place: float) -> _Moment:
    return _Moment(
        row_at(events.arm, place),
        row_at(events.shaft, place),
        row_at(motion.forearm_rate, place),
        row_at(motion.club_rate, place),
    )


def _at_impact(motion: Motion, events: SwingPlace, struck: bool) -> _Moment:
    """State just before impact: a strike changes rates at once, directions not."""
    place = events.place["impact"]
    if not struck:
        return _at(motion, events, place)
    first = max(int(place - max(REACH / events.step, 6.0)) - 2, 0)
    stop = int(place) + 1
    rates = np.hstack([motion.forearm_rate[first:stop], motion.club_rate[first:stop]])
    rate = just_before(rates, place - first, GUARD / events.step, REACH / events.step)
    return _Moment(row_at(events.arm, place), row_at(events.shaft, place), rate[:3], rate[3:])


def _turn_in_plane(events: SwingPlace, begin: float, end: float) -> float:
    first, second = arm_direction(events, begin), arm_direction(events, end)
    sine = float(events.normal @ kin.cross3(first, second))
    return math.atan2(sine, float(first @ second))


def _near_line(
    strike: _Moment, normal: FloatArray, speed: float, tolerance: float
) -> dict[str, float]:
    """Length and time of the head's local arc within ``tolerance`` of its tangent, seen from above.

    Local radius R = v/|ω|, ω the club's angular velocity across the shaft; a slope φ of the
    plane shortens the sideways part of the arc by cos φ: a = arccos(1 − τ/(R cos φ)).
    """
    turning = (strike.club_rate - (strike.club_rate @ strike.shaft) * strike.shaft)[None, :]
    rate = kin.length(turning[0])
    slope = float(kin.inclination(turning, normal)[0])
    radius = speed / max(rate, 1e-12)
    sideways = 1.0 - tolerance / max(radius * abs(math.cos(slope)), 1e-12)
    if sideways < -1.0:
        return {}
    half = math.acos(sideways)
    return {
        "near_line_m": 2.0 * radius * math.sin(half),
        "near_line_ms": 2.0 * half * radius / max(speed, 1e-12) / MS,
    }


def _plane_shift(events: SwingPlace) -> dict[str, float]:
    top, parallel, impact = (
        events.place["club_top"],
        events.place["shaft_parallel"],
        events.place["impact"],
    )
    if math.isnan(top) or math.isnan(parallel):
        return {}
    first, stop = int(top), math.ceil(impact) + 1
    turning = events.across[first:stop]
    # Time-mean of the tilt; a club hardly turning, as at the top, has no plane and no weight.
    squared = kin.dot(turning, turning)
    weight = squared / (squared + LEAST_TURNING**2)
    tilt = np.column_stack([kin.inclination(turning, events.normal) * weight, weight])
    early = mean_between(tilt, top - first, top + TRANSITION_PART * (impact - top) - first)
    delivery = mean_between(tilt, parallel - first, impact - first)
    return {"plane_shift_deg": float(early[0] / early[1] - delivery[0] / delivery[1]) / DEG}


def _roll(motion: Motion, events: SwingPlace, strike: _Moment) -> dict[str, float]:
    """Shaft roll at impact against address, and its rate; seen from the butt, leftward closes."""
    place = events.place
    found = {"closure_rate_deg_s": -float(strike.club_rate @ strike.shaft) / DEG}
    if math.isnan(place["takeaway"]):
        return found
    address = events.club_quats[round(0.5 * (place["address_begin"] + place["address_end"]))]
    index = int(place["impact"])
    part = place["impact"] - index
    # From the sample before impact on, the shaft rolls at its rate there.
    turn = part * events.step * -float(strike.club_rate @ strike.shaft)
    roll = kin.roll_between(address, events.club_quats[index]) + turn
    return {**found, "closure_deg": roll / DEG}


def rate_series(motion: Motion, events: SwingPlace) -> dict[str, FloatArray]:
    """Opening rate of the hinge and in-plane rates of club and arm, rad/s, from the sample of the
    club's top to that of impact."""
    part = slice(int(events.place["club_top"]), int(events.place["impact"]) + 1)
    opening = -kin.hinge_rate(
        events.arm[part], events.shaft[part], motion.forearm_rate[part], motion.club_rate[part]
    )
    return {"hinge": opening, "club": events.club_rate[part], "arm": events.arm_rate[part]}


def _peaks(
    motion: Motion, events: SwingPlace, near: Mapping[str, float] | None
) -> dict[str, float]:
    top, impact = events.place["club_top"], events.place["impact"]
    if math.isnan(top):
        return {}
    first = int(top)
    found: dict[str, float] = {}
    for name, values in rate_series(motion, events).items():
        earlier = math.nan if near is None else near.get(f"peak_{name}_rate_ms", math.nan)
        hint = impact - first - earlier * MS / events.step
        where, height = peak(values, 0, len(values), events.peak_reach, hint)
        found[f"peak_{name}_rate_deg_s"] = height / DEG
        found[f"peak_{name}_rate_ms"] = float(impact - first - where) * events.step / MS
    return found


def _order(peaks: Mapping[str, float], metrics: Mapping[str, float]) -> str:
    """Names of arm, wrist and club in the order in which their rates peak ("" when unknown)."""
    if not peaks or math.isnan(metrics["peak_club_rate_ms"]):
        return ""
    leads = {
        "arm": peaks["peak_arm_rate_ms"],
        "wrist": peaks["peak_hinge_rate_ms"],
        "club": peaks["peak_club_rate_ms"],
    }
    return ", ".join(sorted(leads, key=lambda name: -leads[name]))

"""Numbers of one swing from its events: every metric of ``imu.columns``, in its unit there.

This is an edge of the house: degrees and milliseconds leave here. Every number is an array (K,),
one for each of K readings of the swing that are made at once (``imu.swings.measure``): the swing
itself, and what each of its errors would make of it. Clubhead speed takes the arm to turn about a
fixed shoulder (double-pendulum theory; White 2006, Am J Phys 74:1088).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from imu.columns import METRICS
from imu.settings import AnalysisSettings
from imu.swings import kinematics as kin
from imu.swings.events import SwingPlaces, address_hinge, arm_directions
from imu.swings.sampling import just_before, mean_between, peak, value_at, whole
from imu.types import BALL, FloatArray, SwingWindow
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

_NEEDED = tuple(sorted({event for needs in _NEEDS.values() for event in needs}))
_NEED_TABLE = np.array([[name in _NEEDS[metric.name] for name in _NEEDED] for metric in METRICS])

_OTHER_REASON = {
    "address_time_s": "the club was not seen settling before this swing",
    "wrist_share": "the head gained hardly any speed after shaft parallel",
    "near_line_m": "the delivery is too upright for an arc approximation",
    "near_line_ms": "the delivery is too upright for an arc approximation",
}


def swing_numbers(
    events: SwingPlaces,
    window: SwingWindow,
    club_lever: FloatArray,
    arm_length: FloatArray,
    settings: AnalysisSettings,
    near: Mapping[str, float] | None = None,
) -> FloatArray:
    """(len(METRICS), K) every metric of K readings of one swing; NaN where it can't be had.

    club_lever, arm_length : (K,) m, wrist to clubhead and hub to wrist.
    near : metrics of an earlier reading of the same swing, so that the same peaks are chosen.
    """
    place, step = events.place, events.step
    to_ms = step / MS
    impact, top = place["impact"], place["club_top"]
    parallel, release = place["shaft_parallel"], place["release"]
    out: dict[str, FloatArray | float] = {}

    out["backswing_ms"] = (top - place["takeaway"]) * to_ms
    out["downswing_ms"] = (impact - top) * to_ms
    out["tempo_ratio"] = (top - place["takeaway"]) / np.maximum(impact - top, 1e-9)
    out["overlap_ms"] = (top - place["arm_top"]) * to_ms
    out["release_ms"] = (impact - release) * to_ms
    out["release_onset_ms"] = (impact - place["onset"]) * to_ms

    hinges = value_at(events.hinge, np.array([impact, top, parallel])) / DEG
    out["hinge_max_deg"] = events.hinge_max / DEG
    out["hinge_at_impact_deg"], out["hinge_at_top_deg"], out["lag_at_parallel_deg"] = hinges
    out["hinge_at_impact_from_address_deg"] = hinges[0] - address_hinge(events) / DEG
    out["release_arm_angle_deg"] = _turn_in_plane(events, release, impact) / DEG

    axes = value_at(events.axes, np.array([parallel, impact]))
    rates = value_at(events.movements.rates, np.array([parallel, impact]))
    if window.kind == BALL:
        # A strike changes rates at once, directions not.
        rates[:, :, 1] = just_before(events.movements.rates, impact, GUARD / step, REACH / step)
    velocity = kin.head_velocity(axes, rates, arm_length, club_lever)
    level_speed, speed = kin.length(velocity)
    out["clubhead_speed_m_s"] = speed
    gained = speed - level_speed
    wrist_before, wrist = kin.wrist_speed(axes, rates, velocity, club_lever)
    # Asked only once: readings of slightly changed motions follow the first.
    worth = gained > LEAST_GAIN * speed if near is None else math.isfinite(near["wrist_share"])
    out["wrist_share"] = (wrist - wrist_before) / np.where(worth, gained, math.nan)
    shaft, club_rate = axes[:, 1, 1], rates[:, 1, 1]
    tolerance = settings.near_line_tolerance
    out.update(_near_line(kin.across(club_rate, shaft), events.normal, speed, tolerance))
    out.update(_roll(events, -kin.dot(club_rate, shaft)))
    out["plane_shift_deg"] = _plane_shift(events)
    out.update(_peaks(events, near))
    out["address_time_s"] = events.times(["takeaway"])[0] - window.settled
    out["waggle_count"] = float(window.waggles)

    numbers = np.empty((len(METRICS), len(impact)))
    for row, metric in enumerate(METRICS):
        numbers[row] = out[metric.name]
    lost = np.isnan([place[name] for name in _NEEDED])
    numbers[_NEED_TABLE @ lost] = math.nan
    return numbers


def why_missing(metric: str, events: SwingPlaces) -> str:
    """Why a metric could not be had from the first reading of a swing."""
    for event in _NEEDS[metric]:
        if math.isnan(events.place[event][0]):
            return events.why_not(event)
    return _OTHER_REASON.get(metric, "cannot be had from this swing")


def order_of_peaks(metrics: Mapping[str, float]) -> str:
    """Names of arm, wrist and club in the order in which their rates peak ("" when unknown)."""
    leads = {
        "arm": metrics["peak_arm_rate_ms"],
        "wrist": metrics["peak_hinge_rate_ms"],
        "club": metrics["peak_club_rate_ms"],
    }
    if math.isnan(leads["club"]):
        return ""
    return ", ".join(sorted(leads, key=lambda name: -leads[name]))


def _turn_in_plane(events: SwingPlaces, begin: FloatArray, end: FloatArray) -> FloatArray:
    directions = arm_directions(events, np.array([begin, end]))
    first, second = directions[:, 0], directions[:, 1]
    sine = kin.dot(events.normal, kin.cross(first, second))
    turn: FloatArray = np.arctan2(sine, kin.dot(first, second))
    return turn


def _near_line(
    turning: FloatArray, normal: FloatArray, speed: FloatArray, tolerance: float
) -> dict[str, FloatArray]:
    """Length and time of the head's local arc within ``tolerance`` of its tangent, seen from above.

    Local radius R = v/|ω|, ω (``turning``) the club's angular velocity across the shaft; a slope
    φ of the plane shortens the sideways part of the arc by cos φ: a = arccos(1 − τ/(R cos φ)).
    """
    slope = kin.inclination(turning, normal)
    radius = speed / np.maximum(kin.length(turning), 1e-12)
    sideways = 1.0 - tolerance / np.maximum(radius * np.abs(np.cos(slope)), 1e-12)
    half = np.arccos(np.where(sideways < -1.0, math.nan, sideways))
    return {
        "near_line_m": 2.0 * radius * np.sin(half),
        "near_line_ms": 2.0 * half * radius / np.maximum(speed, 1e-12) / MS,
    }


def _plane_shift(events: SwingPlaces) -> FloatArray:
    """(K,) ° tilt of the shaft's plane in the transition less that in the delivery."""
    top, parallel, impact = (
        events.place["club_top"],
        events.place["shaft_parallel"],
        events.place["impact"],
    )
    first = int(whole(top).min())
    turning = events.across[:, :, first : math.ceil(impact.max()) + 1]
    # Time-mean of the tilt; a club hardly turning, as at the top, has no plane and no weight.
    squared = kin.dot(turning, turning)
    weight = squared / (squared + LEAST_TURNING**2)
    tilt = np.array([kin.inclination(turning, events.normal[:, :, None]) * weight, weight])
    # A shaft level only before a late last change of direction counts from there.
    begin = np.array([top, np.maximum(parallel, top)]) - first
    end = np.array([top + TRANSITION_PART * (impact - top), impact]) - first
    means = mean_between(tilt, begin, end)
    early, delivery = means[0] / np.maximum(means[1], 1e-12)
    shift: FloatArray = early - delivery
    return shift / DEG


def _roll(events: SwingPlaces, closing: FloatArray) -> dict[str, FloatArray]:
    """Shaft roll at impact against address, and its rate; seen from the butt, leftward closes.

    closing : (K,) rad/s, the shaft's rate of roll at impact.
    """
    place = events.place
    middle = whole(np.rint(0.5 * (place["address_begin"] + place["address_end"])))
    rows, index = np.arange(len(middle)), whole(place["impact"])
    quats = events.movements.quats[:, 1]
    # From the sample before impact on, the shaft rolls at its rate there.
    turn = (place["impact"] - index) * events.step * closing
    roll = kin.twist(quats[:, rows, middle], quats[:, rows, index]) + turn
    return {"closure_rate_deg_s": closing / DEG, "closure_deg": roll / DEG}


RATES = ("hinge", "club", "arm")
"""Whose turning rates are searched for their peaks; the hinge's counts positive as it opens."""


def rate_series(events: SwingPlaces) -> tuple[int, FloatArray]:
    """In-plane rates of club and arm and opening rate of the hinge around the downswing.

    Gives the sample they begin with (the earliest of the club's tops), and (3, K, M) rad/s in
    the order of ``RATES`` from there to the last sample of impact.
    """
    first = int(whole(events.place["club_top"]).min())
    part = slice(first, int(whole(events.place["impact"]).max()) + 1)
    opening = -kin.hinge_rate(events.axes[..., part], events.movements.rates[..., part])
    return first, np.array([opening, events.club_rate[:, part], events.arm_rate[:, part]])


def _peaks(events: SwingPlaces, near: Mapping[str, float] | None) -> dict[str, FloatArray]:
    """Height and lead over impact of the rates' peaks."""
    impact = events.place["impact"]
    first, rates = rate_series(events)
    begin, stop = whole(events.place["club_top"]) - first, whole(impact) + 1 - first
    earlier = [math.nan if near is None else near[f"peak_{name}_rate_ms"] for name in RATES]
    hints = impact - first - np.array(earlier)[:, None] * MS / events.step
    where, heights = peak(rates, begin, stop, events.peak_reach, hints)
    leads = (impact - first - where) * events.step / MS
    found: dict[str, FloatArray] = {}
    for name, lead, height in zip(RATES, leads, heights, strict=True):
        found[f"peak_{name}_rate_deg_s"] = height / DEG
        found[f"peak_{name}_rate_ms"] = lead
    return found

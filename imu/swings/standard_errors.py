"""Standard error of every number of a swing: what the fit leaves open, the strike, and noise.

The errors of the motion (``imu.fusion.uncertainty``) are independent and of one sigma each, so a
number's variance is the sum of squares of its changes under them. The strike's time and the
lengths of club and arm add changes of their own; all changed readings are made at once. Noise of
the gyroscope adds to the times of events, and through them to durations. Events are read between
samples, so that the grid of samples adds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.columns import EVENTS, METRICS
from imu.fusion.movements import thinned
from imu.fusion.uncertainty import MotionErrors
from imu.settings import AnalysisSettings
from imu.swings.event_noise import event_noise
from imu.swings.measure import SwingMeasurement, read_swing
from imu.swings.rivals import rival_errors
from imu.types import Club, FloatArray, Motion, SwingWindow
from imu.units import MS

_BEFORE, _AFTER, _STRIDE = 0.4, 0.08, 3
_TAPE = 0.004
CLUB_LENGTH_ERROR, ARM_LENGTH_ERROR = math.hypot(_TAPE, _TAPE), 0.010
"""How well a club and an arm are measured, m; from wrist to head it takes the tape twice, for the
club's length and for the wrist's place over the grip."""
SETTLING_ERROR = 0.5
"""Settling over the ball is not a sharp moment, s."""
BEND_OF_RATE = 5.5
"""A shaft bends and springs back on the way down, and flesh gives: rates ripple by such a part for
each rad of the session's give."""
RIPPLE_OF_SHARE = 8.0
"""The same ripples move the wrist's share of the speed so far for each rad of give."""
FLAT_PEAK_S = {"peak_club_rate_ms": 1.9, "peak_arm_rate_ms": 2.2, "peak_hinge_rate_ms": 1.1}
"""Rates peak flatly, and the same ripples move the time of a peak so far, s for each rad of give.
As large as in simulated sessions of bending shafts and sliding skin (seeds 2000 to 2009)."""
FLAT_PEAK_FLOOR_MS = 0.3
STRIKE_DIFFERS = 0.5
"""Part of a strike's error that differs from swing to swing; the filter's share is always alike."""
TURN_MS = 0.15
"""A turn from back to forward is read in a plane; a plane a little off moves it so far, ms."""
_ITSELF, _LONGER_CLUB, _LONGER_ARM, _LATER_STRIKE, _FIRST_ERROR = range(5)
"""Rows of the stack of readings."""
TAKEAWAY_MS, TAKEAWAY_DIFFERS = 0.4, 0.5
"""The running mean that calms the rate before the takeaway moves it so far, and the part of that
which differs from swing to swing."""
FINISH_MS = 0.7
"""The club slows gently, so that a small error of its rate moves the finish so far."""
_READING_MS = {
    "takeaway": TAKEAWAY_MS,
    "arm_top": TURN_MS,
    "club_top": TURN_MS,
    "finish": FINISH_MS,
}
_DURATIONS = {
    "backswing_ms": ("takeaway", "club_top"),
    "downswing_ms": ("club_top", "impact"),
    "overlap_ms": ("arm_top", "club_top"),
    "release_ms": ("release", "impact"),
    "release_onset_ms": ("onset", "impact"),
}


@dataclass(frozen=True)
class Noise:
    """Random errors of the club sensor's readings.

    rate : rad/s, of one sample. delay : s, doubt of the low-pass filter's delay, shared by all
    events of a recording.
    """

    rate: float
    delay: float


def rate_noise(gyr: FloatArray) -> float:
    """Noise of one sample of a rate, rad/s: second differences of the quieter half of (N, 3)."""
    second = gyr[2:] - 2.0 * gyr[1:-1] + gyr[:-2]
    if not len(second):
        return 0.0
    return float(1.4826 * np.median(np.abs(second)) / math.sqrt(6.0))


@dataclass(frozen=True)
class StandardErrors:
    """Standard errors of one swing's numbers.

    metrics : of each metric, in its own unit. own : the part of it that differs from swing to
    swing; the rest shifts all swings of a recording alike. events : of each event's time, s.
    """

    metrics: Mapping[str, float]
    own: Mapping[str, float]
    events: Mapping[str, float]


def standard_errors(
    motion: Motion,
    window: SwingWindow,
    measured: SwingMeasurement,
    errors: MotionErrors,
    noise: Noise,
    club: Club,
    arm_length: float,
    settings: AnalysisSettings,
) -> StandardErrors:
    """Standard error of every metric and event of one swing.

    window : with the impact that ``measured`` was read with.
    """
    takeaway = measured.events["takeaway"]
    start = min(takeaway, window.takeaway) if math.isfinite(takeaway) else window.takeaway
    thin = thinned(motion, start - _BEFORE, window.impact + _AFTER, _STRIDE)

    # The swing itself, one change of length or time each, then the errors of its motion.
    moved = errors.act_on(thin, unmoved=_FIRST_ERROR)
    count = len(moved)
    club_lever = np.full(count, club.wrist_to_head)
    club_lever[_LONGER_CLUB] += CLUB_LENGTH_ERROR
    arm_lengths = np.full(count, arm_length)
    arm_lengths[_LONGER_ARM] += ARM_LENGTH_ERROR
    impact = np.full(count, window.impact)
    impact[_LATER_STRIKE] += window.impact_se
    read = read_swing(moved, window, impact, club_lever, arm_lengths, settings, measured)
    random = event_noise(measured.places, noise.rate)
    timing = {name: _known(value) for name, value in random.items()}

    names = [metric.name for metric in METRICS]
    known = np.isfinite(read.metrics[:, _ITSELF])
    changes = _changes(read.metrics)
    every = _root_sum(changes)
    by_strike = STRIKE_DIFFERS * changes[:, [_LATER_STRIKE]]
    own = _root_sum(np.hstack([changes[:, _FIRST_ERROR:] @ errors.own, by_strike]))
    metrics = _with_noise(dict(zip(names, every, strict=True)), measured, timing)
    swing_part = _with_noise(dict(zip(names, own, strict=True)), measured, timing)
    for name, doubt in rival_errors(measured, metrics).items():
        metrics[name] = math.hypot(metrics[name], doubt)
        swing_part[name] = math.hypot(swing_part[name], doubt)
    _widen_peaks(metrics, measured, errors.give)
    takeaway = TAKEAWAY_DIFFERS * TAKEAWAY_MS
    swing_part["backswing_ms"] = math.hypot(swing_part["backswing_ms"], takeaway)
    by_takeaway = measured.metrics["tempo_ratio"] * takeaway / _back_and_down(measured)[0]
    swing_part["tempo_ratio"] = math.hypot(swing_part["tempo_ratio"], by_takeaway)
    for part in (metrics, swing_part):
        part["wrist_share"] = math.hypot(part["wrist_share"], RIPPLE_OF_SHARE * errors.give)
        part["address_time_s"] = math.hypot(part["address_time_s"], SETTLING_ERROR)
        part.update({n: math.nan for n, sound in zip(names, known, strict=True) if not sound})
    events = {
        name: math.hypot(value, timing.get(name, 0.0), noise.delay, _READING_MS.get(name, 0.0) * MS)
        if math.isfinite(measured.events[name])
        else math.nan
        for name, value in zip(EVENTS, _root_sum(_changes(read.events)), strict=True)
    }
    return StandardErrors(metrics, swing_part, events)


def _back_and_down(measured: SwingMeasurement) -> tuple[float, float]:
    """ms back and down; NaN where a swing has none, for a ratio can't be taken of nothing."""
    back, down = measured.metrics["backswing_ms"], measured.metrics["downswing_ms"]
    return back or math.nan, down or math.nan


def _known(value: float | None) -> float:
    return value if value is not None and math.isfinite(value) else 0.0


def _with_noise(
    errors: dict[str, float], measured: SwingMeasurement, timing: Mapping[str, float]
) -> dict[str, float]:
    """Add the noise of events to the durations between them and to their ratio."""
    for name, (first, last) in _DURATIONS.items():
        begin, end = timing.get(first, 0.0) / MS, timing.get(last, 0.0) / MS
        errors[name] = math.hypot(errors[name], begin, end)
    back, down = _back_and_down(measured)
    ratio = measured.metrics["tempo_ratio"]
    start = timing.get("takeaway", 0.0) / MS / back
    top = timing.get("club_top", 0.0) / MS * (1.0 / back + 1.0 / down)
    errors["tempo_ratio"] = math.hypot(errors["tempo_ratio"], ratio * start, ratio * top)
    return errors


def _widen_peaks(errors: dict[str, float], measured: SwingMeasurement, give: float) -> None:
    """What bending, flat peaks and the plane of the turns add; much alike from swing to swing."""
    for name in ("peak_club_rate_deg_s", "peak_arm_rate_deg_s"):
        errors[name] = math.hypot(errors[name], BEND_OF_RATE * give * measured.metrics[name])
    for name, flat in FLAT_PEAK_S.items():
        errors[name] = math.hypot(errors[name], flat * give / MS, FLAT_PEAK_FLOOR_MS)
    back, down = _back_and_down(measured)
    for name in ("backswing_ms", "downswing_ms", "overlap_ms"):
        errors[name] = math.hypot(errors[name], TURN_MS)
    errors["backswing_ms"] = math.hypot(errors["backswing_ms"], TAKEAWAY_MS)
    ratio = measured.metrics["tempo_ratio"]
    by_turn = ratio * TURN_MS * (1.0 / back + 1.0 / down)
    errors["tempo_ratio"] = math.hypot(errors["tempo_ratio"], by_turn, ratio * TAKEAWAY_MS / back)


def _changes(readings: FloatArray) -> FloatArray:
    """(C, K) changes of C numbers in K readings against the first; 0 where one can't be read."""
    return np.nan_to_num(readings - readings[:, [_ITSELF]], nan=0.0)


def _root_sum(changes: FloatArray) -> list[float]:
    """Root of the sum of squares along the rows."""
    return [float(value) for value in np.sqrt(np.sum(changes**2, axis=1))]

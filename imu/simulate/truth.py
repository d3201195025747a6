"""What really happened in a simulated swing, by the project's definitions.

Worked out from the exact movement, apart from the analysis, so that the two can be compared.
Orientations and signs are those of a right-handed player; a left-handed one is the mirror image.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from imu.simulate.golfer import SwingTimes
from imu.simulate.kinematics import Body
from imu.types import BALL, FloatArray
from imu.units import DEG, MS

TAKEAWAY_RATE = 0.25
"""rad/s of the club: takeaway is where it first turns as fast on its lasting way back."""

FINISH_RATE = 1.0
"""rad/s of the club: below it the swing is over."""

RELEASE_OPENING = 10.0 * DEG
LINE_TOLERANCE = 0.02

_STEP = 0.5 * MS
_CURVE_STEP = 1.0 * MS


@dataclass(frozen=True, eq=False)
class SwingTruth:
    """One swing. ``events`` s of true time by name of ``imu.columns.EVENTS``; ``values`` by name
    of metric; ``curves`` one row a millisecond, columns of ``imu.columns.CURVE_COLUMNS`` as far
    as they are known, ``t_s`` in true time. Quaternions turn the segment axes of ``kinematics``
    (not those of ``imu.types``) to world axes."""

    events: Mapping[str, float]
    values: Mapping[str, float]
    curves: pd.DataFrame


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.einsum("...i,...i->...", a, b)


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else float("nan")


def _crossing(time: FloatArray, value: FloatArray, index: int) -> float:
    """Time between samples ``index`` and ``index + 1`` at which ``value`` is zero."""
    low, high = value[index], value[index + 1]
    return float(time[index] - low * (time[index + 1] - time[index]) / (high - low))


def _last_rise(time: FloatArray, value: FloatArray, before: float) -> float:
    """Last change from negative to positive before a time; NaN without one."""
    (where,) = np.nonzero((value[:-1] <= 0.0) & (value[1:] > 0.0) & (time[1:] <= before))
    return _crossing(time, value, int(where[-1])) if where.size else float("nan")


class _Swing:
    """The movement of one swing on a fine grid."""

    def __init__(self, body: Body, start: float, impact: float, end: float) -> None:
        before, after = round((impact - start) / _STEP), round((end - impact) / _STEP)
        self.time: FloatArray = impact + np.arange(-before, after, dtype=np.float64) * _STEP
        state = body.at(self.time)
        self.state = state
        self.arm, self.shaft = -state.forearm.axis(1), -state.club.axis(1)
        self.forearm, self.club = state.forearm.orientation(), state.club.orientation()
        self.arm_rate = self.forearm.apply(state.forearm.rate)
        self.club_rate = self.club.apply(state.club.rate)
        self.across = self.club_rate - self.shaft * _dot(self.club_rate, self.shaft)[:, None]
        self.hinge = np.arccos(np.clip(_dot(self.arm, self.shaft), -1.0, 1.0))
        turning = _dot(self.club_rate - self.arm_rate, np.cross(self.arm, self.shaft))
        self.hinge_rate = turning / np.maximum(np.sin(self.hinge), 1e-9)

    def at(self, values: FloatArray, time: float) -> float:
        """Linear interpolation at one time."""
        return float(np.interp(time, self.time, values))


def _nearest_return(swing: _Swing, address: FloatArray, around: float) -> float:
    """When the shaft is nearest to its address direction (vertex of a parabola), s."""
    (near,) = np.nonzero(np.abs(swing.time - around) < 0.06)
    gap = np.linalg.norm(swing.shaft[near] - address, axis=1) ** 2
    at = int(np.clip(np.argmin(gap), 1, len(near) - 2))
    low, middle, high = gap[at - 1 : at + 2]
    shift = 0.5 * (low - high) / (low - 2.0 * middle + high)
    return float(swing.time[near[at]] + shift * _STEP)


def measure_swing(
    body: Body, times: SwingTimes, kind: str, arm_length: float, wrist_to_head: float
) -> SwingTruth:
    """Events, metrics and curves of one built swing (see ``golfer.add_swing``).

    arm_length : m, hub to wrist. wrist_to_head : m, of the club in hand.
    """
    swing = _Swing(body, times.takeaway - 0.25, times.impact, times.finish + 0.6)
    time = swing.time
    rate = np.linalg.norm(swing.club_rate, axis=1)
    address = swing.shaft[int(np.argmin(np.abs(time - times.takeaway + 0.05)))]

    impact = times.impact
    if kind != BALL:
        impact = _nearest_return(swing, address, impact)
    down = (time > times.arm_top - 0.3) & (time < impact)
    falls = down[:-1] & (swing.shaft[:-1, 2] > 0.0) & (swing.shaft[1:, 2] <= 0.0)
    (level,) = np.nonzero(falls & (time[:-1] > times.club_top - 0.1))
    parallel = _crossing(time, swing.shaft[:, 2], int(level[-1])) if level.size else float("nan")
    first = parallel if level.size else impact - 0.05
    span = (time >= first) & (time <= impact)
    directions = swing.across[span] / np.linalg.norm(swing.across[span], axis=1)[:, None]
    normal = directions.mean(axis=0)
    normal /= np.linalg.norm(normal)
    # The shaft's roll about itself turns the club in no plane, so it is left out.
    arm_in, club_in = swing.arm_rate @ normal, swing.across @ normal

    club_top = _last_rise(time, club_in, impact - 0.05)
    arm_top = _last_rise(time, arm_in, impact - 0.05)
    moving = (time > times.takeaway) & (rate >= TAKEAWAY_RATE)
    takeaway = float(time[int(np.argmax(moving))])
    downswing = (time >= club_top) & (time <= impact)
    (inside,) = np.nonzero(downswing)
    peak = inside[int(np.argmax(swing.hinge[inside]))]
    threshold = swing.hinge - (swing.hinge[peak] - RELEASE_OPENING)
    (opened,) = np.nonzero(threshold[peak:] < 0.0)
    release = (
        _crossing(time, threshold, int(peak + opened[0] - 1))
        if opened.size and time[peak + opened[0]] <= impact + _STEP
        else float("nan")
    )
    (slow,) = np.nonzero((time > impact + 0.05) & (rate < FINISH_RATE))
    events = {
        "takeaway": takeaway,
        "arm_top": arm_top,
        "club_top": club_top,
        "release": release,
        "shaft_parallel": parallel,
        "impact": impact,
        "finish": float(time[slow[0]]) if slow.size else float("nan"),
    }
    values = _values(swing, events, normal, arm_in, club_in, peak, arm_length, wrist_to_head)
    address_time = times.takeaway - 0.05
    values["hinge_at_impact_from_address_deg"] = float(
        (swing.at(swing.hinge, impact) - swing.at(swing.hinge, address_time)) / DEG
    )
    start, end = (int(np.argmin(np.abs(time - t))) for t in (address_time, impact))
    turn = swing.club[end] * swing.club[start].inv()
    # Rotation carrying the shaft from address to impact, then the roll left about the shaft.
    swing_axis = np.cross(swing.shaft[start], swing.shaft[end])
    cosine = float(swing.shaft[start] @ swing.shaft[end])
    volar = swing.club[start].apply([1.0, 0.0, 0.0])
    carried = (
        volar * cosine
        + np.cross(swing_axis, volar)
        + swing_axis * (swing_axis @ volar) / (1.0 + cosine)
    )
    rolled = turn.apply(volar)
    long = -swing.shaft[end]
    values["closure_deg"] = float(
        np.arctan2(np.cross(carried, rolled) @ long, carried @ rolled) / DEG
    )
    return SwingTruth(events, values, _curves(swing, impact, arm_in, club_in))


def _values(
    swing: _Swing,
    events: Mapping[str, float],
    normal: FloatArray,
    arm_in: FloatArray,
    club_in: FloatArray,
    peak: int,
    arm_length: float,
    wrist_to_head: float,
) -> dict[str, float]:
    """Metrics by name, in the units of ``imu.columns``."""
    time, impact, top = swing.time, events["impact"], events["club_top"]
    parallel, release = events["shaft_parallel"], events["release"]
    velocity = np.cross(swing.arm_rate, arm_length * swing.arm) + np.cross(
        swing.club_rate, wrist_to_head * swing.shaft
    )
    speed = np.linalg.norm(velocity, axis=1)
    wrist = _dot(
        np.cross(swing.club_rate - swing.arm_rate, wrist_to_head * swing.shaft), velocity
    ) / np.maximum(speed, 1e-9)
    gained = swing.at(speed, impact) - swing.at(speed, parallel)

    length = np.linalg.norm(swing.across, axis=1)
    upright = swing.across * np.sign(swing.across @ normal)[:, None]
    elevation = np.arcsin(np.clip(upright[:, 2] / np.maximum(length, 1e-9), -1.0, 1.0))
    inclination = 90.0 - elevation / DEG
    early = (time >= top) & (time <= top + 0.3 * (impact - top))
    late = (time >= parallel) & (time <= impact)

    down = (time >= top) & (time <= impact)
    opening = np.where(down, -swing.hinge_rate, -np.inf)
    club, arm = np.where(down, club_in, -np.inf), np.where(down, arm_in, -np.inf)
    at_impact = float(swing.at(speed, impact))
    radius = at_impact / float(swing.at(length, impact))
    slope = float(swing.at(inclination, impact)) * DEG
    half = float(np.arccos(1.0 - LINE_TOLERANCE / (radius * np.cos(slope))))
    long_rate = -_dot(swing.club_rate, swing.shaft)
    first, second = (
        np.array([swing.at(swing.arm[:, axis], t) for axis in range(3)]) for t in (release, impact)
    )
    turned = np.arctan2(
        normal @ np.cross(first, second), _flat(first, normal) @ _flat(second, normal)
    )
    return {
        "backswing_ms": (top - events["takeaway"]) / MS,
        "downswing_ms": (impact - top) / MS,
        "tempo_ratio": (top - events["takeaway"]) / (impact - top),
        "overlap_ms": (top - events["arm_top"]) / MS,
        "release_ms": (impact - release) / MS,
        "release_onset_ms": (impact - float(time[peak])) / MS,
        "release_arm_angle_deg": float(turned) / DEG,
        "lag_at_parallel_deg": float(swing.at(swing.hinge, parallel)) / DEG,
        "hinge_max_deg": float(swing.hinge[peak]) / DEG,
        "hinge_at_top_deg": float(swing.at(swing.hinge, top)) / DEG,
        "hinge_at_impact_deg": float(swing.at(swing.hinge, impact)) / DEG,
        "wrist_share": float((swing.at(wrist, impact) - swing.at(wrist, parallel)) / gained),
        "plane_shift_deg": _mean(inclination[early]) - _mean(inclination[late]),
        "near_line_m": 2.0 * radius * float(np.sin(half)),
        "near_line_ms": 2.0 * half * radius / at_impact / MS,
        "peak_hinge_rate_deg_s": float(opening.max()) / DEG,
        "peak_hinge_rate_ms": (impact - float(time[int(opening.argmax())])) / MS,
        "peak_club_rate_deg_s": float(club.max()) / DEG,
        "peak_club_rate_ms": (impact - float(time[int(club.argmax())])) / MS,
        "peak_arm_rate_deg_s": float(arm.max()) / DEG,
        "peak_arm_rate_ms": (impact - float(time[int(arm.argmax())])) / MS,
        "clubhead_speed_m_s": at_impact,
        "closure_rate_deg_s": float(swing.at(long_rate, impact)) / DEG,
    }


def _flat(vector: FloatArray, normal: FloatArray) -> FloatArray:
    """Part of a vector in the plane across ``normal``."""
    return np.asarray(vector - (vector @ normal) * normal)


def _curves(swing: _Swing, impact: float, arm_in: FloatArray, club_in: FloatArray) -> pd.DataFrame:
    """The curve table in true time, one row a millisecond."""
    take = slice(None, None, round(_CURVE_STEP / _STEP))
    forearm, club = swing.forearm[take], swing.club[take]
    arm_quaternion = forearm.as_quat(canonical=False)
    club_quaternion = club.as_quat(canonical=False)
    bend = (forearm.inv() * club).as_rotvec()
    table = {
        "t_s": swing.time[take],
        "t_from_impact_s": swing.time[take] - impact,
        "hinge_deg": swing.hinge[take] / DEG,
        "ulnar_deviation_deg": -bend[:, 0] / DEG,
        "flexion_deg": bend[:, 2] / DEG,
        "hinge_rate_deg_s": swing.hinge_rate[take] / DEG,
        "arm_rate_deg_s": arm_in[take] / DEG,
        "club_rate_deg_s": club_in[take] / DEG,
    }
    for name, quaternion in (("arm", arm_quaternion), ("club", club_quaternion)):
        for index, axis in enumerate("wxyz"):
            table[f"{name}_q{axis}"] = quaternion[:, (index - 1) % 4]
    return pd.DataFrame(table)

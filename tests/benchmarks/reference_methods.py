"""Other ways to a hinge angle from the same streams, each set up as well as it allows.

All take each segment's long axis in its sensor (nominal: the sensor's x, or the true one), the
swings' windows as the project's finder gives them, and the gyroscopes' biases read at rest.

* ``whole_stream``: the general-purpose filter ``vqf`` (Laidig & Seel 2023, Information Fusion
  91:187-204) run over each whole stream, real-time or offline. Its headings are arbitrary, so at
  each address arm and shaft are laid into one vertical plane.
* ``joint_filter``: ``dfjimu``, an implementation of Weygers & Kok (2020, IEEE Sens J 20:7969-7978):
  the joint's shared acceleration in a filter (MEKF) or a smoother (MAP), swing by swing from the
  address to impact. It needs both lever arms, and is given the **true** ones. It knows one
  starting orientation for both sensors: the club's samples and lever are turned beforehand so
  that they share it.
* ``plain``: tilt from the accelerometers at address, arm and shaft in one vertical plane there,
  rates summed up from then on, clocks brought together at the strike.

``vqf`` and ``dfjimu`` both sum the rates as steps, and so stand half a sample late or early; their
answers are dated accordingly.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from importlib.util import find_spec

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator

from imu.fusion.quaternion import between_directions, conjugate, from_rotvec, multiply, rotate
from imu.fusion.rotation_scan import integrate_rates
from imu.types import BALL, CLUB, FOREARM, FloatArray, Stream, SwingWindow

ROLES = (FOREARM, CLUB)
LONG_AXIS = np.array([1.0, 0.0, 0.0])
"""Nominal distal axis in either sensor."""
UP = np.array([0.0, 0.0, 1.0])
ADDRESS = (-0.35, -0.05)
"""s about the rough takeaway in which the address is read."""
NO_BALL = 0.06
STEP = 1e-3
RATE_SIGMA, START_SIGMA, MOST_STEPS = 0.003, 0.1, 50
LINK_SIGMA = {"MEKF": (3.0, 300.0), "MAP": (100.0, 1000.0)}
"""Of ``dfjimu``: rad/s, rad, MAP's most steps, and m/s² of the link: in swings where no
accelerometer clipped, and where one did. The best of a grid of some 50 on sessions of other seeds
(500 and 501 of each profile) than are reported."""
ACC_TIME = 3.0
"""s, ``vqf``'s time constant for inclination: its default, and the best of 1 to 10 s."""


@dataclass(frozen=True, eq=False)
class Material:
    """What every method gets: streams in recording time, windows, and by role (3,) the bias, the
    true lever arm from the wrist and the segment's distal axis in the sensor."""

    streams: Mapping[str, Stream]
    windows: Sequence[SwingWindow]
    bias: Mapping[str, FloatArray]
    lever: Mapping[str, FloatArray]
    axis: Mapping[str, FloatArray]


@dataclass(frozen=True, eq=False)
class HingeCurve:
    """Hinge (N,) rad at recording times (N,) s of one swing."""

    time: FloatArray
    hinge: FloatArray


def installed(package: str) -> str | None:
    """Version of a package, None when it is not there."""
    return metadata.version(package) if find_spec(package) else None


def _angle(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.arctan2(np.linalg.norm(np.cross(a, b), axis=-1), np.sum(a * b, axis=-1))


def _swing_time(window: SwingWindow) -> FloatArray:
    """Even times of a swing, from its address to its impact and ending there: the strike would
    spoil what follows. Without a ball the impact is known roughly only; nothing shakes after it."""
    end = window.impact if window.kind == BALL else window.impact + NO_BALL
    count = int((end - window.takeaway - sum(ADDRESS) / 2.0) / STEP)
    return end - STEP * np.arange(count, -1, -1)


def _coplanar(arm: FloatArray, shaft: FloatArray, address: np.ndarray) -> FloatArray:
    """Turn about the vertical (a quaternion) that lays the shaft in the arm's vertical plane."""
    first, second = arm[address].mean(axis=0), shaft[address].mean(axis=0)
    yaw = np.arctan2(first[1], first[0]) - np.arctan2(second[1], second[0])
    return from_rotvec(yaw * UP)


def whole_stream(material: Material, offline: bool) -> list[HingeCurve]:
    """``vqf`` over each whole stream."""
    import vqf

    axes = {}
    for role in ROLES:
        stream = material.streams[role]
        period = 1.0 / stream.rate_hz
        even = np.arange(stream.time[0], stream.time[-1], period)
        read = PchipInterpolator(stream.time, np.hstack([stream.acc, stream.gyr]))(even)
        acc, gyr = np.ascontiguousarray(read[:, :3]), np.ascontiguousarray(read[:, 3:])
        if offline:
            found = vqf.offlineVQF(gyr, acc, None, period, {"tauAcc": ACC_TIME})["quat6D"]
        else:
            found = vqf.VQF(period, tauAcc=ACC_TIME).updateBatch(gyr, acc)["quat6D"]
        axes[role] = (even + 0.5 * period, rotate(found, material.axis[role]))
    curves = []
    for window in material.windows:
        time = np.arange(window.takeaway + ADDRESS[0], window.impact + NO_BALL, STEP)
        arm, shaft = (_read(*axes[role], time) for role in ROLES)
        shaft = rotate(_coplanar(arm, shaft, time < window.takeaway + ADDRESS[1]), shaft)
        curves.append(HingeCurve(time, _angle(arm, shaft)))
    return curves


def _read(known: FloatArray, values: FloatArray, time: FloatArray) -> FloatArray:
    """Values (N, K) read at other times by a spline through those near."""
    first, last = np.searchsorted(known, [time[0] - 0.1, time[-1] + 0.1])
    return CubicSpline(known[first:last], values[first:last])(time)


def _level(stream: Stream, window: SwingWindow) -> FloatArray:
    """Orientation (4,) at address from the mean force there, heading arbitrary."""
    first, last = np.searchsorted(stream.time, [window.takeaway + at for at in ADDRESS])
    return between_directions(stream.acc[first:last].mean(axis=0), UP)


def _starts(material: Material, window: SwingWindow) -> dict[str, FloatArray]:
    """Orientations (4,) at address: level, arm and shaft in one vertical plane."""
    start = {role: _level(material.streams[role], window) for role in ROLES}
    arm, shaft = (rotate(start[role], material.axis[role])[None] for role in ROLES)
    start[CLUB] = multiply(_coplanar(arm, shaft, np.array([True])), start[CLUB])
    return start


def plain(material: Material, strike_sync: bool) -> list[HingeCurve]:
    """Per-swing integration from the address."""
    late = _strike_lag(material) if strike_sync else 0.0
    curves = []
    for window in material.windows:
        time = _swing_time(window)
        start = _starts(material, window)
        axes = []
        for role in ROLES:
            stream = material.streams[role]
            shift = late if role == FOREARM else 0.0
            rate = _read(stream.time, stream.gyr, time + shift) - material.bias[role]
            turned = multiply(start[role], integrate_rates(time, rate))
            axes.append(rotate(turned, material.axis[role]))
        curves.append(HingeCurve(time, _angle(*axes)))
    return curves


def _strike_lag(material: Material) -> float:
    """How much later the forearm's stream has the strike than the club's: median of ball swings.

    The strike begins where the acceleration's second difference, to which the swing itself adds
    little, first reaches a third of its greatest within 20 ms of the window's impact.
    """
    lags = []
    for window in material.windows:
        onsets = [_strike_onset(material.streams[role], window.impact) for role in ROLES]
        if window.kind == BALL:
            lags.append(onsets[0] - onsets[1])
    known = np.array(lags)[np.isfinite(lags)]
    return float(np.median(known)) if len(known) else 0.0


def _strike_onset(stream: Stream, near: float) -> float:
    """s; NaN where samples are missing."""
    first, last = np.searchsorted(stream.time, [near - 0.02, near + 0.02])
    if last - first < 5:
        return float("nan")
    jolt = np.linalg.norm(np.diff(stream.acc[first:last], n=2, axis=0), axis=1)
    at = first + 2 + int(np.argmax(jolt > jolt.max() / 3.0))
    return float(0.5 * (stream.time[at] + stream.time[at - 1]))


def joint_filter(material: Material, smoother: bool) -> list[HingeCurve]:
    """``dfjimu``: MAP when ``smoother``, else MEKF."""
    import dfjimu

    curves = []
    for window in material.windows:
        time = _swing_time(window)
        start = _starts(material, window)
        # Turned so, the club stands as the forearm does at the start.
        shared = multiply(conjugate(start[FOREARM]), start[CLUB])
        signals = {}
        clipped = False
        for role in ROLES:
            stream = material.streams[role]
            inside = (stream.time > time[0]) & (stream.time < time[-1])
            clipped |= bool(np.any(np.abs(stream.acc[inside]) > 0.97 * stream.acc_range))
            read = _read(stream.time, np.hstack([stream.acc, stream.gyr]), time)
            acc, gyr, lever = read[:, :3], read[:, 3:] - material.bias[role], material.lever[role]
            if role == CLUB:
                acc, gyr, lever = (rotate(shared, values) for values in (acc, gyr, lever))
            signals[role] = (np.ascontiguousarray(gyr), np.ascontiguousarray(acc), lever)
        (gyr1, acc1, lever1), (gyr2, acc2, lever2) = (signals[role] for role in ROLES)
        common = (gyr1, gyr2, acc1, acc2, lever1, lever2, 1.0 / STEP, start[FOREARM])
        link = LINK_SIGMA["MAP" if smoother else "MEKF"][int(clipped)]
        if smoother:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", dfjimu.ConvergenceWarning)
                first, second = dfjimu.map_acc(
                    *common,
                    cov_w=RATE_SIGMA**2 * np.eye(6),
                    cov_i=START_SIGMA**2 * np.eye(3),
                    cov_lnk=link**2 * np.eye(3),
                    iterations=MOST_STEPS,
                )
        else:
            first, second = dfjimu.mekf_acc(
                *common,
                Q_cov=np.full(6, RATE_SIGMA**2),
                R_diag=link**2,
                P_init_diag=START_SIGMA**2,
            )
        arm = rotate(first, material.axis[FOREARM])
        shaft = rotate(second, rotate(shared, material.axis[CLUB]))
        curves.append(HingeCurve(time - 0.5 * STEP, _angle(arm, shaft)))
    return curves

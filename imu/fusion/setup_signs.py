"""What each swing shows of the set-up: signs that do not depend on the set-up being right.

All are read from the two sensors' tracks after the fit (``imu.fusion.track``):

* *sense*: the vertical part of the club's turning in the delivery. Seen from above, a
  right-handed player's club comes through anticlockwise (positive), a left-handed player's
  clockwise; left-handers' streams are mirrored before the fit, so it must be positive always.
* *rate ratio*: peak turning across the long axis, club over forearm. The wrist opens in the
  downswing and adds to the arm's turning (double pendulum), so the club's is the greater.
* *turning*: peak turning of each sensor about any axis: one that lies in the bag does not turn.
* *give*: the angle between the two sensors' forces at the wrist in the downswing
  (``imu.fusion.joint``), averaged over short spans. Rigid seats leave some tenths of a degree.
* *roughness*: what is left of the turning across the long axis when all slower than about 20 Hz
  is taken off. Limbs do not move so fast; a sensor shaking on its strap does.
* *address*: the angle about the shaft between the sensors' seats at address, and *thumb*: the
  side of the forearm's sensor on which the shaft stands at the greatest hinge. When the club's
  sensor turns on the shaft only the first steps; when the forearm's turns, both step oppositely.
* *strike twist*: turn about the long axis within the strike beyond the swing's own.
* *lie*: inclination of the shaft at address, which differs from club to club.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.fusion.axes import Mounting
from imu.fusion.joint import force_angle
from imu.fusion.parameters import Shared
from imu.fusion.quaternion import rotate_back
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.track import Track
from imu.types import CLUB, FOREARM, FloatArray

_DELIVERY = (-0.08, -0.005)
"""s from impact in which the sense of the delivery is read."""
_SHORT_SPAN = 0.024
"""s over which forces are averaged before they are compared."""
_SLOW_SPAN = 0.021
_CLEAR_OF_STRIKE = 0.02
"""s of the running mean that takes off what is slow, and s before the strike where it ends."""
_STRIKE = (-0.004, 0.036)
_STRIKE_EDGE = 3
"""s from impact that a strike's twist takes, and samples beside it that tell the usual rate."""
_LEAST_HINGE = 0.5
"""rad of hinge without which the shaft stands on no side."""
_NEVER = float("nan")


@dataclass(frozen=True)
class SwingSigns:
    """Signs of one swing. Angles in rad; NaN where a sign can't be read.

    sense : vertical share of the club's turning, -1 to 1. rate_ratio : club over forearm.
    rate : rad/s, the club's nearly greatest across the shaft before impact. turning : rad/s by
    role, nearly the greatest before impact.
    give : rad. roughness : rad/s by role. address, thumb, lie : as in the head of this module.
    strike_twist : rad by role.
    """

    sense: float
    rate_ratio: float
    rate: float
    turning: Mapping[str, float]
    give: float
    roughness: Mapping[str, float]
    address: float
    thumb: float
    lie: float
    strike_twist: Mapping[str, float]


def read_signs(
    samples: SwingSamples, tracks: Mapping[str, Track], shared: Shared, mounted: Mounting
) -> SwingSigns:
    """Read one swing's signs from its tracks (on any uniform base of some milliseconds)."""
    window, time = samples.window, tracks[CLUB].time
    axes = {role: mounted.axes[role].axis for role in SENSORS}
    top, impact, takeaway = np.searchsorted(time, [window.top, window.impact, window.takeaway])
    down = slice(int(top), max(int(impact), int(top) + 2))
    across = {r: _across(tracks[r].rate, axes[r]) for r in SENSORS}
    start = min(int(takeaway), len(time) - 1)
    address, lie = _at_address(tracks, mounted, start)
    arm_rate, club_rate = (_peak(across[r], top, impact) for r in SENSORS)
    return SwingSigns(
        sense=_sense(tracks[CLUB], window.impact),
        rate_ratio=club_rate / max(arm_rate, 0.1),
        rate=club_rate,
        turning={r: _peak(tracks[r].rate, top, impact) for r in SENSORS},
        give=_give(samples, tracks, shared, down),
        roughness={r: _roughness(time, across[r], down) for r in SENSORS},
        address=address,
        thumb=_thumb(tracks, mounted, down),
        lie=lie,
        strike_twist={r: _twist(tracks[r], axes[r], window.impact) for r in SENSORS},
    )


def wrapped(angle: FloatArray) -> FloatArray:
    """Angles brought to -π … π."""
    return np.asarray(np.mod(angle + np.pi, 2.0 * np.pi) - np.pi, dtype=np.float64)


def _across(rate: FloatArray, axis: FloatArray) -> FloatArray:
    return np.asarray(rate - (rate @ axis)[:, None] * axis, dtype=np.float64)


def _peak(rate: FloatArray, top: int, impact: int) -> float:
    """Nearly the greatest of the size between top and impact."""
    part = rate[top : max(impact, top + 2)]
    if len(part) == 0:
        return _NEVER
    return float(np.percentile(np.linalg.norm(part, axis=1), 98.0))


def _sense(track: Track, impact: float) -> float:
    first, last = np.searchsorted(track.time, [impact + _DELIVERY[0], impact + _DELIVERY[1]])
    if last <= first:
        return _NEVER
    rows = slice(int(first), int(last))
    vertical = rotate_back(track.orientation[rows], [0.0, 0.0, 1.0])
    rate = track.rate[rows]
    share = np.einsum("ni,ni->n", vertical, rate) / np.linalg.norm(rate, axis=1)
    return float(np.median(share))


def _running_mean(values: FloatArray, span: int) -> FloatArray:
    total = np.cumsum(np.vstack([np.zeros((1, values.shape[1])), values]), axis=0)
    return np.asarray((total[span:] - total[:-span]) / span, dtype=np.float64)


def _give(samples: SwingSamples, tracks: Mapping[str, Track], shared: Shared, down: slice) -> float:
    time = tracks[CLUB].time[down]
    step = samples.step if len(time) < 2 else float(time[1] - time[0])
    span = max(1, round(_SHORT_SPAN / step))
    if len(time) < 2 * span:
        return _NEVER
    shift = shared.at(time)
    good = samples.usable(time, shift)
    for role in SENSORS:
        good &= ~samples.clipped_axes(role, time, shift).any(axis=1)
    error = tracks[FOREARM].wrist[down] - tracks[CLUB].wrist[down]
    size = sum(np.linalg.norm(tracks[role].force[down], axis=1) for role in SENSORS)
    table = _running_mean(np.column_stack([error, size, good]), span)
    whole = table[:, 4] > 0.99
    if not whole.any():
        return _NEVER
    return float(np.median(force_angle(table[whole, :3], table[whole, 3])))


def _roughness(time: FloatArray, across: FloatArray, down: slice) -> float:
    span = max(3, round(_SLOW_SPAN / float(time[1] - time[0])))
    first, last = down.start, down.stop - span - round(_CLEAR_OF_STRIKE / float(time[1] - time[0]))
    if first < span or last - first < 2 * span or last + span > len(time):
        return _NEVER
    slow = _running_mean(_running_mean(across[first - span + 1 : last + span - 1], span), span)
    return float(np.sqrt(np.mean(np.sum((across[first:last] - slow) ** 2, axis=1))))


def _angle(matrix: FloatArray, vector: FloatArray) -> float:
    """Angle about the long axis of a vector in sensor axes, from the segment's thumb side."""
    x, _, z = matrix @ vector
    return float(np.arctan2(x, z))


def _at_address(tracks: Mapping[str, Track], mounted: Mounting, row: int) -> tuple[float, float]:
    arm, club = (tracks[role].matrix_at(row) for role in (FOREARM, CLUB))
    matrix = mounted.matrix
    thumb = club.T @ (arm @ matrix[FOREARM][2])
    shaft = club @ mounted.axes[CLUB].axis
    return _angle(matrix[CLUB], thumb), float(np.arcsin(np.clip(-shaft[2], -1.0, 1.0)))


def _thumb(tracks: Mapping[str, Track], mounted: Mounting, down: slice) -> float:
    """Side of the shaft at the greatest hinge, at the top or soon after."""
    matrix = mounted.matrix
    arm, club = (tracks[role].matrix(down) for role in (FOREARM, CLUB))
    seen = np.einsum("nji,nj->ni", arm, club @ mounted.axes[CLUB].axis)
    along = seen @ mounted.axes[FOREARM].axis
    widest = int(np.argmin(along))
    if np.arccos(np.clip(along[widest], -1.0, 1.0)) < _LEAST_HINGE:
        return _NEVER
    return _angle(matrix[FOREARM], seen[widest])


def _twist(track: Track, axis: FloatArray, impact: float) -> float:
    time = track.time
    first, last = np.searchsorted(time, [impact + _STRIKE[0], impact + _STRIKE[1]])
    first, last = int(first), int(last)
    if first < _STRIKE_EDGE or last + _STRIKE_EDGE > len(time):
        return _NEVER
    roll = track.rate[first - _STRIKE_EDGE : last + _STRIKE_EDGE] @ axis
    begin, end = roll[:_STRIKE_EDGE].mean(), roll[-_STRIKE_EDGE:].mean()
    inside = roll[_STRIKE_EDGE:-_STRIKE_EDGE]
    usual = np.linspace(begin, end, len(inside))
    return float(np.sum(inside - usual) * (time[1] - time[0]))

"""Short-block sums of one sensor's stream, in the almost-inertial frame of its integrated rates.

Turning the specific force by the integrated rates leaves a frame that drifts only as the
gyroscope errs (Laidig & Seel 2023, Information Fusion 91:187-204). Over blocks of some 0.1 s the
drift is negligible, so block means of force, rotation and their products carry all that a tilt
smoother needs, and the work per sample is a fixed handful of multiplications.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imu.fusion.rotation_scan import integrate_rates
from imu.types import BoolArray, FloatArray, IntArray

_CHUNK = 16384  # samples

RATE_PARAMETERS = 12
"""Rate error: offset (3), then matrix row by row (9): δω = offset + matrix·ω."""

FORCE_PARAMETERS = 6
"""Force error: offset (3) and scale (3): δf = offset + scale·f."""


@dataclass(frozen=True, eq=False)
class GravityBlocks:
    """K blocks between K + 1 knots. Drifting frame: the sensor frame at the first sample.

    orientation : (N, 4) integrated rates, sensor to drifting frame. knots : (K + 1,) s.
    force : (K, 3) m/s², mean specific force in the drifting frame. force_rms : (K,) m/s², its
    spread within the block. turn : (K,) rad, path of the rotation in the block.
    rate_columns : (K, 3, 12) rad per unit of each rate parameter over the block.
    force_columns : (K, 3, 6) mean force per unit of each force parameter.
    blind : (K, 2) s without trustworthy samples, of force and of rate.
    """

    orientation: FloatArray
    knots: FloatArray
    force: FloatArray
    force_rms: FloatArray
    turn: FloatArray
    rate_columns: FloatArray
    force_columns: FloatArray
    blind: FloatArray

    @property
    def duration(self) -> FloatArray:
        """(K,) s."""
        return np.diff(self.knots)


def gravity_blocks(
    time: FloatArray,
    acc: FloatArray,
    gyr: FloatArray,
    length: float,
    doubtful: BoolArray | None = None,
) -> GravityBlocks:
    """Cut a stream in blocks of about ``length`` s and sum what the smoother needs.

    time : (N,) s. acc : (N, 3) m/s². gyr : (N, 3) rad/s. doubtful : (N, 2) samples of
    acc, of gyr, not to be trusted (clipped, bridged); they and gaps count as ``blind`` time.
    """
    orientation = integrate_rates(time, gyr)
    step = np.diff(time)
    usual = float(np.median(step))
    # A quarter of a sample early, so that rounding of the clock cannot move a sample across.
    number = np.floor((time - time[0] + 0.25 * usual) / length)
    start = np.concatenate([[0], np.flatnonzero(np.diff(number)) + 1])
    # A knot stands half-way between the samples beside it, so each sample owns its own interval
    # and the mean of a block's samples is the midpoint rule.
    middle = 0.5 * (time[start[1:] - 1] + time[start[1:]])
    knots = np.concatenate([[time[0] - 0.5 * step[0]], middle, [time[-1] + 0.5 * step[-1]]])
    size = len(start)
    rate_columns = np.empty((size, 3, RATE_PARAMETERS))
    force_columns = np.empty((size, 3, FORCE_PARAMETERS))
    force_rms, speed = np.empty((2, size))
    # Some tens of thousands of samples at a time: they fit the processor's cache.
    ends = np.append(start, len(time))
    first = 0
    while first < size:
        last = max(int(np.searchsorted(ends, ends[first] + _CHUNK, side="right")) - 1, first + 1)
        here, span = slice(first, last), slice(ends[first], ends[last])
        (
            rate_columns[here],
            force_columns[here],
            force_rms[here],
            speed[here],
        ) = _means(orientation[span], acc[span], gyr[span], start[here] - ends[first])
        first = last
    duration = np.diff(knots)
    rate_columns *= duration[:, None, None]

    gap = np.where(step > 3.0 * usual, step - usual, 0.0)
    lost = 0.5 * (np.append(gap, 0.0) + np.concatenate([[0.0], gap]))
    blind = np.column_stack([lost, lost])
    if doubtful is not None:
        blind += usual * doubtful
    return GravityBlocks(
        orientation=orientation,
        knots=knots,
        force=force_columns[:, :, 3:].sum(axis=2),
        force_rms=force_rms,
        turn=speed * duration,
        rate_columns=rate_columns,
        force_columns=force_columns,
        blind=np.minimum(np.add.reduceat(blind, start, axis=0), duration[:, None]),
    )


def _means(
    orientation: FloatArray, acc: FloatArray, gyr: FloatArray, start: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Block means: rate columns, force columns, spread of force, size of rate."""
    size = len(start)
    count = np.diff(np.append(start, len(acc))).astype(np.float64)

    def mean(values: FloatArray) -> FloatArray:
        total: FloatArray = np.add.reduceat(values, start, axis=-1)
        return total / count

    columns = _matrix_columns(orientation)
    force, rate = np.ascontiguousarray(acc.T), np.ascontiguousarray(gyr.T)
    rate_columns = np.empty((size, 3, RATE_PARAMETERS))
    force_columns = np.empty((size, 3, FORCE_PARAMETERS))
    for axis in range(3):
        column = columns[axis]
        force_columns[:, :, axis] = rate_columns[:, :, axis] = mean(column).T
        force_columns[:, :, 3 + axis] = mean(column * force[axis]).T
        for other in range(3):
            rate_columns[:, :, 3 + 3 * axis + other] = mean(column * rate[other]).T
    average = force_columns[:, :, 3:].sum(axis=2)
    square = mean(np.einsum("in,in->n", force, force)) - np.sum(average**2, axis=1)
    speed = mean(np.sqrt(np.einsum("in,in->n", rate, rate)))
    return rate_columns, force_columns, np.sqrt(np.maximum(square, 0.0)), speed


def _matrix_columns(quaternion: FloatArray) -> FloatArray:
    """Columns of the rotation matrices, (3 columns, 3 rows, N)."""
    w, x, y, z = np.ascontiguousarray(quaternion.T)
    out = np.empty((3, 3, len(w)))
    xx, yy, zz = 2 * x * x, 2 * y * y, 2 * z * z
    xy, xz, yz = 2 * x * y, 2 * x * z, 2 * y * z
    wx, wy, wz = 2 * w * x, 2 * w * y, 2 * w * z
    out[0, 0], out[0, 1], out[0, 2] = 1 - yy - zz, xy + wz, xz - wy
    out[1, 0], out[1, 1], out[1, 2] = xy - wz, 1 - xx - zz, yz + wx
    out[2, 0], out[2, 1], out[2, 2] = xz + wy, yz - wx, 1 - xx - yy
    return out

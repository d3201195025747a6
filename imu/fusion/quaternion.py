"""Unit quaternions as plain arrays, scalar first (w, x, y, z), broadcasting over leading axes.

A quaternion here turns sensor vectors into the frame it is named for:
``rotate(orientation, v_sensor) = v_world``; products compose from left to right as matrices do.
Rotation vectors are axis times angle in radians. scipy's ``Rotation`` stays the type at the
borders of the house (``imu.types.Motion``); these functions are for long streams and batches.

Sources: Sola (2017), Quaternion kinematics for the error-state Kalman filter,
arXiv:1711.02508; Shoemake (1985), Animating rotation with quaternion curves, SIGGRAPH 19:245-254.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from imu.types import FloatArray

IDENTITY: FloatArray = np.array([1.0, 0.0, 0.0, 0.0])
IDENTITY.flags.writeable = False

_SMALL_ANGLE = 1e-4  # rad; below it the series is exact to rounding


def _float(values: ArrayLike) -> FloatArray:
    return np.asarray(values, dtype=np.float64)


def multiply(first: ArrayLike, second: ArrayLike) -> FloatArray:
    """Hamilton product ``first ⊗ second``; (..., 4) each, broadcast."""
    a, b = _float(first), _float(second)
    aw, ax, ay, az = a[..., 0], a[..., 1], a[..., 2], a[..., 3]
    bw, bx, by, bz = b[..., 0], b[..., 1], b[..., 2], b[..., 3]
    product = np.empty(np.broadcast_shapes(a.shape, b.shape))
    product[..., 0] = aw * bw - ax * bx - ay * by - az * bz
    product[..., 1] = aw * bx + ax * bw + ay * bz - az * by
    product[..., 2] = aw * by - ax * bz + ay * bw + az * bx
    product[..., 3] = aw * bz + ax * by - ay * bx + az * bw
    return product


def conjugate(quaternion: ArrayLike) -> FloatArray:
    """Inverse of unit quaternions; (..., 4)."""
    return _float(quaternion) * np.array([1.0, -1.0, -1.0, -1.0])


def normalise(quaternion: ArrayLike) -> FloatArray:
    """Scale to unit length; (..., 4). A zero quaternion gives NaN."""
    q = _float(quaternion)
    with np.errstate(invalid="ignore", divide="ignore"):
        return q / np.sqrt(np.sum(q * q, axis=-1, keepdims=True))


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of (..., 3) arrays, broadcast."""
    # np.cross is several times slower on (N, 3): it checks and moves axes.
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    out[..., 1] = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    out[..., 2] = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def rotate(quaternion: ArrayLike, vector: ArrayLike) -> FloatArray:
    """Turn vectors (..., 3) by unit quaternions (..., 4), broadcast."""
    q, v = _float(quaternion), _float(vector)
    axis = q[..., 1:]
    twice = 2.0 * cross(axis, v)
    return v + q[..., :1] * twice + cross(axis, twice)


def rotate_back(quaternion: ArrayLike, vector: ArrayLike) -> FloatArray:
    """Turn vectors (..., 3) by the inverse of unit quaternions (..., 4), broadcast."""
    return rotate(conjugate(quaternion), vector)


def from_rotvec(rotvec: ArrayLike) -> FloatArray:
    """Rotation vectors (..., 3), rad, to unit quaternions (..., 4)."""
    r = _float(rotvec)
    half_sq = 0.25 * np.sum(r * r, axis=-1)
    half = np.sqrt(half_sq)
    small = half < _SMALL_ANGLE
    ratio = np.where(
        small, 0.5 * (1.0 - half_sq / 6.0), 0.5 * np.sin(half) / np.where(small, 1.0, half)
    )
    out = np.empty((*r.shape[:-1], 4))
    out[..., 0] = np.cos(half)
    out[..., 1:] = ratio[..., None] * r
    return out


def to_rotvec(quaternion: ArrayLike) -> FloatArray:
    """Unit quaternions (..., 4) to rotation vectors (..., 3) of at most π rad."""
    q = _float(quaternion)
    sign = np.where(q[..., 0] < 0.0, -1.0, 1.0)
    w, v = q[..., 0] * sign, q[..., 1:] * sign[..., None]
    size = np.sqrt(np.sum(v * v, axis=-1))
    small = size < _SMALL_ANGLE
    # asin(s)/s = 1 + s²/6 + O(s⁴) near identity; atan2 keeps accuracy near π.
    ratio = np.where(
        small,
        2.0 * (1.0 + size * size / 6.0),
        2.0 * np.arctan2(size, w) / np.where(small, 1.0, size),
    )
    return ratio[..., None] * v


def to_matrix(quaternion: ArrayLike) -> FloatArray:
    """Unit quaternions (..., 4) to rotation matrices (..., 3, 3)."""
    q = _float(quaternion)
    w, x, y, z = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    out = np.empty((*q.shape[:-1], 3, 3))
    out[..., 0, 0] = 1.0 - 2.0 * (y * y + z * z)
    out[..., 0, 1] = 2.0 * (x * y - w * z)
    out[..., 0, 2] = 2.0 * (x * z + w * y)
    out[..., 1, 0] = 2.0 * (x * y + w * z)
    out[..., 1, 1] = 1.0 - 2.0 * (x * x + z * z)
    out[..., 1, 2] = 2.0 * (y * z - w * x)
    out[..., 2, 0] = 2.0 * (x * z - w * y)
    out[..., 2, 1] = 2.0 * (y * z + w * x)
    out[..., 2, 2] = 1.0 - 2.0 * (x * x + y * y)
    return out


def between_directions(start: ArrayLike, end: ArrayLike) -> FloatArray:
    """Smallest rotation (..., 4) that turns directions ``start`` into ``end``; (..., 3) each.

    Opposite directions turn half a circle about some axis square to ``start``.
    """
    a, b = np.broadcast_arrays(_float(start), _float(end))
    a = a / np.linalg.norm(a, axis=-1, keepdims=True)
    b = b / np.linalg.norm(b, axis=-1, keepdims=True)
    out = np.empty((*a.shape[:-1], 4))
    out[..., 0] = 1.0 + np.sum(a * b, axis=-1)
    out[..., 1:] = cross(a, b)
    opposite = out[..., 0] < 1e-12
    if np.any(opposite):
        least = np.eye(3)[np.argmin(np.abs(a), axis=-1)]
        out[opposite, 0] = 0.0
        out[opposite, 1:] = cross(a, least)[opposite]
    return normalise(out)


def slerp(start: ArrayLike, end: ArrayLike, share: ArrayLike) -> FloatArray:
    """Constant-rate turn from ``start`` to ``end`` the short way; ``share`` 0 to 1 broadcasts."""
    step = to_rotvec(multiply(conjugate(start), end))
    return multiply(start, from_rotvec(_float(share)[..., None] * step))


def interpolate(time: ArrayLike, quaternion: ArrayLike, at: ArrayLike) -> FloatArray:
    """Orientations (N, 4) at increasing ``time`` (N,) read at times ``at`` (M,) by slerp.

    Times outside the span, or beside a NaN, give NaN: nothing is extrapolated. Raises ValueError
    on fewer than two orientations, or another number of them than of times.
    """
    t, q, wanted = _float(time), _float(quaternion), _float(at)
    if len(t) < 2 or q.shape != (len(t), 4):
        raise ValueError(f"quaternion: expected shape ({len(t)}, 4) with N >= 2, got {q.shape}")
    left = np.clip(np.searchsorted(t, wanted, side="right") - 1, 0, len(t) - 2)
    share = (wanted - t[left]) / (t[left + 1] - t[left])
    out = slerp(q[left], q[left + 1], share)
    out[(wanted < t[0]) | (wanted > t[-1])] = np.nan
    return out

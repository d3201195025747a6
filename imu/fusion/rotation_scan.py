"""Angular rates to orientation over whole streams: strapdown integration without a sample loop.

One step. Between two samples the rate is taken as the cubic through the samples' values and
slopes. The rotation vector over the step is its integral plus the coning term of Bortz (1971,
IEEE Trans Aerosp Electron Syst AES-7:61-66), kept to second order as in Miller (1983, J Guid
Control Dyn 6:287-291) and Savage (1998, J Guid Control Dyn 21:19-28):

    φ = h/2 (ω0 + ω1) − h²/12 (ω1′ − ω0′) + h²/12 (ω0 × ω1)

Slopes are central differences on the actual times, so jitter is allowed; the local error is of
order h⁵. Across a gap the slope term is left out, for noise in the short steps beside it would
swamp what it brings.

All steps. Orientation is the running product of the step rotations. Products are associative,
so the stream is cut in rows of about √N/4 steps: all rows advance together, then the rows' totals
are multiplied up the same way and carried into each row (a blocked prefix scan, after Blelloch
1990, Prefix sums and their applications). The work is 2N quaternion products.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from imu.types import FloatArray

_SHORT = 48  # steps below which a plain loop beats cutting further
_CHUNK = 65536  # steps worked on at a time, to stay in the processor's cache
_GAP_STEPS = 3.0  # a step longer than this many usual ones is a gap


def integrate_rates(time: ArrayLike, gyr: ArrayLike) -> FloatArray:
    """Orientation along a stream of angular rates, starting from identity.

    time : (N,) s, or (B, N) for a batch with different times; strictly increasing.
    gyr : (N, 3) or (B, N, 3), rad/s, in the sensor frame, read at ``time``.
    Returns (N, 4) or (B, N, 4) unit quaternions (w, x, y, z), sensor frame at each sample to
    sensor frame at the first sample. Raises ValueError on wrong shapes or times that stand
    still or go back. NaN rates make all later orientations NaN.
    """
    rates = np.asarray(gyr, dtype=np.float64)
    clock = np.asarray(time, dtype=np.float64)
    if rates.ndim not in (2, 3) or rates.shape[-1] != 3:
        raise ValueError(f"gyr: expected shape (N, 3) or (B, N, 3), got {rates.shape}")
    if clock.shape not in (rates.shape[-2:-1], rates.shape[:-1]):
        raise ValueError(f"time: expected shape {rates.shape[:-1]}, got {clock.shape}")
    if np.any(np.diff(clock) <= 0.0):
        raise ValueError("time: must increase strictly")
    batch = rates.shape[:-2]
    size = rates.shape[-2]
    out = np.empty((*batch, size, 4))
    out[..., :1, :] = (1.0, 0.0, 0.0, 0.0)
    carry = np.zeros((4, *batch, 1))
    carry[0] = 1.0
    for first in range(0, size - 1, _CHUNK):
        last = min(first + _CHUNK, size - 1)
        # One sample more on either side, for the slopes.
        low, high = max(first - 1, 0), min(last + 2, size)
        turns = step_rotations(clock[..., low:high], rates[..., low:high, :])
        steps = step_quaternions(turns[..., first - low : last - low])
        inside = running_product(steps)
        components = np.empty_like(inside)
        product(carry, inside, components)
        components /= np.sqrt(np.einsum("c...,c...->...", components, components))
        out[..., first + 1 : last + 1, :] = np.moveaxis(components, 0, -1)
        carry = components[..., -1:]
    return out


def step_rotations(time: FloatArray, gyr: FloatArray) -> FloatArray:
    """Rotation vectors from each sample to the next, components first: (3, ..., N − 1), rad."""
    step = np.diff(time)
    rate = np.ascontiguousarray(np.moveaxis(gyr, -1, 0))
    secant = np.diff(rate) / step
    total = rate[..., 1:] + rate[..., :-1]
    total *= 0.5 * step
    if rate.shape[-1] > 2:
        # Central slope on uneven times: neighbours' secants, each weighted by the other's step.
        span = step[..., 1:] + step[..., :-1]
        slope = secant[..., :-1] * (step[..., 1:] / span)
        slope += secant[..., 1:] * (step[..., :-1] / span)
        gap = step > _GAP_STEPS * np.median(step, axis=-1, keepdims=True)
        twelfth = np.where(gap, 0.0, step * step / 12.0)
        # At the two ends, the slope of the parabola through the last three samples.
        total[..., 1:] += slope * twelfth[..., 1:]
        total[..., :-1] -= slope * twelfth[..., :-1]
        total[..., 0] += (2.0 * secant[..., 0] - slope[..., 0]) * twelfth[..., 0]
        total[..., -1] -= (2.0 * secant[..., -1] - slope[..., -1]) * twelfth[..., -1]
    coning = step * step / 12.0
    x, y, z = rate[..., :-1]
    x1, y1, z1 = rate[..., 1:]
    total[0] += coning * (y * z1 - z * y1)
    total[1] += coning * (z * x1 - x * z1)
    total[2] += coning * (x * y1 - y * x1)
    return total


def step_quaternions(rotvec: FloatArray) -> FloatArray:
    """Rotation vectors (3, ...) to quaternions (4, ...), components first."""
    half_sq = np.einsum("c...,c...->...", rotvec, rotvec)
    half_sq *= 0.25
    out = np.empty((4, *rotvec.shape[1:]))
    if not np.any(half_sq >= 0.04):
        # Up to 0.4 rad a step the series below is exact to rounding and spares sin, cos, sqrt.
        s = half_sq
        out[0] = 1 - s / 2 * (1 - s / 12 * (1 - s / 30 * (1 - s / 56 * (1 - s / 90))))
        ratio = 1 - s / 6 * (1 - s / 20 * (1 - s / 42 * (1 - s / 72 * (1 - s / 110))))
        ratio *= 0.5
    else:
        half = np.sqrt(half_sq)
        out[0] = np.cos(half)
        ratio = 0.5 * np.sinc(half / np.pi)
    np.multiply(rotvec, ratio, out=out[1:])
    return out


def product(a: FloatArray, b: FloatArray, out: FloatArray) -> None:
    """Hamilton product, components first; ``out`` must not overlap ``a`` or ``b``."""
    aw, ax, ay, az = a
    bw, bx, by, bz = b
    out[0] = aw * bw - ax * bx - ay * by - az * bz
    out[1] = aw * bx + ax * bw + ay * bz - az * by
    out[2] = aw * by - ax * bz + ay * bw + az * bx
    out[3] = aw * bz + ax * by - ay * bx + az * bw


def running_product(steps: FloatArray) -> FloatArray:
    """Prefix products q0, q0⊗q1, ... along the last axis; (4, ..., N) components first."""
    size = steps.shape[-1]
    batch = steps.shape[1:-1]
    if size <= _SHORT:
        out = np.empty_like(steps)
        out[..., 0] = steps[..., 0]
        for index in range(1, size):
            product(out[..., index - 1], steps[..., index], out[..., index])
        return out
    length = max(8, round(np.sqrt(size) / 4.0))
    rows = -(-size // length)
    padded = np.zeros((length, 4, *batch, rows))
    # Offset within the row first, so that every step of the scan reads contiguous memory.
    whole = size // length
    target = np.moveaxis(padded, 0, -1)
    target[..., :whole, :] = steps[..., : whole * length].reshape(4, *batch, whole, length)
    if whole < rows:
        padded[:, 0, ..., -1] = 1.0
        target[..., -1, : size - whole * length] = steps[..., whole * length :]
    for index in range(1, length):
        product(padded[index - 1], padded[index].copy(), padded[index])
    carry = running_product(np.ascontiguousarray(padded[-1]))
    scale = 1.0 / np.sqrt(np.einsum("c...,c...->...", carry, carry))
    carry *= scale
    before = np.zeros_like(carry)
    before[0, ..., :1] = 1.0
    before[..., 1:] = carry[..., :-1]
    out = np.empty((4, *batch, rows * length))
    view = np.moveaxis(out.reshape(4, *batch, rows, length), -1, 0)
    buffer = np.empty_like(before)
    for index in range(length):
        product(before, padded[index], buffer)
        view[index] = buffer
    return out[..., :size]

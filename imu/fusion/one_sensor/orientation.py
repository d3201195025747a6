"""Which way up a sensor was, over a whole recording, from its accelerometer and gyroscope alone.

Without a magnetometer the heading is free: it is arbitrary at the start and carried by the
gyroscope. Inclination (where "up" is in the sensor) is tied to gravity. The whole recording is
at hand, so this is a smoother, not a filter:

1. Rates are integrated to an almost-inertial frame (``imu.fusion.rotation_scan``), and the stream
   is summed in blocks of 0.1 s there (``gravity_blocks``).
2. Tilt, velocity and position at the knots and the sensor's own errors (gyroscope offset and
   3 × 3 matrix, accelerometer offset and scale) are found together by Gauss-Newton (equations
   ``tilt_equations``, solved by ``tilt_smoother``); spells of rest (``imu.fusion.rest``) give zero
   rate and zero velocity.
3. The rates are integrated once more with their errors taken off, and what little correction is
   left at the knots is laid over them.

Sources: almost-inertial frame and bias in rest and motion, Laidig & Seel (2023), VQF: highly
accurate IMU orientation estimation, Information Fusion 91:187-204; batch smoothing by
Gauss-Newton, Kok, Hol & Schön (2017), Using inertial sensors for position and orientation
estimation, Found Trends Signal Process 11:1-153.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import butter, sosfiltfilt

from imu.fusion import quaternion
from imu.fusion.one_sensor.gravity_blocks import GravityBlocks, gravity_blocks
from imu.fusion.one_sensor.inclination import Inclination, InclinationSettings
from imu.fusion.one_sensor.tilt_equations import (
    PARAMETERS,
    RATE_PARAMETERS,
    chain_weights,
    equations,
    residuals,
    rest_information,
)
from imu.fusion.one_sensor.tilt_smoother import AxisSolution, TiltChain
from imu.fusion.rest import RestSpells, rest_spells, weighted_median
from imu.fusion.rotation_scan import (
    integrate_rates,
    product,
    running_product,
    step_quaternions,
)
from imu.types import BoolArray, FloatArray

_SETTLED = 1e-3  # rad; a step with smaller tilts is the last
_LEAST_FORCE = 2.0  # m/s²; a median below it is in g, or has had gravity taken off
_FIRST_GUESS_HZ = 0.1  # low-pass for the first guess of "up"; Gauss-Newton forgets it


def estimate_inclination(
    time: ArrayLike,
    acc: ArrayLike,
    gyr: ArrayLike,
    settings: InclinationSettings | None = None,
    doubtful: BoolArray | None = None,
) -> Inclination:
    """Smooth the orientation of one sensor over a whole stream; heading free.

    time : (N,) s, strictly increasing. acc : (N, 3) m/s², specific force. gyr : (N, 3) rad/s.
    doubtful : (N,), or (N, 2) for acc and gyr apart; True where a sample is clipped or bridged
    and must not be trusted.
    Raises ValueError on wrong shapes, values that are not finite, times that do not increase, or
    fewer than four blocks of data.
    """
    chosen = settings or InclinationSettings()
    clock, force, rate = (np.asarray(v, dtype=np.float64) for v in (time, acc, gyr))
    _check(clock, force, rate, chosen)
    if doubtful is not None:
        doubtful = np.asarray(doubtful, dtype=np.bool_)
        doubtful = np.column_stack([doubtful, doubtful]) if doubtful.ndim == 1 else doubtful
        if doubtful.shape != (len(clock), 2):
            raise ValueError(f"doubtful: expected ({len(clock)},) or (.., 2), got {doubtful.shape}")
    rests = rest_spells(clock, force, rate, chosen.rest)
    bias = _bias_at_rest(rests)
    blocks = gravity_blocks(clock, force, rate - bias, chosen.block, doubtful)
    knots = _first_guess(blocks)
    theta = np.zeros(PARAMETERS)
    prior = np.concatenate(
        [
            np.full(3, chosen.rate_offset),
            np.full(9, chosen.rate_matrix),
            np.full(3, chosen.force_offset),
            np.full(3, chosen.force_scale),
        ]
    )
    for _ in range(chosen.rounds):
        level = quaternion.to_matrix(quaternion.slerp(knots[:-1], knots[1:], 0.5))
        rate_world = level @ blocks.rate_columns
        motion, drift = residuals(blocks, knots, level, theta, chosen.gravity)
        weights = chain_weights(blocks, motion, rests, chosen)
        across = TiltChain(blocks.duration, motion[:, 2] + chosen.gravity, weights)
        along = TiltChain(blocks.duration, np.zeros(len(level)), weights)
        axes = equations(blocks, level, rate_world, motion, drift)
        solved = [
            chain.solve(axis) for chain, axis in zip((across, across, along), axes, strict=True)
        ]
        information, gradient = rest_information(rests, bias, theta, chosen.rest_turn)
        independent = min(1.0, float(np.median(blocks.duration)) / chosen.model_memory)
        for part in solved:
            information += independent * part.information[:-1, :-1]
            gradient += independent * part.information[:-1, -1]
        information[np.diag_indices(PARAMETERS)] += 1.0 / prior**2
        gradient += theta / prior**2
        change = -np.linalg.solve(information, gradient).astype(np.float64)
        theta = theta + change
        knots, moved = _turn_knots(knots, solved, change, rate_world, drift)
        if moved < _SETTLED:
            break
    covariance = np.linalg.inv(information).astype(np.float64)
    tilt_se = _tilt_error(solved, across.tilt_variance(), covariance)
    mended = (rate - bias) @ (np.eye(3) + theta[3:12].reshape(3, 3)).T + theta[:3]
    orientation = _lay_over(clock, mended, blocks, knots)
    if chosen.sensor_delay:
        orientation = _carry_forward(clock, orientation, mended, chosen.sensor_delay)
    share = np.interp(clock, blocks.knots, tilt_se)
    return _result(clock, orientation, share, theta, covariance, bias, rests)


def _check(
    time: FloatArray, acc: FloatArray, gyr: FloatArray, settings: InclinationSettings
) -> None:
    size = len(time)
    if time.shape != (size,) or acc.shape != (size, 3) or gyr.shape != (size, 3):
        raise ValueError(
            f"expected time ({size},), acc and gyr ({size}, 3); "
            f"got {time.shape}, {acc.shape}, {gyr.shape}"
        )
    if size < 4 or time[-1] - time[0] < 4 * settings.block:
        raise ValueError(
            f"stream too short: {size} samples, at least {4 * settings.block} s needed"
        )
    for name, values in (("time", time), ("acc", acc), ("gyr", gyr)):
        if not np.isfinite(values).all():
            first = np.argmin(np.isfinite(values).reshape(size, -1).all(axis=1))
            raise ValueError(f"{name}: not finite at sample {first}")
    if np.median(np.linalg.norm(acc, axis=1)) < _LEAST_FORCE:
        raise ValueError("acc: gravity is missing; expected specific force in m/s²")


def _bias_at_rest(rests: RestSpells) -> FloatArray:
    """Weighted median of the mean rates: a few spells of slow turning do not move it."""
    if len(rests) == 0:
        return np.zeros(3)
    return weighted_median(rests.gyr, 1.0 / rests.gyr_se)


def _first_guess(blocks: GravityBlocks) -> FloatArray:
    """(K + 1, 4) drifting frame to world: "up" by low-pass, carried along without twist."""
    rate = 1.0 / float(np.median(blocks.duration))
    size = len(blocks.force)
    low_pass = butter(2, min(_FIRST_GUESS_HZ / (0.5 * rate), 0.5), output="sos")
    smooth = sosfiltfilt(low_pass, blocks.force, axis=0, padlen=min(size - 1, int(10.0 * rate)))
    up = np.concatenate([smooth[:1], 0.5 * (smooth[1:] + smooth[:-1]), smooth[-1:]])
    start = quaternion.between_directions(up[0], [0.0, 0.0, 1.0])
    back = quaternion.between_directions(up[1:], up[:-1])
    chain = np.concatenate([start[None], back]).T
    return quaternion.normalise(running_product(np.ascontiguousarray(chain)).T)


def _turn_knots(
    knots: FloatArray,
    solved: list[AxisSolution],
    change: FloatArray,
    rate_world: FloatArray,
    drift: FloatArray,
) -> tuple[FloatArray, float]:
    """Knots turned by the step, and the largest tilt of it in rad."""
    full = np.append(change, 1.0)
    tilt = np.zeros((len(knots), 3))
    tilt[:, 1] = full @ solved[0].tilt
    tilt[:, 0] = -(full @ solved[1].tilt)
    tilt[1:, 2] = np.cumsum(rate_world[:, 2] @ change[:RATE_PARAMETERS] - drift[:, 2])
    turned = quaternion.normalise(quaternion.multiply(quaternion.from_rotvec(tilt), knots))
    return turned, float(np.abs(tilt[:, :2]).max())


def _tilt_error(
    solved: list[AxisSolution], variance: FloatArray, covariance: FloatArray
) -> FloatArray:
    total = 2.0 * variance
    for part in solved[:2]:
        shared = part.tilt[:-1]
        total += np.einsum("mk,mk->k", shared, covariance @ shared)
    return np.sqrt(total)


def _lay_over(
    time: FloatArray, rate: FloatArray, blocks: GravityBlocks, knots: FloatArray
) -> FloatArray:
    """Slow correction (slerp between knots) times the integral of the mended rates."""
    mended = integrate_rates(time, rate)
    at = np.clip(np.searchsorted(time, blocks.knots), 0, len(time) - 1)
    # The knots correct the first integral; carry them over to the second.
    swap = quaternion.multiply(blocks.orientation[at], quaternion.conjugate(mended[at]))
    knots = quaternion.multiply(knots, swap)
    step = quaternion.to_rotvec(quaternion.multiply(quaternion.conjugate(knots[:-1]), knots[1:]))
    left = np.clip(np.searchsorted(blocks.knots, time, side="right") - 1, 0, len(step) - 1)
    share = (time - blocks.knots[left]) / blocks.duration[left]
    # Components first from here: several times faster on long streams.
    within = step_quaternions(np.take(step.T, left, axis=1) * share)
    correction, out = np.empty((2, 4, len(time)))
    product(np.take(knots.T, left, axis=1), within, correction)
    product(correction, np.ascontiguousarray(mended.T), out)
    return np.ascontiguousarray(out.T)


def _carry_forward(
    time: FloatArray, orientation: FloatArray, rate: FloatArray, delay: float
) -> FloatArray:
    """Orientation at each clock time when every sample shows what was ``delay`` s earlier."""
    wanted = np.minimum(time + delay, time[-1])
    out = quaternion.interpolate(time, orientation, np.maximum(wanted, time[0]))
    beyond = time + delay - wanted
    beyond[time + delay < time[0]] = (time + delay - time[0])[time + delay < time[0]]
    edge = np.where((beyond > 0)[:, None], rate[-1], rate[0])
    return quaternion.multiply(out, quaternion.from_rotvec(edge * beyond[:, None]))


def _result(
    time: FloatArray,
    orientation: FloatArray,
    tilt_se: FloatArray,
    theta: FloatArray,
    covariance: FloatArray,
    bias: FloatArray,
    rests: RestSpells,
) -> Inclination:
    error = np.sqrt(np.diag(covariance))
    # δω = offset + matrix·(ω − bias), so the rate that reads zero is bias − (1 + matrix)⁻¹ offset.
    matrix = np.eye(3) + theta[3:12].reshape(3, 3)
    scale = 1.0 + theta[15:18]
    return Inclination(
        time=time,
        orientation=orientation,
        tilt_se=tilt_se,
        gyr_bias=bias - np.linalg.solve(matrix, theta[:3]),
        gyr_bias_se=error[:3],
        gyr_matrix=matrix,
        gyr_matrix_se=error[3:12].reshape(3, 3),
        acc_bias=-theta[12:15] / scale,
        acc_bias_se=error[12:15],
        acc_scale=scale,
        acc_scale_se=error[15:18],
        rests=rests,
    )

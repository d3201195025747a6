"""Which way up a sensor was, over a whole recording, from its accelerometer and gyroscope alone.

Without a magnetometer the heading is free: it is arbitrary at the start and carried by the
gyroscope. Inclination (where "up" is in the sensor) is tied to gravity. The whole recording is
at hand, so this is a smoother, not a filter:

1. Rates are integrated to an almost-inertial frame (`rotation_scan`), and the stream is summed
   in blocks of 0.1 s there (`gravity_blocks`).
2. Tilt, velocity and position at the knots and the sensor's own errors (gyroscope offset and
   3 × 3 matrix, accelerometer offset and scale) are found together by Gauss-Newton
   (`tilt_smoother`); spells of rest (`rest`) give zero rate and zero velocity.
3. The rates are integrated once more with their errors taken off, and what little correction is
   left at the knots is laid over them.

Sources: almost-inertial frame and bias in rest and motion, Laidig & Seel (2023), VQF: highly
accurate IMU orientation estimation, Information Fusion 91:187-204; batch smoothing by
Gauss-Newton, Kok, Hol & Schön (2017), Using inertial sensors for position and orientation
estimation, Found Trends Signal Process 11:1-153.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import butter, sosfiltfilt

from imu.fusion import quaternion
from imu.fusion.gravity_blocks import (
    FORCE_PARAMETERS,
    RATE_PARAMETERS,
    GravityBlocks,
    gravity_blocks,
)
from imu.fusion.rest import RestSettings, RestSpells, rest_spells
from imu.fusion.rotation_scan import (
    integrate_rates,
    product,
    running_product,
    step_quaternions,
)
from imu.fusion.tilt_smoother import AxisEquations, AxisSolution, ChainWeights, TiltChain
from imu.types import BoolArray, FloatArray, frozen_array
from imu.units import DEG, STANDARD_GRAVITY

_PARAMETERS = RATE_PARAMETERS + FORCE_PARAMETERS
_SETTLED = 1e-3  # rad; a step with smaller tilts is the last
_FIRST_GUESS_HZ = 0.1  # low-pass for the first guess of "up"; Gauss-Newton forgets it


@dataclass(frozen=True)
class InclinationSettings:
    """What is known of the sensors and the body beforehand. Standard deviations unless said.

    The defaults are round numbers for calibrated consumer sensors on a person's limb.
    block : s between knots. rounds : the most Gauss-Newton steps.
    rate_noise : rad/s/√Hz, white noise and the wander of the offset together.
    rate_share : error of a turn as a share of its size, beyond the estimated matrix.
    force_noise : m/s²/√Hz. force_share : error as a share of the acceleration and vibration.
    rate_offset : rad/s. rate_matrix, force_scale : share. force_offset : m/s².
    rest_turn : rad/s, turning that all nearly still spells may share.
    reach : m, how far the sensor stays about its mean place. reach_time : s over which places
    are independent. model_memory : s over which the errors of this model hang together; shared
    parameters believe the blocks only as far as they are independent.
    sensor_delay : s by which samples lag what they measure (low-pass filter, averaging).
    """

    block: float = 0.1
    rounds: int = 6
    rate_noise: float = 0.1 * DEG
    rate_share: float = 0.002
    force_noise: float = 0.01
    force_share: float = 0.03
    rate_offset: float = 2.0 * DEG
    rate_matrix: float = 0.01
    force_offset: float = 0.2
    force_scale: float = 0.01
    rest_turn: float = 0.03 * DEG
    reach: float = 0.5
    reach_time: float = 1.0
    model_memory: float = 3.0
    sensor_delay: float = 0.0
    gravity: float = STANDARD_GRAVITY
    rest: RestSettings = field(default_factory=RestSettings)


@dataclass(frozen=True, eq=False)
class Inclination:
    """Orientation over a stream, with what was learnt of the sensor.

    time : (N,) s. orientation : (N, 4) w, x, y, z, sensor to world (z up; heading arbitrary).
    tilt_se : (N,) rad, standard error of the direction of "up" (root of the summed variance of
    the two horizontal axes).
    gyr_bias : (3,) rad/s and gyr_matrix : (3, 3): true rate = matrix @ (measured − bias).
    acc_bias : (3,) m/s² and acc_scale : (3,): true force = scale * (measured − bias).
    *_se : their standard errors. rests : the spells of rest used.
    """

    time: FloatArray
    orientation: FloatArray
    tilt_se: FloatArray
    gyr_bias: FloatArray
    gyr_bias_se: FloatArray
    gyr_matrix: FloatArray
    gyr_matrix_se: FloatArray
    acc_bias: FloatArray
    acc_bias_se: FloatArray
    acc_scale: FloatArray
    acc_scale_se: FloatArray
    rests: RestSpells

    def __post_init__(self) -> None:
        size = len(self.time)
        shapes: dict[str, tuple[int, ...]] = {
            "time": (size,),
            "orientation": (size, 4),
            "tilt_se": (size,),
            "gyr_bias": (3,),
            "gyr_bias_se": (3,),
            "gyr_matrix": (3, 3),
            "gyr_matrix_se": (3, 3),
            "acc_bias": (3,),
            "acc_bias_se": (3,),
            "acc_scale": (3,),
            "acc_scale_se": (3,),
        }
        for name, shape in shapes.items():
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name=name))

    @property
    def up(self) -> FloatArray:
        """(N, 3) unit vector "up" in the sensor frame."""
        return quaternion.rotate_back(self.orientation, [0.0, 0.0, 1.0])


def inclination_error(estimate: ArrayLike, reference: ArrayLike) -> FloatArray:
    """Angle in rad between the "up" of two orientations, heading ignored; (..., 4) each.

    2·arccos √(w² + z²) of the earth-frame error quaternion, as the BROAD benchmark scores it
    (Laidig, Caruso, Cereatti & Seel 2021, Data 6(7):72), written with atan2 to keep its digits
    near zero.
    """
    error = quaternion.multiply(estimate, quaternion.conjugate(reference))
    tilted = np.hypot(error[..., 1], error[..., 2])
    level = np.hypot(error[..., 0], error[..., 3])
    angle: FloatArray = 2.0 * np.arctan2(tilted, level)
    return angle


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
    theta = np.zeros(_PARAMETERS)
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
        motion, drift = _residuals(blocks, knots, level, theta, chosen.gravity)
        weights = _weights(blocks, motion, rests, chosen)
        across = TiltChain(blocks.duration, motion[:, 2] + chosen.gravity, weights)
        along = TiltChain(blocks.duration, np.zeros(len(level)), weights)
        axes = _equations(blocks, level, rate_world, motion, drift)
        solved = [
            chain.solve(axis) for chain, axis in zip((across, across, along), axes, strict=True)
        ]
        information, gradient = _rest_information(rests, bias, theta, chosen.rest_turn)
        independent = min(1.0, float(np.median(blocks.duration)) / chosen.model_memory)
        for part in solved:
            information += independent * part.information[:-1, :-1]
            gradient += independent * part.information[:-1, -1]
        information[np.diag_indices(_PARAMETERS)] += 1.0 / prior**2
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


def _bias_at_rest(rests: RestSpells) -> FloatArray:
    """Weighted median of the mean rates: a few spells of slow turning do not move it."""
    bias = np.zeros(3)
    for axis in range(3 if len(rests) else 0):
        order = np.argsort(rests.gyr[:, axis])
        weight = np.cumsum(1.0 / rests.gyr_se[order, axis])
        middle = np.searchsorted(weight, 0.5 * weight[-1])
        bias[axis] = rests.gyr[order[middle], axis]
    return bias


def _first_guess(blocks: GravityBlocks) -> FloatArray:
    """(K + 1, 4) drifting frame to world: "up" by low-pass, carried along without twist."""
    rate = 1.0 / float(np.median(blocks.duration))
    size = len(blocks.force)
    low_pass = butter(2, _FIRST_GUESS_HZ / (0.5 * rate), output="sos")
    smooth = sosfiltfilt(low_pass, blocks.force, axis=0, padlen=min(size - 1, int(10.0 * rate)))
    up = np.concatenate([smooth[:1], 0.5 * (smooth[1:] + smooth[:-1]), smooth[-1:]])
    start = quaternion.between_directions(up[0], [0.0, 0.0, 1.0])
    back = quaternion.between_directions(up[1:], up[:-1])
    chain = np.concatenate([start[None], back]).T
    return quaternion.normalise(running_product(np.ascontiguousarray(chain)).T)


def _residuals(
    blocks: GravityBlocks,
    knots: FloatArray,
    level: FloatArray,
    theta: FloatArray,
    gravity: float,
) -> tuple[FloatArray, FloatArray]:
    """World acceleration (K, 3), m/s², and turn the gyroscope does not explain (K, 3), rad."""
    force = blocks.force + blocks.force_columns @ theta[RATE_PARAMETERS:]
    motion = np.einsum("kij,kj->ki", level, force) - np.array([0.0, 0.0, gravity])
    between = quaternion.to_rotvec(quaternion.multiply(quaternion.conjugate(knots[:-1]), knots[1:]))
    between -= blocks.rate_columns @ theta[:RATE_PARAMETERS]
    return motion, np.einsum("kij,kj->ki", level, between)


def _equations(
    blocks: GravityBlocks,
    level: FloatArray,
    rate_world: FloatArray,
    motion: FloatArray,
    drift: FloatArray,
) -> list[AxisEquations]:
    """The three chains about the present estimate."""
    force_world = (level @ blocks.force_columns) * blocks.duration[:, None, None]
    axes = []
    # A turn ψ about y leads the vertical force F into x as +ψF, one about x into y as −ψF.
    for axis, (about, sign) in enumerate(((1, 1.0), (0, -1.0), (2, 0.0))):
        tilt_columns = np.zeros((_PARAMETERS, len(level)))
        tilt_columns[:RATE_PARAMETERS] = sign * rate_world[:, about].T
        speed_columns = np.zeros((_PARAMETERS, len(level)))
        speed_columns[RATE_PARAMETERS:] = force_world[:, axis].T
        axes.append(
            AxisEquations(
                tilt_columns=tilt_columns,
                tilt_residual=-sign * drift[:, about],
                speed_columns=speed_columns,
                speed_residual=blocks.duration * motion[:, axis],
            )
        )
    return axes


_BLIND_RATE = 3.0  # rad/s and
_BLIND_FORCE = 30.0  # m/s²: what may go unseen while samples are missing or clipped
_PLACE_STEP = 0.005  # m, error of the trapezium from velocity to place over one block
_REST_FLOOR = 0.01  # m/s, slowest velocity that counts as rest


def _weights(
    blocks: GravityBlocks, motion: FloatArray, rests: RestSpells, settings: InclinationSettings
) -> ChainWeights:
    duration = blocks.duration
    rough = np.sum(motion**2, axis=1) + blocks.force_rms**2
    tilt = (
        settings.rate_noise**2 * duration
        + (settings.rate_share * blocks.turn) ** 2
        + (_BLIND_RATE * blocks.blind[:, 1]) ** 2
    )
    speed = (
        settings.force_noise**2 * duration
        + (settings.force_share * duration) ** 2 * rough
        + (_BLIND_FORCE * blocks.blind[:, 0]) ** 2
    )
    gap = np.gradient(blocks.knots)
    still = np.zeros(len(blocks.knots))
    for (start, end), sway in zip(rests.span, rests.sway_velocity, strict=True):
        inside = (blocks.knots >= start) & (blocks.knots <= end)
        still[inside] += 1.0 / (sway**2 + _REST_FLOOR**2)
    return ChainWeights(
        tilt=1.0 / tilt,
        speed=1.0 / speed,
        place=np.full(len(duration), 1.0 / _PLACE_STEP**2),
        still=still,
        reach=gap / settings.reach_time / settings.reach**2,
    )


def _rest_information(
    rests: RestSpells, bias: FloatArray, theta: FloatArray, common: float
) -> tuple[FloatArray, FloatArray]:
    """At rest the corrected rate is zero: information matrix and gradient for the parameters.

    Nearly still spells share a turning of their own (``common``, rad/s) that no number of them
    averages away: together they weigh at most 1/common².
    """
    information = np.zeros((_PARAMETERS, _PARAMETERS))
    gradient = np.zeros(_PARAMETERS)
    part = slice(0, RATE_PARAMETERS)
    weights = 1.0 / rests.gyr_se**2
    nearly = ~rests.still
    weights[nearly] /= 1.0 + common**2 * weights[nearly].sum(axis=0)
    for mean, weight in zip(rests.gyr - bias, weights, strict=True):
        columns = np.concatenate([np.eye(3), np.kron(np.eye(3), mean[None])], axis=1)
        residual = mean + columns @ theta[part]
        # Slow turning taken for rest lies far out; the weight then falls (Cauchy loss).
        weight = weight / (1.0 + np.sum(residual**2 * weight) / 9.0)
        information[part, part] += columns.T @ (weight[:, None] * columns)
        gradient[part] += columns.T @ (weight * residual)
    return information, gradient


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

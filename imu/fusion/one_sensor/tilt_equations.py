"""Equations of the inclination smoother about its present estimate: residuals, columns, weights.

Parameters θ, in order: rate offset (3, rad/s), rate matrix row by row (9), force offset (3,
m/s²), force scale (3), all as errors added to what was measured.
"""

from __future__ import annotations

import numpy as np

from imu.fusion import quaternion
from imu.fusion.one_sensor.gravity_blocks import FORCE_PARAMETERS, RATE_PARAMETERS, GravityBlocks
from imu.fusion.one_sensor.inclination import InclinationSettings
from imu.fusion.one_sensor.tilt_smoother import AxisEquations, ChainWeights
from imu.fusion.rest import RestSpells
from imu.types import FloatArray

PARAMETERS = RATE_PARAMETERS + FORCE_PARAMETERS

_BLIND_RATE = 3.0  # rad/s and
_BLIND_FORCE = 30.0  # m/s²: what may go unseen while samples are missing or clipped
_PLACE_STEP = 0.005  # m, error of the trapezium from velocity to place over one block
_REST_FLOOR = 0.01  # m/s, slowest velocity that counts as rest


def residuals(
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


def equations(
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
        tilt_columns = np.zeros((PARAMETERS, len(level)))
        tilt_columns[:RATE_PARAMETERS] = sign * rate_world[:, about].T
        speed_columns = np.zeros((PARAMETERS, len(level)))
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


def chain_weights(
    blocks: GravityBlocks, motion: FloatArray, rests: RestSpells, settings: InclinationSettings
) -> ChainWeights:
    """How much each equation is worth: noise, motion, blind time, rest, reach."""
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


def rest_information(
    rests: RestSpells, bias: FloatArray, theta: FloatArray, common: float
) -> tuple[FloatArray, FloatArray]:
    """At rest the corrected rate is zero: information matrix and gradient for the parameters.

    Nearly still spells share a turning of their own (``common``, rad/s) that no number of them
    averages away: together they weigh at most 1/common².
    """
    information = np.zeros((PARAMETERS, PARAMETERS))
    gradient = np.zeros(PARAMETERS)
    part = slice(0, RATE_PARAMETERS)
    weight = 1.0 / rests.gyr_se**2
    nearly = ~rests.still
    weight[nearly] /= 1.0 + common**2 * weight[nearly].sum(axis=0)
    mean = rests.gyr - bias
    columns = np.zeros((len(mean), 3, RATE_PARAMETERS))
    for axis in range(3):
        columns[:, axis, axis] = 1.0
        columns[:, axis, 3 + 3 * axis : 6 + 3 * axis] = mean
    residual = mean + columns @ theta[part]
    # Slow turning taken for rest lies far out; its weight falls (Cauchy loss, scale 3 errors).
    weight /= 1.0 + np.sum(residual**2 * weight, axis=1, keepdims=True) / 9.0
    weighted = columns * weight[:, :, None]
    information[part, part] = np.einsum("rip,riq->pq", weighted, columns, optimize=True)
    gradient[part] = np.einsum("rip,ri->p", weighted, residual)
    return information, gradient

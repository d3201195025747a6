"""What the inclination smoother is told beforehand, and what it gives back."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from imu.fusion import quaternion
from imu.fusion.rest import RestSettings, RestSpells
from imu.types import FloatArray, frozen_array
from imu.units import DEG, STANDARD_GRAVITY


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
    rate_offset: float = 5.0 * DEG
    rate_matrix: float = 0.01
    force_offset: float = 0.15
    force_scale: float = 0.01
    rest_turn: float = 0.03 * DEG
    reach: float = 0.5
    reach_time: float = 1.0
    model_memory: float = 1.0
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

"""What a whole session shares: each sensor's errors and lever arm, and the clock between them.

True rate and specific force from what the sensor read (subscript m):

    ω = (I + G)(ω_m − b_g),    a = (I + A)(a_m − b_a)

with G and A full 3 × 3 matrices (scale and cross-axis errors). The lever arm r runs from the
wrist to the sensor, in the sensor's own axes. The forearm's clock still errs by
``clock_shift + clock_drift · (t − t₀)`` after the first alignment.

The vector of all 56 numbers is ordered forearm, club, clock; per sensor b_g (3), G (9), b_a (3),
A (9), r (3). Its prior is normal, and wide against what data sheets state.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.types import CLUB, FOREARM, FloatArray

PER_SENSOR = 27
GYR_BIAS = slice(0, 3)
GYR_MATRIX = slice(3, 12)
ACC_BIAS = slice(12, 15)
ACC_MATRIX = slice(15, 24)
LEVER = slice(24, 27)
OFFSET = {FOREARM: 0, CLUB: PER_SENSOR}
CLOCK_SHIFT = 2 * PER_SENSOR
CLOCK_DRIFT = CLOCK_SHIFT + 1
SIZE = CLOCK_DRIFT + 1


@dataclass(frozen=True)
class Priors:
    """Standard deviations of the prior, SI; ``*_scale`` on the diagonal, ``*_cross`` off it."""

    gyr_bias: float = 0.05
    gyr_scale: float = 0.008
    gyr_cross: float = 0.005
    acc_bias: float = 0.25
    acc_scale: float = 0.006
    acc_cross: float = 0.004
    lever: float = 0.02

    def vector(self, clock_shift: float, clock_drift: float) -> FloatArray:
        """Standard deviation of each entry of the parameter vector."""
        eye = np.eye(3)
        one = np.concatenate(
            [
                np.full(3, self.gyr_bias),
                np.where(eye, self.gyr_scale, self.gyr_cross).ravel(),
                np.full(3, self.acc_bias),
                np.where(eye, self.acc_scale, self.acc_cross).ravel(),
                np.full(3, self.lever),
            ]
        )
        return np.concatenate([one, one, [clock_shift, clock_drift]])


@dataclass(frozen=True, eq=False)
class SensorErrors:
    """Errors and lever arm of one sensor, as above."""

    gyr_bias: FloatArray
    gyr_matrix: FloatArray
    acc_bias: FloatArray
    acc_matrix: FloatArray
    lever: FloatArray

    def rate(self, read: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(N, 3) true rate, and the rate with only the bias taken off, rad/s."""
        unbiased = read - self.gyr_bias
        return unbiased + unbiased @ self.gyr_matrix.T, unbiased

    def force(self, read: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(N, 3) true specific force, and that with only the bias taken off, m/s²."""
        unbiased = read - self.acc_bias
        return unbiased + unbiased @ self.acc_matrix.T, unbiased

    def vector(self) -> FloatArray:
        """The 27 numbers in order."""
        return np.concatenate(
            [
                self.gyr_bias,
                self.gyr_matrix.ravel(),
                self.acc_bias,
                self.acc_matrix.ravel(),
                self.lever,
            ]
        )


@dataclass(frozen=True, eq=False)
class Shared:
    """All that a session shares; ``clock_origin`` is t₀ above, s."""

    sensors: Mapping[str, SensorErrors]
    clock_shift: float
    clock_drift: float
    clock_origin: float

    def vector(self) -> FloatArray:
        """The 56 numbers in order."""
        return np.concatenate(
            [
                self.sensors[FOREARM].vector(),
                self.sensors[CLUB].vector(),
                [self.clock_shift, self.clock_drift],
            ]
        )

    def at(self, time: FloatArray) -> FloatArray:
        """Error of the forearm's clock at recording times, s."""
        return self.clock_shift + self.clock_drift * (time - self.clock_origin)


def from_vector(vector: FloatArray, clock_origin: float) -> Shared:
    """The inverse of ``Shared.vector``."""
    sensors = {}
    for role, offset in OFFSET.items():
        part = vector[offset : offset + PER_SENSOR]
        sensors[role] = SensorErrors(
            gyr_bias=part[GYR_BIAS],
            gyr_matrix=part[GYR_MATRIX].reshape(3, 3),
            acc_bias=part[ACC_BIAS],
            acc_matrix=part[ACC_MATRIX].reshape(3, 3),
            lever=part[LEVER],
        )
    return Shared(sensors, float(vector[CLOCK_SHIFT]), float(vector[CLOCK_DRIFT]), clock_origin)

"""One least-squares step for one sensor's tilt, velocity and position along each world axis.

Between knots k and k + 1 (duration T), per horizontal axis, with ψ the tilt error that makes
gravity leak into that axis, v velocity, p position, F the vertical specific force, a the
measured world acceleration, and θ the sensor's errors (rate: offset and matrix; force: offset
and scale):

    ψ₊ − ψ = D θ + e + w     gyroscope; w: its noise and wander
    v₊ − v = T (a + F (ψ + ψ₊)/2 + C θ) + n     accelerometer, gravity taken off
    p₊ − p = T (v + v₊)/2
    v = 0 at rest; p ~ 0 within what a standing person can reach

The vertical axis has no ψ. Bounded position is what tells gravity from motion: tilt drift grows
as the time, while an acceleration that leaves the body in reach has next to no power at low
frequency (spectrum ω⁴ times that of position). For constant weights this is a zero-phase
third-order low-pass in the almost-inertial frame, a step steeper than the causal second-order
filter of Laidig & Seel (2023, Information Fusion 91:187-204), run both ways. Unlike a filter it
holds each rest for what it is worth and lets go in a strike. The axes share one banded matrix;
θ is eliminated last (Schur complement).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from imu.fusion.one_sensor.block_tridiagonal import diagonal_of_inverse
from imu.types import FloatArray

_STATES = 3  # ψ, v, p
_LOOSE_TILT = 1e-6  # 1/rad², keeps the matrix regular where nothing tells the tilt


@dataclass(frozen=True, eq=False)
class AxisEquations:
    """What is known along one world axis: K steps, M shared parameters.

    tilt_columns : (M, K). tilt_residual : (K,) rad. speed_columns : (M, K).
    speed_residual : (K,) m/s.
    """

    tilt_columns: FloatArray
    tilt_residual: FloatArray
    speed_columns: FloatArray
    speed_residual: FloatArray


@dataclass(frozen=True, eq=False)
class ChainWeights:
    """Inverse variances. tilt, speed, place : (K,) steps. still, reach : (K + 1,) knots."""

    tilt: FloatArray
    speed: FloatArray
    place: FloatArray
    still: FloatArray
    reach: FloatArray


@dataclass(frozen=True, eq=False)
class AxisSolution:
    """Chain of one axis with the parameters eliminated.

    tilt : (M + 1, K + 1) tilt per unit of each parameter, and (last) with all parameters zero.
    information : (M + 1, M + 1) what is left over for the parameters; the last row and column
    hold the gradient and the remaining sum of squares.
    """

    tilt: FloatArray
    information: FloatArray


class TiltChain:
    """The banded normal equations shared by axes that see the same ``leak``; O(K) throughout.

    duration : (K,) s. leak : (K,) m/s² per rad, the vertical force that a tilt error leads into
    the axis; zero for the vertical axis itself.
    """

    def __init__(self, duration: FloatArray, leak: FloatArray, weights: ChainWeights) -> None:
        steps = len(duration)
        self._weights = weights
        self._half_leak = 0.5 * duration * leak
        jacobian = np.zeros((steps, 3, 2 * _STATES))
        jacobian[:, 0, 0], jacobian[:, 0, 3] = -1.0, 1.0
        jacobian[:, 1, 1], jacobian[:, 1, 4] = -1.0, 1.0
        jacobian[:, 1, 0] = jacobian[:, 1, 3] = -self._half_leak
        jacobian[:, 2, 2], jacobian[:, 2, 5] = -1.0, 1.0
        jacobian[:, 2, 1] = jacobian[:, 2, 4] = -0.5 * duration
        weight = np.stack([weights.tilt, weights.speed, weights.place], axis=1)
        self._normal = np.swapaxes(jacobian * weight[:, :, None], 1, 2) @ jacobian
        band = np.zeros((2 * _STATES, _STATES * (steps + 1)))
        for row in range(2 * _STATES):
            for column in range(row, 2 * _STATES):
                target = band[2 * _STATES - 1 - (column - row)]
                target[column : column + _STATES * steps : _STATES] += self._normal[:, row, column]
        band[-1, 0::_STATES] += _LOOSE_TILT
        band[-1, 1::_STATES] += weights.still
        band[-1, 2::_STATES] += weights.reach
        self._factor = cholesky_banded(band, overwrite_ab=True, check_finite=False)

    def solve(self, equations: AxisEquations) -> AxisSolution:
        """Solve one axis for every parameter column and the constant at once."""
        tilt = np.concatenate([equations.tilt_columns, equations.tilt_residual[None]])
        speed = np.concatenate([equations.speed_columns, equations.speed_residual[None]])
        size = len(tilt)
        # The vertical axis knows nothing of the rates' parameters: spare their columns.
        (used,) = np.nonzero(np.any(tilt, axis=1) | np.any(speed, axis=1))
        tilt, speed = tilt[used], speed[used]
        heavy_tilt, heavy_speed = tilt * self._weights.tilt, speed * self._weights.speed
        steps = tilt.shape[1]
        sides = np.zeros((len(tilt), steps + 1, _STATES))
        leaking = heavy_speed * self._half_leak
        sides[:, :-1, 0] -= heavy_tilt + leaking
        sides[:, 1:, 0] += heavy_tilt - leaking
        sides[:, :-1, 1] -= heavy_speed
        sides[:, 1:, 1] += heavy_speed
        flat = sides.reshape(len(tilt), -1)
        states = cho_solve_banded((self._factor, False), flat.T, check_finite=False).T
        information = np.zeros((size, size))
        information[np.ix_(used, used)] = (
            heavy_tilt @ tilt.T + heavy_speed @ speed.T - flat @ states.T
        )
        turned = np.zeros((size, steps + 1))
        turned[used] = states[:, 0::_STATES]
        return AxisSolution(turned, information)

    def tilt_variance(self) -> FloatArray:
        """(K + 1,) rad², variance of the tilt for known parameters."""
        steps = len(self._normal)
        blocks = np.zeros((steps + 1, _STATES, _STATES))
        blocks[:-1] += self._normal[:, :_STATES, :_STATES]
        blocks[1:] += self._normal[:, _STATES:, _STATES:]
        blocks[:, 0, 0] += _LOOSE_TILT
        blocks[:, 1, 1] += self._weights.still
        blocks[:, 2, 2] += self._weights.reach
        covariance = diagonal_of_inverse(blocks, self._normal[:, :_STATES, _STATES:])
        variance: FloatArray = covariance[:, 0, 0]
        return variance

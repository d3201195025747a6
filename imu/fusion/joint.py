"""The joint acceleration constraint: one swing's residuals and how they answer to each unknown.

Both sensors, carried to the wrist, feel the same specific force (Seel, Schauer & Raisch 2012,
IEEE CCA; Kok, Hol & Schön 2014, IFAC; Weygers & Kok 2020, IEEE Sens J 20:7969-7978):

    e(t) = R_F (a_F − ω_F × (ω_F × r_F) − ω_F′ × r_F) − R_C (a_C − ω_C × (ω_C × r_C) − ω_C′ × r_C)

Derivatives are with respect to small rotations in world axes, R ← exp(φ) R. An error of rate
δω = −(I + G) δb + δG ω_m turns the orientation by φ(t) = ∫ R δω dt, so biases and scales act
through running integrals of R. Unknowns of one swing: the two starting orientations, and a
rotation for each break (``imu.fusion.track``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.fusion.parameters import (
    ACC_BIAS,
    ACC_MATRIX,
    CLOCK_DRIFT,
    CLOCK_SHIFT,
    GYR_BIAS,
    GYR_MATRIX,
    LEVER,
    OFFSET,
    SIZE,
    SensorErrors,
    Shared,
)
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.track import Break, Track, cross_lever, follow, skew
from imu.types import CLUB, FOREARM, FloatArray

COARSE_STEP = 0.006
"""Spacing at which fields of rotation are worked out when only their shape matters, s."""
ROW_SPAN = 0.024
"""Span over which residual and derivatives are averaged to one row, s; rows overlap by half."""


@dataclass(frozen=True, eq=False)
class SwingState:
    """One swing's own unknowns: starting orientations (4,) and break rotations (B, 3) by role."""

    start: Mapping[str, FloatArray]
    breaks: Mapping[str, tuple[Break, ...]]
    turns: Mapping[str, FloatArray]

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 6 + 3 * sum(len(spells) for spells in self.breaks.values())

    def columns(self, role: str) -> tuple[slice, int]:
        """Columns of a sensor's starting rotation, and where its breaks begin."""
        if role == FOREARM:
            return slice(0, 3), 6
        return slice(3, 6), 6 + 3 * len(self.breaks[FOREARM])


def follow_both(
    samples: SwingSamples, shared: Shared, state: SwingState, time: FloatArray | None = None
) -> dict[str, Track]:
    """Tracks of both sensors; ``time``: another uniform base than the swing's own."""
    base = samples.time if time is None else time
    shift = shared.at(base)
    return {
        role: follow(
            samples.sensors[role],
            shared.sensors[role],
            base,
            base - shift if role == FOREARM else base,
            state.start[role],
            state.breaks[role],
            state.turns[role],
        )
        for role in SENSORS
    }


@dataclass(frozen=True, eq=False)
class RotationField:
    """How orientation answers to the unknowns at M coarse instants, world axes.

    rows : index of the instants in the base. matrix : (M, 3, 3) sensor to world.
    rate : (M, 3, 12) answer to the sensor's gyroscope bias and matrix.
    own : (M, 3, S) answer to the swing's own unknowns.
    """

    rows: np.ndarray
    matrix: FloatArray
    rate: FloatArray
    own: FloatArray


def rotation_field(
    track: Track, errors: SensorErrors, state: SwingState, role: str, stride: int
) -> RotationField:
    """Answers of one sensor's orientation at every ``stride``-th instant."""
    rows = np.arange(0, len(track.time), stride)
    time = track.time[rows]
    step = float(time[1] - time[0])
    matrix = track.matrix()[rows]
    rate = np.empty((len(rows), 3, 12))
    rate[:, :, GYR_BIAS] = -(matrix @ (np.eye(3) + errors.gyr_matrix))
    rate[:, :, GYR_MATRIX] = outer(matrix, track.rate_read[rows])
    half = 0.5 * step * rate
    running = np.cumsum(half, axis=0)
    running[1:] += np.cumsum(half[:-1], axis=0)
    running -= half[:1]
    own = np.zeros((len(rows), 3, state.size))
    starting, first_break = state.columns(role)
    own[:, :, starting] = np.eye(3)
    for number, spell in enumerate(state.breaks[role]):
        column = first_break + 3 * number
        own[:, :, column : column + 3] = spell.ramp(time)[:, None, None] * np.eye(3)
    return RotationField(rows, matrix, running, own)


def outer(matrix: FloatArray, vectors: FloatArray) -> FloatArray:
    """(M, 3, 9): how ``matrix @ X @ vector`` answers to the nine entries of X."""
    product = matrix[:, :, :, None] * vectors[:, None, None, :]
    return product.reshape(len(vectors), 3, 9)


@dataclass(frozen=True, eq=False)
class JointRows:
    """Residuals at M instants. error : (M, 3) m/s². shared, own : (M, 3, ·) derivatives.

    size : (M,) m/s², how large the terms are that should cancel.
    """

    rows: np.ndarray
    error: FloatArray
    shared: FloatArray
    own: FloatArray
    size: FloatArray


def joint_rows(
    samples: SwingSamples,
    shared: Shared,
    state: SwingState,
    tracks: Mapping[str, Track],
    fields: Mapping[str, RotationField],
) -> JointRows:
    """Residuals and derivatives of the constraint where both sensors can be trusted.

    fields : at every sample of the base. Residual and derivatives are averaged over short spans
    together: the angular acceleration's noise, which would act like noise in a regressor and
    shrink the lever arms, then all but cancels, and nothing is distorted.
    """
    all_rows = fields[CLUB].rows
    time = samples.time[all_rows]
    good = samples.usable(time, shared.at(time))
    rows = all_rows[good]
    count = len(rows)
    by_shared = np.zeros((count, 3, SIZE))
    by_own = np.zeros((count, 3, state.size))
    size = np.zeros(count)
    for role, sign in ((FOREARM, 1.0), (CLUB, -1.0)):
        errors, track, field = shared.sensors[role], tracks[role], fields[role]
        offset = OFFSET[role]
        matrix = field.matrix[good]
        turned = -sign * skew(track.wrist[rows])
        by_own += turned @ field.own[good]
        rate, change, lever = track.rate[rows], track.rate_change[rows], errors.lever
        scale_rate = np.eye(3) + errors.gyr_matrix
        swing = skew(rate)
        # d(−ω × (ω × r)) = ([ω × r]× + [ω]× [r]×) dω and d(−ω′ × r) = [r]× dω′
        by_rate = skew(cross_lever(rate, lever)) + swing @ skew(lever)
        change_read = np.linalg.solve(scale_rate, change.T).T
        block = np.zeros((count, 3, 27))
        block[:, :, :12] = turned @ field.rate[good]
        block[:, :, GYR_BIAS] -= sign * (matrix @ by_rate @ scale_rate)
        block[:, :, GYR_MATRIX] += sign * outer(matrix @ by_rate, track.rate_read[rows])
        block[:, :, GYR_MATRIX] += sign * outer(matrix @ skew(lever), change_read)
        block[:, :, ACC_BIAS] = -sign * (matrix @ (np.eye(3) + errors.acc_matrix))
        block[:, :, ACC_MATRIX] = sign * outer(matrix, track.force_read[rows])
        block[:, :, LEVER] = -sign * (matrix @ (swing @ swing + skew(change)))
        by_shared[:, :, offset : offset + 27] = block
        size += np.sqrt(np.einsum("ni,ni->n", track.force[rows], track.force[rows]))
    slope = np.gradient(tracks[FOREARM].wrist, samples.step, axis=0)[rows]
    by_shared[:, :, CLOCK_SHIFT] = -slope
    by_shared[:, :, CLOCK_DRIFT] = -slope * (samples.time[rows] - shared.clock_origin)[:, None]
    error = (tracks[FOREARM].wrist - tracks[CLUB].wrist)[rows]
    for role in SENSORS:
        clipped = samples.clipped_axes(role, time[good], shared.at(time[good]))
        for axis in range(3):
            (which,) = np.nonzero(clipped[:, axis])
            if len(which):
                _leave_out(fields[role].matrix[good][which, :, axis], which, error)
                _leave_out(fields[role].matrix[good][which, :, axis], which, by_shared)
                _leave_out(fields[role].matrix[good][which, :, axis], which, by_own)
    span = max(2, round(ROW_SPAN / samples.step))
    means = _Means(rows, len(all_rows), span)
    return JointRows(
        means.centers, means.of(error), means.of(by_shared), means.of(by_own), means.of(size)
    )


class _Means:
    """Means over half-overlapping windows of the good rows in them; at least half must be good."""

    def __init__(self, rows: np.ndarray, length: int, span: int) -> None:
        self._first = np.arange(0, max(length - span, 0) + 1, max(1, span // 2))
        self._last = np.minimum(self._first + span, length)
        good = np.zeros(length + 1, dtype=np.int64)
        good[rows + 1] = 1
        # Number of good rows before each place: where windows begin and end among them.
        before = np.cumsum(good)
        self._begin, self._end = before[self._first], before[self._last]
        full = self._end - self._begin >= max(2, span // 2)
        self._begin, self._end = self._begin[full], self._end[full]
        self.centers = (self._first + self._last)[full] // 2

    def of(self, values: FloatArray) -> FloatArray:
        """(W, ...) means of (M, ...) values at the good rows."""
        running = np.zeros((len(values) + 1, *values.shape[1:]))
        np.cumsum(values, axis=0, out=running[1:])
        total = running[self._end] - running[self._begin]
        count = (self._end - self._begin).reshape(-1, *([1] * (values.ndim - 1)))
        return np.asarray(total / count, dtype=np.float64)


def _leave_out(direction: FloatArray, rows: np.ndarray, values: FloatArray) -> None:
    """Take from ``values[rows]`` (M, 3, ...) its part along unit ``direction`` (M, 3), in place.

    A clipped axis says nothing along itself, but the other two still bind the joint.
    """
    part = np.einsum("mi,mi...->m...", direction, values[rows])
    values[rows] -= np.einsum("mi,m...->mi...", direction, part)

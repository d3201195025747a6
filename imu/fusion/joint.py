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
    PER_SENSOR,
    SIZE,
    SensorErrors,
    Shared,
)
from imu.fusion.rotation_scan import integrate_rates
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.track import Break, Track, cross_lever, follow, read_sensor, skew
from imu.types import CLUB, FOREARM, BoolArray, FloatArray

COARSE_STEP = 0.01
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
    at = {FOREARM: base - shared.at(base), CLUB: base}
    readings = [read_sensor(samples.sensors[r], shared.sensors[r], at[r]) for r in SENSORS]
    integrals = integrate_rates(base, np.stack([reading.rate for reading in readings]))
    return {
        role: follow(
            reading,
            integral,
            shared.sensors[role].lever,
            base,
            state.start[role],
            state.breaks[role],
            state.turns[role],
        )
        for role, reading, integral in zip(SENSORS, readings, integrals, strict=True)
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
    track: Track,
    errors: SensorErrors,
    state: SwingState,
    role: str,
    stride: int,
    onward: bool = False,
) -> RotationField:
    """Answers of one sensor's orientation at every ``stride``-th instant.

    onward : breaks that end in the strike go on growing past it (``Break.ramp_onward``).
    """
    rows = np.arange(0, len(track.time), stride)
    time = track.time[rows]
    step = float(time[1] - time[0])
    matrix = track.matrix()[rows]
    rate = np.empty((len(rows), 3, 12))
    rate[:, :, GYR_BIAS] = -(matrix @ (np.eye(3) + errors.gyr_matrix))
    rate[:, :, GYR_MATRIX] = outer(matrix, track.rate_read[rows])
    rate *= 0.5 * step
    running = np.zeros_like(rate)
    np.cumsum(rate[:-1] + rate[1:], axis=0, out=running[1:])
    own = np.zeros((len(rows), 3, state.size))
    starting, first_break = state.columns(role)
    own[:, :, starting] = np.eye(3)
    for number, spell in enumerate(state.breaks[role]):
        column = first_break + 3 * number
        ramp = spell.ramp_onward(time) if onward else spell.ramp(time)
        own[:, :, column : column + 3] = ramp[:, None, None] * np.eye(3)
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
    time = samples.time
    good = samples.usable(time, shared.at(time))
    windows = _Windows(good, max(2, round(ROW_SPAN / samples.step)))
    aim = good[:, None, None] * _unclipped(samples, shared, fields)
    by_shared = np.zeros((len(windows), 3, SIZE))
    by_own = np.zeros((len(windows), 3, state.size))
    size = np.zeros(len(time))
    for role, sign in ((FOREARM, 1.0), (CLUB, -1.0)):
        errors, track, field = shared.sensors[role], tracks[role], fields[role]
        matrix = sign * (aim @ field.matrix)
        turned = -sign * (aim @ skew(track.wrist))
        rate, change, lever = track.rate, track.rate_change, errors.lever
        swing, arm = skew(rate), skew(lever)
        # d(−ω × (ω × r)) = ([ω × r]× + [ω]× [r]×) dω and d(−ω′ × r) = [r]× dω′
        by_rate = matrix @ (skew(cross_lever(rate, lever)) + swing @ arm)
        scale_rate = np.eye(3) + errors.gyr_matrix
        change_read = np.asarray(np.linalg.solve(scale_rate, change.T).T, dtype=np.float64)
        by_change = windows.outer(matrix, change_read).reshape(-1, 3, 3, 3)
        block = by_shared[:, :, OFFSET[role] : OFFSET[role] + PER_SENSOR]
        block[:, :, :12] = windows.product(turned, field.rate)
        block[:, :, GYR_BIAS] -= windows.mean(by_rate) @ scale_rate
        block[:, :, GYR_MATRIX] += windows.outer(by_rate, track.rate_read)
        block[:, :, GYR_MATRIX] += np.einsum("wimk,mj->wijk", by_change, arm).reshape(-1, 3, 9)
        block[:, :, ACC_BIAS] = -windows.mean(matrix) @ (np.eye(3) + errors.acc_matrix)
        block[:, :, ACC_MATRIX] = windows.outer(matrix, track.force_read)
        block[:, :, LEVER] = -windows.mean(matrix @ (swing @ swing + skew(change)))
        by_own += windows.product(turned, field.own)
        size += np.sqrt(np.einsum("ni,ni->n", track.force, track.force))
    slope = np.gradient(tracks[FOREARM].wrist, samples.step, axis=0)
    slope = np.einsum("nij,nj->ni", aim, slope)
    by_shared[:, :, CLOCK_SHIFT] = -windows.mean(slope)
    by_shared[:, :, CLOCK_DRIFT] = -windows.mean(slope * (time - shared.clock_origin)[:, None])
    error = np.einsum("nij,nj->ni", aim, tracks[FOREARM].wrist - tracks[CLUB].wrist)
    return JointRows(
        windows.centers, windows.mean(error), by_shared, by_own, windows.mean(good * size)
    )


class _Windows:
    """Means over half-overlapping windows of the good rows in them; at least half must be good.

    Values handed in are zero at rows that are not good. Sums over half windows are taken first,
    products inside them by matrix multiplication, so that no product is kept row by row.
    """

    def __init__(self, good: BoolArray, span: int) -> None:
        self._half = span // 2
        self._count = len(good) // self._half
        halves = np.count_nonzero(self._cut(good), axis=1)
        count = halves[:-1] + halves[1:]
        (self._full,) = np.nonzero(count >= max(2, self._half))
        self._good = count[self._full]
        self.centers = self._full * self._half + self._half

    def __len__(self) -> int:
        return len(self._full)

    def mean(self, values: FloatArray) -> FloatArray:
        """(W, ...) means of (N, ...)."""
        return self._windows(self._cut(values).sum(axis=1))

    def product(self, left: FloatArray, right: FloatArray) -> FloatArray:
        """(W, 3, K) means of the products of (N, 3, 3) and (N, 3, K)."""
        width = 3 * self._half
        wide = self._cut(left).transpose(0, 2, 1, 3).reshape(self._count, 3, width)
        return self._windows(wide @ self._cut(right).reshape(self._count, width, -1))

    def outer(self, left: FloatArray, vectors: FloatArray) -> FloatArray:
        """(W, 3, 9) means of ``outer`` of (N, 3, 3) and (N, 3)."""
        tall = self._cut(left).reshape(self._count, self._half, 9).transpose(0, 2, 1)
        return self._windows((tall @ self._cut(vectors)).reshape(self._count, 3, 9))

    def _cut(self, values: np.ndarray) -> np.ndarray:
        whole = values[: self._count * self._half]
        return whole.reshape(self._count, self._half, *values.shape[1:])

    def _windows(self, halves: FloatArray) -> FloatArray:
        total = halves[self._full] + halves[self._full + 1]
        return np.asarray(total / self._good.reshape(-1, *([1] * (halves.ndim - 1))))


def _unclipped(
    samples: SwingSamples, shared: Shared, fields: Mapping[str, RotationField]
) -> FloatArray:
    """(N, 3, 3) matrices that take from a world vector its parts along clipped sensor axes.

    A clipped axis says nothing along itself, but the other two still bind the joint.
    """
    time = samples.time
    keep = np.tile(np.eye(3), (len(time), 1, 1))
    for role in SENSORS:
        clipped = samples.clipped_axes(role, time, shared.at(time))
        for axis in range(3):
            (which,) = np.nonzero(clipped[:, axis])
            if len(which):
                along = fields[role].matrix[which, :, axis]
                keep[which] -= (
                    along[:, :, None] * np.einsum("mi,mij->mj", along, keep[which])[:, None]
                )
    return keep

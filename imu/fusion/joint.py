"""The joint acceleration constraint: one swing's residuals and how they answer to each unknown.

Both sensors, carried to the wrist, feel the same specific force (Seel, Schauer & Raisch 2012,
IEEE CCA; Kok, Hol & Schön 2014, IFAC; Weygers & Kok 2020, IEEE Sens J 20:7969-7978):

    e(t) = R_F (a_F − ω_F × (ω_F × r_F) − ω_F′ × r_F) − R_C (a_C − ω_C × (ω_C × r_C) − ω_C′ × r_C)

Derivatives are with respect to small rotations in world axes, R ← exp(φ) R. An error of rate
δω = −(I + G) δb + δG (ω_m − b) turns the orientation by φ(t) = ∫ R δω dt, so biases and scales act
through running integrals of R. An error of the forearm's clock acts as a shift of its force at the
wrist; that a drift also stretches the swing by parts in a million is left out. Unknowns of one
swing: the two starting orientations, and a rotation for each break (``imu.fusion.track``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from imu.fusion.track import Break, Reading, Track, cross_lever, follow, read_sensor, skew
from imu.types import CLUB, FOREARM, BoolArray, FloatArray

COARSE_STEP = 0.01
"""Spacing at which fields of rotation are worked out when only their shape matters, s."""
_TOGETHER = 4
"""Swings integrated together: more spare no more, and leave the processor's cache."""
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
    return follow_all([samples], shared, [state], None if time is None else [time])[0]


def follow_all(
    swings: Sequence[SwingSamples],
    shared: Shared,
    states: Sequence[SwingState],
    times: Sequence[FloatArray] | None = None,
) -> list[dict[str, Track]]:
    """Tracks of both sensors over several swings; the integrals of some of them are run together.

    times : other uniform bases than the swings' own, all of one step.
    """
    bases = [samples.time for samples in swings] if times is None else list(times)
    tracks: list[dict[str, Track]] = []
    for first in range(0, len(swings), _TOGETHER):
        part = slice(first, first + _TOGETHER)
        tracks += _follow_some(swings[part], shared, states[part], bases[part])
    return tracks


def _follow_some(
    swings: Sequence[SwingSamples],
    shared: Shared,
    states: Sequence[SwingState],
    bases: Sequence[FloatArray],
) -> list[dict[str, Track]]:
    readings: list[dict[str, Reading]] = []
    for samples, base in zip(swings, bases, strict=True):
        at = {FOREARM: base - shared.at(base), CLUB: base}
        readings.append(
            {r: read_sensor(samples.sensors[r], shared.sensors[r], at[r]) for r in SENSORS}
        )
    longest = max(len(base) for base in bases)
    rates = np.empty((len(bases), len(SENSORS), longest, 3))
    for row, pair in zip(rates, readings, strict=True):
        for one, role in zip(row, SENSORS, strict=True):
            rate = pair[role].rate
            # Shorter swings go on at their last rate; what that adds is left out again below.
            one[: len(rate)], one[len(rate) :] = rate, rate[-1]
    clock = np.arange(longest) * float(bases[0][1] - bases[0][0])
    integrals = integrate_rates(
        np.broadcast_to(clock, (2 * len(bases), longest)), rates.reshape(-1, longest, 3)
    ).reshape(*rates.shape[:-1], 4)
    return [
        {
            role: follow(
                pair[role],
                integral[: len(base)],
                shared.sensors[role].lever,
                base,
                state.start[role],
                state.breaks[role],
                state.turns[role],
            )
            for role, integral in zip(SENSORS, row, strict=True)
        }
        for pair, row, base, state in zip(readings, integrals, bases, states, strict=True)
    ]


@dataclass(frozen=True, eq=False)
class RotationField:
    """How orientation answers to the unknowns at M coarse instants, world axes.

    rows : index of the instants in the base. matrix : (M, 3, 3) sensor to world.
    rate : (M, 3, 12) answer to the sensor's gyroscope bias and matrix.
    starting : columns of the swing's own unknowns that turn the start, and with it everything.
    ramps : (B, M), how far the sensor's breaks have turned it; their columns follow from
    ``first_break`` on, three each. size : number of the swing's own unknowns.
    """

    rows: np.ndarray
    matrix: FloatArray
    rate: FloatArray
    starting: slice
    ramps: FloatArray
    first_break: int
    size: int

    def break_columns(self) -> list[tuple[slice, FloatArray]]:
        """Columns and ramp (M,) of each break."""
        first = self.first_break
        return [(slice(first + 3 * k, first + 3 * k + 3), r) for k, r in enumerate(self.ramps)]

    def own(self, rows: slice = slice(None)) -> FloatArray:
        """(K, 3, S) answer to the swing's own unknowns at some of the instants."""
        answer = np.zeros((len(self.rows[rows]), 3, self.size))
        answer[:, :, self.starting] = np.eye(3)
        for columns, ramp in self.break_columns():
            answer[:, :, columns] = ramp[rows, None, None] * np.eye(3)
        return answer


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
    matrix = track.matrix(slice(0, None, stride))
    rate = np.empty((len(rows), 3, 12))
    rate[:, :, GYR_BIAS] = -(matrix @ (np.eye(3) + errors.gyr_matrix))
    rate[:, :, GYR_MATRIX] = outer(matrix, track.rate_read[rows])
    rate *= 0.5 * step
    running = np.zeros_like(rate)
    np.cumsum(rate[:-1] + rate[1:], axis=0, out=running[1:])
    starting, first_break = state.columns(role)
    ramps = [
        spell.ramp_onward(time) if onward else spell.ramp(time) for spell in state.breaks[role]
    ]
    return RotationField(
        rows,
        matrix,
        running,
        starting,
        np.array(ramps).reshape(-1, len(rows)),
        first_break,
        state.size,
    )


def outer(matrix: FloatArray, vectors: FloatArray) -> FloatArray:
    """(M, 3, 9): how ``matrix @ X @ vector`` answers to the nine entries of X."""
    product = matrix[:, :, :, None] * vectors[:, None, None, :]
    return product.reshape(len(vectors), 3, 9)


@dataclass(frozen=True, eq=False)
class JointRows:
    """Residuals at M instants. error : (M, 3) m/s². shared, own : (M, 3, ·) derivatives.

    rows : (M,) index of the instants in the base. size : (M,) m/s², how large the terms are that
    should cancel: both sensors' forces added up.
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
    keep = _unclipped(samples, shared, fields)
    weight = good.astype(np.float64)
    by_shared = np.zeros((len(windows), 3, SIZE))
    by_own = np.zeros((len(windows), 3, state.size))
    size = np.zeros(len(time))
    for role, sign in ((FOREARM, 1.0), (CLUB, -1.0)):
        errors, track, field = shared.sensors[role], tracks[role], fields[role]
        matrix = _seen(field.matrix, keep, sign * weight)
        turned = _seen(skew(track.wrist), keep, -sign * weight)
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
        by_own[:, :, field.starting] = windows.mean(turned)
        for columns, ramp in field.break_columns():
            by_own[:, :, columns] = windows.mean(turned * ramp[:, None, None])
        size += np.sqrt(np.einsum("ni,ni->n", track.force, track.force))
    slope = np.gradient(tracks[FOREARM].wrist, samples.step, axis=0)
    slope = _seen(slope[:, :, None], keep, weight)[:, :, 0]
    by_shared[:, :, CLOCK_SHIFT] = -windows.mean(slope)
    by_shared[:, :, CLOCK_DRIFT] = -windows.mean(slope * (time - shared.clock_origin)[:, None])
    error = (tracks[FOREARM].wrist - tracks[CLUB].wrist)[:, :, None]
    error = _seen(error, keep, weight)[:, :, 0]
    return JointRows(
        windows.centers, windows.mean(error), by_shared, by_own, windows.mean(weight * size)
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
        self._share = 1.0 / count[self._full]
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
        if len(self._full) == len(halves) - 1:  # nothing lost: neighbours without picking
            total = halves[:-1] + halves[1:]
        else:
            total = halves[self._full] + halves[self._full + 1]
        total *= self._share.reshape(-1, *([1] * (halves.ndim - 1)))
        return total


def force_angle(error: FloatArray, size: FloatArray) -> FloatArray:
    """(M,) rad, angle by which the two sensors' forces at the wrist point apart.

    error : (M, 3) m/s², their difference. size : (M,) m/s², both forces added up, of which half is
    one wrist's force. One axis of three, so the root of three.
    """
    return np.asarray(np.linalg.norm(error, axis=1) / size * 2.0 / np.sqrt(3.0))


def _seen(values: FloatArray, keep: FloatArray | None, weight: FloatArray) -> FloatArray:
    """(N, 3, K) less what clipped axes can't see, each row times its weight (N,)."""
    seen = values if keep is None else keep @ values
    return seen * weight[:, None, None]


def _unclipped(
    samples: SwingSamples, shared: Shared, fields: Mapping[str, RotationField]
) -> FloatArray | None:
    """(N, 3, 3) matrices that take from a world vector its parts along clipped sensor axes.

    A clipped axis says nothing along itself, but the other two still bind the joint. None when
    no axis was clipped.
    """
    time = samples.time
    flags = {role: samples.clipped_axes(role, time, shared.at(time)) for role in SENSORS}
    if not any(clipped.any() for clipped in flags.values()):
        return None
    keep = np.tile(np.eye(3), (len(time), 1, 1))
    for role, clipped in flags.items():
        for axis in range(3):
            (which,) = np.nonzero(clipped[:, axis])
            if len(which):
                along = fields[role].matrix[which, :, axis]
                keep[which] -= (
                    along[:, :, None] * np.einsum("mi,mij->mj", along, keep[which])[:, None]
                )
    return keep

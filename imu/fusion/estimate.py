"""The session as one estimation problem, solved by Gauss-Newton with robust weights.

Minimised: the joint constraint over every swing, gravity at every rest, gyroscope bias and
gravity's length at all rests, and the priors (``imu.fusion.parameters``). Each swing's own
unknowns are eliminated block by block (Schur complement), so the cost is linear in swings:

    S = Λ₀ + Σ (H_ss − H_so H_oo⁻¹ H_os),   δ_shared = S⁻¹ g,   δ_own = H_oo⁻¹ (g_o − H_os δ_shared)

Weights. The residual of the joint is noise plus model error (flesh and shaft give, filters
differ) that grows with the forces: sigma = s (σ₀ + κ · force). The session's own residuals set s,
and a Student-t weight (ν = 4, iteratively reweighted; Lange, Little & Taylor 1989) bounds what a
bad spell can do. Neighbouring rows err alike: weights are divided by the correlation length of
the residuals (``imu.fusion.correlation``), so that the covariance S⁻¹ is honest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.correlation import correlation_length
from imu.fusion.gravity import bias_evidence, spells_within, upright_row
from imu.fusion.joint import (
    RotationField,
    SwingState,
    follow_all,
    force_angle,
    joint_rows,
    rotation_field,
)
from imu.fusion.parameters import GYR_BIAS, OFFSET, Priors, Shared, from_vector
from imu.fusion.quaternion import from_rotvec, multiply
from imu.fusion.rest import RestSpells
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.track import Track
from imu.types import FloatArray

NOISE_FLOOR = 0.1
"""σ₀ above, m/s²."""
FORCE_SHARE = 0.005
"""κ above."""
_STUDENT = 4.0
_MOST_STEPS = 12
_SETTLED_STEP = 0.03
_SETTLED_SPREAD = 0.1
"""The fit has settled when its step is so small a part of the priors, and the residuals' spread so
near to what is expected."""
_START_ROTATION = 1.0
"""rad, prior of the starting orientations: next to none."""
_SMALLEST_SCALE = 0.02
_GIVE_UNSEEN = 0.005
"""rad, give taken where no downswing could be compared."""


@dataclass(frozen=True, eq=False)
class SwingFit:
    """One swing after the fit.

    state : its own unknowns. covariance : (S, S) of them with the shared ones held fixed.
    answer : (S, 56), change of the own unknowns with the shared ones. residual : robust rms of the
    joint constraint in the swing, over what the model expects (1 is as expected); NaN where the
    two sensors could nowhere be compared.
    """

    state: SwingState
    covariance: FloatArray
    answer: FloatArray
    residual: float


@dataclass(frozen=True, eq=False)
class SessionFit:
    """The session after the fit.

    shared, covariance : the 56 shared numbers and their covariance. swings : in the order given.
    scale : s above. correlation : rows that err alike. steps : taken. converged : whether the last
    step was small. give : rad, how far the two sensors' forces at the wrist point apart in the
    downswings, by which a sensor seems to turn on its segment.
    """

    shared: Shared
    covariance: FloatArray
    swings: tuple[SwingFit, ...]
    scale: float
    correlation: float
    steps: int
    converged: bool
    give: float


@dataclass(eq=False)
class _Normal:
    """Normal equations of one swing.

    normalised : (M, 3) residuals over their standard deviation. rows : (M,) their places.
    apart : (D,) rad, angles between the two sensors' forces in the downswing.
    """

    shared: FloatArray
    cross: FloatArray
    own: FloatArray
    shared_gradient: FloatArray
    own_gradient: FloatArray
    normalised: FloatArray
    rows: np.ndarray
    apart: FloatArray


@dataclass(frozen=True, eq=False)
class Guess:
    """Where a fit starts: shared and own unknowns, and the residuals' scale and correlation."""

    shared: Shared
    states: tuple[SwingState, ...]
    scale: float = 3.0
    correlation: float = 6.0


def fit_session(
    swings: Sequence[SwingSamples],
    rests: Mapping[str, RestSpells],
    guess: Guess,
    expected: Shared,
    clock_sigma: tuple[float, float],
) -> SessionFit:
    """Estimate all unknowns of a session of one swing or more.

    rests : by role. guess : where to start, with a state for each swing. expected : the prior's
    centre (``imu.fusion.start``; for the gyroscope's bias zero is taken). clock_sigma : standard
    errors of the first clock alignment: shift in s, drift.
    """
    sigma = Priors().vector(*clock_sigma)
    center = expected.vector()
    for offset in OFFSET.values():
        center[offset + GYR_BIAS.start : offset + GYR_BIAS.stop] = 0.0
    shared, current = guess.shared, list(guess.states)
    scale, correlation = guess.scale, guess.correlation
    converged = False
    steps = 0
    for steps in range(1, _MOST_STEPS + 1):
        normals = [
            _normal(swing, rests, shared, state, tracks, scale, correlation)
            for swing, state, tracks in zip(
                swings, current, follow_all(swings, shared, current), strict=True
            )
        ]
        total, gradient, inverses = _reduce(normals, rests, shared, sigma, center)
        covariance: FloatArray = np.linalg.inv(total).astype(np.float64)
        move = covariance @ gradient
        size = float(np.sqrt(np.mean((move / sigma) ** 2)))
        shared = from_vector(shared.vector() + move, shared.clock_origin)
        current = [
            _moved(state, inverse @ (normal.own_gradient - normal.cross.T @ move))
            for state, normal, inverse in zip(current, normals, inverses, strict=True)
        ]
        spread = _robust_rms(np.concatenate([normal.normalised for normal in normals]))
        if math.isnan(spread):
            spread = 1.0  # nothing can be compared: the scale stays as guessed
        if size < _SETTLED_STEP and abs(spread - 1.0) < _SETTLED_SPREAD:
            converged = True
            break
        if steps > 1:  # at the first step the swings are not laid out yet
            scale = max(_SMALLEST_SCALE, scale * spread)
            correlation = correlation_length(
                [normal.normalised for normal in normals], [normal.rows for normal in normals]
            )
    fits = tuple(
        SwingFit(state, inverse, -inverse @ normal.cross.T, _robust_rms(normal.normalised))
        for state, normal, inverse in zip(current, normals, inverses, strict=True)
    )
    apart = np.concatenate([normal.apart for normal in normals])
    give = float(np.median(apart)) if len(apart) else _GIVE_UNSEEN
    return SessionFit(shared, covariance, fits, scale, correlation, steps, converged, give)


def _normal(
    swing: SwingSamples,
    rests: Mapping[str, RestSpells],
    shared: Shared,
    state: SwingState,
    tracks: Mapping[str, Track],
    scale: float,
    correlation: float,
) -> _Normal:
    fields: dict[str, RotationField] = {
        role: rotation_field(tracks[role], shared.sensors[role], state, role, 1) for role in SENSORS
    }
    joint = joint_rows(swing, shared, state, tracks, fields)
    sigma = scale * (NOISE_FLOOR + FORCE_SHARE * joint.size)
    normalised = joint.error / sigma[:, None]
    weight = (_STUDENT + 3.0) / (_STUDENT + np.einsum("ni,ni->n", normalised, normalised))
    weight = np.repeat(weight / (sigma**2 * correlation), 3)
    by_shared = joint.shared.reshape(-1, joint.shared.shape[2])
    by_own = joint.own.reshape(-1, state.size)
    error = joint.error.ravel()
    weighted = by_shared * weight[:, None]
    own_weighted = by_own * weight[:, None]
    shared_h = weighted.T @ by_shared
    cross_h = weighted.T @ by_own
    own_h = own_weighted.T @ by_own
    shared_g = -weighted.T @ error
    own_g = -own_weighted.T @ error
    for role in SENSORS:
        for spell in spells_within(rests[role], float(swing.time[0]), float(swing.time[-1])):
            miss, row, own, spread = upright_row(
                tracks[role], fields[role], shared.sensors[role], role, spell
            )
            trust = (_STUDENT + 3.0) / (_STUDENT + float(miss @ miss) / spread**2) / spread**2
            shared_h += trust * row.T @ row
            cross_h += trust * row.T @ own
            own_h += trust * own.T @ own
            shared_g -= trust * row.T @ miss
            own_g -= trust * own.T @ miss
    prior, at = _own_prior(state)
    own_h[np.diag_indices(state.size)] += prior
    own_g -= prior * at
    time = swing.time[joint.rows]
    down = (time > swing.window.top) & (time < swing.window.impact)
    apart = force_angle(joint.error[down], joint.size[down])
    return _Normal(shared_h, cross_h, own_h, shared_g, own_g, normalised, joint.rows, apart)


def _own_prior(state: SwingState) -> tuple[FloatArray, FloatArray]:
    """Precision and present value of the swing's own unknowns."""
    sigma = np.full(state.size, _START_ROTATION)
    value = np.zeros(state.size)
    for role in SENSORS:
        _, first = state.columns(role)
        for number, spell in enumerate(state.breaks[role]):
            columns = slice(first + 3 * number, first + 3 * number + 3)
            sigma[columns] = spell.sigma
            value[columns] = state.turns[role][number]
    return 1.0 / sigma**2, value


def _reduce(
    normals: Sequence[_Normal],
    rests: Mapping[str, RestSpells],
    shared: Shared,
    sigma: FloatArray,
    center: FloatArray,
) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
    """Normal equations of the shared unknowns, and each swing's own inverse."""
    total = np.diag(1.0 / sigma**2)
    gradient = (center - shared.vector()) / sigma**2
    for role in SENSORS:
        information, pull = bias_evidence(rests[role], shared.sensors[role], role)
        total += information
        gradient += pull
    inverses: list[FloatArray] = []
    for normal in normals:
        inverse: FloatArray = np.linalg.inv(normal.own).astype(np.float64)
        inverses.append(inverse)
        folded = normal.cross @ inverse
        total += normal.shared - folded @ normal.cross.T
        gradient += normal.shared_gradient - folded @ normal.own_gradient
    return total, gradient, inverses


def _moved(state: SwingState, move: FloatArray) -> SwingState:
    start, turns = {}, {}
    for role in SENSORS:
        columns, first = state.columns(role)
        start[role] = multiply(from_rotvec(move[columns]), state.start[role])
        count = len(state.breaks[role])
        turns[role] = state.turns[role] + move[first : first + 3 * count].reshape(count, 3)
    return SwingState(start, state.breaks, turns)


def _robust_rms(normalised: FloatArray) -> float:
    """Root mean square of most entries (the normal law's, from the median); NaN of none."""
    return 1.4826 * float(np.median(np.abs(normalised))) if len(normalised) else float("nan")

"""From the covariance of the fit to the standard error of every number (delta method).

The unknowns behind a swing (the shared parameters, its own, and the tilt of both long axes) have
a joint covariance. Each acts on the two orientations as a field of small rotations over the
swing. The fields of all unknowns, scaled by the covariance's square root, are reduced by singular
values to a handful of independent *errors*: motions that differ from the estimate by one standard
deviation in one direction. A number's variance is the sum of squares of its changes under them
(Julier & Uhlmann 1997 for one-sided finite steps in place of derivatives).

What the fit can't see is added as further errors: the strike's time, and *give* (flesh under the
forearm strap, bend of the shaft under load): smooth rotations of each sensor against its segment,
as large as the session's own residuals at the wrist let one expect (``SessionFit.give``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.fusion.axes import Mounting
from imu.fusion.estimate import SessionFit, SwingFit
from imu.fusion.joint import COARSE_STEP, SwingState, rotation_field
from imu.fusion.movements import Movements, turn
from imu.fusion.parameters import CLOCK_DRIFT, CLOCK_SHIFT, OFFSET, SIZE
from imu.fusion.quaternion import from_rotvec
from imu.fusion.samples import SENSORS
from imu.fusion.track import Track
from imu.types import CLUB, FOREARM, FloatArray, Motion, SwingWindow
from imu.units import DEG

_MOST_ERRORS = 24
_NEGLIGIBLE = (0.02 * DEG) ** 2
GIVE_SHARE = 3.5
"""Give that a session's residuals reveal understates what they can't see by about so much: a turn
of a sensor changes the wrist's force only across itself, and the fit follows part of it."""
SLIDE_SHARE = 3.0
"""How much more the strap slides about the forearm than it tilts along it."""
BEND_SHARES = (0.6, 1.2)
"""Parts of the give that hold for the club, in its plane and across it: below the grip a shaft
bends less than flesh gives under a strap, and the head hangs beside its line."""
GIVE_DIFFERS, SLIDE_DIFFERS = 0.4, 0.1
"""Part of the give that differs from swing to swing: flesh moves much alike each time, and the
strap's slide about the forearm most of all."""
_SPREAD_SHARE = 0.5
_GIVE_WIDTH = 0.05
_GIVE_AT_ADDRESS = 0.2
_LOAD_AT_ADDRESS, _LOAD_GOING_BACK, _LOAD_TURNING, _LOAD_COMING_DOWN = 0.2, 0.5, 1.0, 0.7
"""Flesh and shaft give with the load: little before the downswing, most where it turns; after that
the club's pull grows steadily and holds them. As in simulated sessions (seeds 2000 to 2009)."""


@dataclass(frozen=True, eq=False)
class MotionErrors:
    """K independent one-sigma errors of a swing's motion, at M coarse instants.

    time : (M,) s. rotation : by role (K, M, 3) rad, world axes.
    own : (K, J), how the K errors make up J causes that differ from swing to swing: with Δ (K,)
    a number's changes under the errors, the swing's own part of its error is ‖Δ @ own‖.
    give : rad, of the session's fit (``SessionFit.give``).
    """

    time: FloatArray
    rotation: Mapping[str, FloatArray]
    own: FloatArray
    give: float

    def __len__(self) -> int:
        return len(self.rotation[FOREARM])

    def act_on(self, movement: Movements, unmoved: int = 0) -> Movements:
        """A movement as each of the K errors would have it.

        movement : a stack of one. unmoved : how often it stands as it is before the K others.
        """
        step = float(self.time[1] - self.time[0])
        place = np.clip((movement.time - self.time[0]) / step, 0.0, len(self.time) - 1.001)
        before = place.astype(np.int64)
        share = place - before
        # The instants around the movement, and one more on each side for the rates of change.
        first = max(int(before[0]) - 1, 0)
        near = slice(first, int(before[-1]) + 3)
        before -= first
        shape = (len(SENSORS), unmoved + len(self), len(place))
        quats, rates = np.empty((4, *shape)), np.empty((3, *shape))
        for segment, role in enumerate(SENSORS):
            field = np.zeros((unmoved + len(self), len(self.time[near]), 3))
            field[unmoved:] = self.rotation[role][:, near]
            quats[:, segment], rates[:, segment] = turn(
                _between(from_rotvec(field), before, share),
                _between(np.asarray(np.gradient(field, step, axis=1)), before, share),
                movement.quats[:, segment],
                movement.rates[:, segment],
            )
        return Movements(movement.time, quats, rates)

    def hinge_sigma(self, motion: Motion) -> FloatArray:
        """(N,) rad, standard error of the hinge angle along the swing."""
        arm, shaft = motion.arm_axis, motion.shaft_axis
        normal = np.cross(arm, shaft)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-9)[:, None]
        across = np.stack(
            [np.interp(self.time, motion.time, normal[:, axis]) for axis in range(3)], axis=1
        )
        apart = self.rotation[CLUB] - self.rotation[FOREARM]
        change = np.einsum("kmi,mi->km", apart, across)
        return np.interp(motion.time, self.time, np.sqrt(np.sum(change**2, axis=0)))


def motion_errors(
    tracks: Mapping[str, Track],
    fit: SessionFit,
    swing: SwingFit,
    mounted: Mounting,
    window: SwingWindow,
) -> MotionErrors:
    """Errors of one swing's motion. tracks : of both sensors, on any uniform base."""
    some = tracks[FOREARM]
    stride = max(1, round(COARSE_STEP / float(some.time[1] - some.time[0])))
    square_root = np.linalg.cholesky(fit.covariance)
    own_root = np.linalg.cholesky(swing.covariance)
    fields = {}
    time = some.time[::stride]
    for role in SENSORS:
        track, errors = tracks[role], fit.shared.sensors[role]
        field = rotation_field(track, errors, swing.state, role, stride, onward=True)
        own = field.own() * _before_strike(swing.state, role)
        by_shared = np.zeros((len(field.rows), 3, SIZE))
        by_shared[:, :, OFFSET[role] : OFFSET[role] + 12] = field.rate
        if role == FOREARM:
            rows = field.rows
            moving = np.einsum("nij,nj->ni", field.matrix, track.rate[rows])
            by_shared[:, :, CLOCK_SHIFT] = -moving
            since = time - fit.shared.clock_origin
            by_shared[:, :, CLOCK_DRIFT] = -moving * since[:, None]
        by_shared = by_shared + own @ swing.answer
        axis = mounted.axes[role]
        tilt = np.linalg.cholesky(axis.covariance)
        tilted = field.matrix @ (axis.across.T @ tilt)
        fields[role] = (by_shared @ square_root, own @ own_root, tilted)
    bumps = _give_bumps(time, window) * fit.give * GIVE_SHARE
    differs = (GIVE_DIFFERS, GIVE_DIFFERS, SLIDE_DIFFERS)
    singles = []
    for number, role in enumerate(SENSORS):
        if role == FOREARM:
            gives = _give_turns(tracks[role], stride, time, window, bumps, mounted.axes[role].axis)
        else:
            turns = _give_turns(tracks[role], stride, time, window, bumps, None)
            gives = [share * part for share, part in zip(BEND_SHARES, turns, strict=True)]
        inside = _inside_breaks(swing, role, time)
        shares = (0.0, *differs[: len(gives)], *[1.0] * len(inside))
        for part, share in zip((fields[role][2], *gives, *inside), shares, strict=True):
            singles.append((number, part, share))
    common = SIZE + swing.state.size
    count = len(time)
    width = common + sum(part.shape[2] for _, part, _ in singles)
    every = np.zeros((2, count, 3, width))
    for number, role in enumerate(SENSORS):
        every[number, :, :, :SIZE], every[number, :, :, SIZE:common] = fields[role][:2]
    own_share = np.concatenate([np.zeros(SIZE), np.ones(width - SIZE)])
    first = common
    for number, part, share in singles:
        columns = slice(first, first + part.shape[2])
        every[number, :, :, columns] = part
        own_share[columns] = share
        first = columns.stop
    # Only the part up to just after impact carries numbers; every other instant tells what varies.
    carries = int(np.searchsorted(time, window.impact + 0.05, side="right"))
    seen = every[:, :carries:2].reshape(-1, width)
    _, values, right = np.linalg.svd(seen.T @ seen)
    kept = min(_MOST_ERRORS, int(np.count_nonzero(2.0 * values / count > _NEGLIGIBLE)))
    kept = max(kept, 1)
    main = (every.reshape(-1, width) @ right[:kept].T).reshape(2, count, 3, -1)
    rotation = {role: np.moveaxis(main[number], 2, 0) for number, role in enumerate(SENSORS)}
    return MotionErrors(time, rotation, right[:kept] * own_share, fit.give)


def _before_strike(state: SwingState, role: str) -> FloatArray:
    """(S,) 0 for the strike's own turn, else 1: numbers are read before the strike, and on the
    coarse instants its sudden turn would smear back into them."""
    keep = np.ones(state.size)
    _, first = state.columns(role)
    for number, spell in enumerate(state.breaks[role]):
        if spell.strike:
            keep[first + 3 * number : first + 3 * number + 3] = 0.0
    return keep


def _inside_breaks(swing: SwingFit, role: str, time: FloatArray) -> list[FloatArray]:
    """Rotations (M, 3, 3) while samples were lost or clipped, that cancel by the end.

    The rotation over the whole spell is an unknown of the fit; how it was spread is not.
    """
    parts = []
    for spell in swing.state.breaks[role]:
        if not spell.strike:
            bump = _SPREAD_SHARE * spell.sigma * np.sin(np.pi * spell.ramp(time)) ** 2
            parts.append(bump[:, None, None] * np.eye(3))
    return parts


def _give_bumps(time: FloatArray, window: SwingWindow) -> FloatArray:
    """(M, B) smooth bumps over the swing's phases, as high as the load of each."""
    down = window.impact - window.top
    places = [
        (window.takeaway - 0.1, _GIVE_AT_ADDRESS, _LOAD_AT_ADDRESS),
        (window.top - 0.35, 0.15, _LOAD_GOING_BACK),
        *((window.top + share * down, _GIVE_WIDTH, _LOAD_TURNING) for share in (-0.4, 0.05)),
        *((window.top + share * down, _GIVE_WIDTH, _LOAD_COMING_DOWN) for share in (0.4, 0.7, 1.0)),
    ]
    return np.stack(
        [load * np.exp(-0.5 * ((time - place) / width) ** 2) for place, width, load in places],
        axis=1,
    )


def _give_turns(
    track: Track,
    stride: int,
    time: FloatArray,
    window: SwingWindow,
    bumps: FloatArray,
    arm_axis: FloatArray | None,
) -> list[FloatArray]:
    """Bumps of rotation (M, 3, B) about the sensor's main turning axis and about one across it.

    arm_axis : the forearm's long axis in its sensor, about which skin slides most; None for the
    club, whose clamp does not slide.
    """
    matrix = track.matrix(slice(0, None, stride))
    rate = np.einsum("nij,nj->ni", matrix, track.rate[::stride])
    main = rate[(time > window.impact - 0.2) & (time < window.impact)]
    axis = main.mean(axis=0) if len(main) else np.array([0.0, 1.0, 0.0])
    axis = axis / max(float(np.linalg.norm(axis)), 1e-9)
    across = np.cross(axis, np.array([0.0, 0.0, 1.0]))
    across /= max(float(np.linalg.norm(across)), 1e-9)
    turns = [bumps[:, None, :] * way[:, None] for way in (axis, across)]
    if arm_axis is not None:
        long_axis = matrix @ arm_axis
        turns.append(SLIDE_SHARE * bumps[:, None, :] * long_axis[:, :, None])
    return turns


def _between(fields: FloatArray, before: np.ndarray, share: FloatArray) -> FloatArray:
    """(C, K, N) from (K, M, C): linear between the instants ``before`` (N,) and the next."""
    found = np.empty((fields.shape[2], len(fields), len(before)))
    for component, wanted in enumerate(found):
        values = np.ascontiguousarray(fields[:, :, component])
        step = np.diff(values, axis=1)[:, before]
        step *= share
        np.add(values[:, before], step, out=wanted)
    return found

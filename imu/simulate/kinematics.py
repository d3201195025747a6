"""From joint coordinates to what ideal sensors feel: two chains of elementary rotations.

Each segment's orientation is R = Rz(ψ) · Rx(−τ) · Ry(−θ) · Rx(η) · Rz(ρ) · B: heading ψ, plane
tilt τ from the vertical, angle θ in the plane from the downward line, elevation η out of it
towards the player, roll ρ about the long axis. B turns segment axes into world axes for a hanging
arm. The simulator's segments have y proximal, x volar and z towards the little finger of the lead
arm of a right-handed player: those of ``imu.types`` after half a turn about y.
Angular velocity and acceleration are carried along the chain in body axes (Newton-Euler forward
recursion; Luh, Walker & Paul 1980, J Dyn Sys Meas Control 102:69-76), so rates and specific
forces are exact derivatives of the orientations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from imu.simulate.paths import Curve
from imu.types import FloatArray
from imu.units import STANDARD_GRAVITY

COORDINATES: tuple[str, ...] = (
    "heading",
    "hub_x",
    "hub_y",
    "hub_z",
    "arm_tilt",
    "arm_angle",
    "arm_elevation",
    "arm_roll",
    "club_tilt",
    "lag",
    "club_elevation",
    "club_twist",
    "grip",
    "place_x",
    "place_y",
    "place_z",
    "worn",
)
"""Angles in rad, lengths in m. ``lag`` is the arm's less the club's angle in the plane. ``grip``
is 1 while the lead hand holds the club; at 0 the club's wrist point is at ``place`` in the world
and its angles no longer follow the arm. ``worn`` is 1 while the arm is alive, 0 without tremor."""

_BASE = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
_TWIST_SPACING = 0.004
_HAND_WIDTH = 0.09
_AHEAD = np.deg2rad(25.0)
_OF_CLUB = frozenset({"club_tilt", "lag", "club_elevation", "club_twist"})

Vector = list[FloatArray]
Angle = tuple[FloatArray, FloatArray, FloatArray]
_NEXT = {0: (1, 2), 1: (2, 0), 2: (0, 1)}


def into(vector: Vector, axis: int, cosine: FloatArray, sine: FloatArray) -> Vector:
    """Components (N,) each, after the frame turned by angles (N,) about its axis 0, 1 or 2."""
    i, j = _NEXT[axis]
    turned = list(vector)
    turned[i] = cosine * vector[i] + sine * vector[j]
    turned[j] = cosine * vector[j] - sine * vector[i]
    return turned


def cross(a: Vector, b: Vector) -> Vector:
    """Cross product of component lists."""
    return [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]


def _add(a: Vector, b: Vector) -> Vector:
    return [x + y for x, y in zip(a, b, strict=True)]


@dataclass(frozen=True, eq=False)
class SegmentState:
    """One segment over time, (N, 3) each in the segment frame: rate rad/s, angular
    acceleration rad/s², specific force at the wrist m/s²."""

    rate: FloatArray
    acceleration: FloatArray
    wrist_force: FloatArray
    _angles: list[tuple[int, Angle]]

    def force_at(self, point: FloatArray) -> FloatArray:
        """(N, 3) specific force at a point of the segment, (3,) m from the wrist."""
        rate, bend = list(self.rate.T), list(self.acceleration.T)
        place = [np.float64(x) for x in point]
        swept = cross(rate, cross(rate, place))  # type: ignore[arg-type]
        turned = cross(bend, place)  # type: ignore[arg-type]
        return self.wrist_force + np.column_stack(_add(swept, turned))

    def orientation(self) -> Rotation:
        """N rotations, segment frame to world."""
        return Rotation.from_matrix(_matrix(self._angles))

    def axis(self, index: int) -> FloatArray:
        """(N, 3) one segment axis in the world frame."""
        unit = [np.full(len(self.rate), _BASE[i, index]) for i in range(3)]
        return np.column_stack(_out_of(unit, self._angles))


@dataclass(frozen=True, eq=False)
class BodyState:
    """Both segments; the wrist and the club's wrist point, (N, 3) world m."""

    time: FloatArray
    forearm: SegmentState
    club: SegmentState
    wrist: FloatArray
    club_wrist: FloatArray


class Body:
    """The moving player: curves of all coordinates and an arm length (hub to wrist, m)."""

    def __init__(
        self,
        curves: Mapping[str, Curve],
        arm_length: float,
        tremor: Mapping[str, list[Curve]] | None = None,
    ) -> None:
        missing = set(COORDINATES) - set(curves)
        if missing:
            raise ValueError(f"coordinates without a path: {sorted(missing)}")
        self.curves = dict(curves)
        self.tremor = dict(tremor or {})
        self.arm_length = arm_length
        self._twist: CubicSpline | None = None
        self._worked_at: FloatArray | None = None
        self._known: dict[str, Angle] = {}

    def _coordinate(self, name: str, time: FloatArray) -> Angle:
        """A coordinate with its tremor; remembered while the same times are being worked on."""
        if self._worked_at is not time:
            self._worked_at, self._known = time, {}
        if name not in self._known:
            self._known[name] = self._work_out(name, time)
        return self._known[name]

    def _work_out(self, name: str, time: FloatArray) -> Angle:
        whole: Angle = self.curves[name](time)
        extra = self.tremor.get(name)
        if not extra:
            return whole
        shaking = extra[0](time)
        for curve in extra[1:]:
            shaking = _sum(shaking, curve(time))
        steadied = self.curves["grip" if name in _OF_CLUB else "worn"]
        if steadied.moves:
            shaking = _times(steadied(time), shaking)
        return _sum(whole, shaking)

    def _arm_angles(self, time: FloatArray) -> list[tuple[int, Angle]]:
        heading, tilt, angle, elevation, roll = (
            self._coordinate(name, time)
            for name in ("heading", "arm_tilt", "arm_angle", "arm_elevation", "arm_roll")
        )
        return [(2, heading), (0, _minus(tilt)), (1, _minus(angle)), (0, elevation), (2, roll)]

    def _club_angles(self, time: FloatArray) -> list[tuple[int, Angle]]:
        heading, tilt, arm, lag, elevation = (
            self._coordinate(name, time)
            for name in ("heading", "club_tilt", "arm_angle", "lag", "club_elevation")
        )
        grip = self.curves["grip"]
        if grip.moves:
            held = grip(time)
            heading, arm = _times(held, heading), _times(held, arm)
        back = _sum(lag, _minus(arm))
        return [(2, heading), (0, _minus(tilt)), (1, back), (0, elevation)]

    def _follow(self) -> CubicSpline:
        """Club roll that leaves the wrist without axial twist (rad), as a smooth function."""
        if self._twist is None:
            ends = [(curve.start[0], curve.start[-1]) for curve in self.curves.values()]
            begin, end = min(low for low, _ in ends), max(high for _, high in ends)
            time = _twist_times(begin - 0.1, end + 0.1, self.curves["lag"].start)
            forearm = _matrix(self._arm_angles(time))
            club = _matrix(self._club_angles(time))
            shaft = -club[:, :, 1]
            arm = -forearm[:, :, 1]
            # Smallest rotation carrying the arm axis onto the shaft axis, applied to the volar
            # axis of the forearm (Rodrigues): the wrist bends but does not twist.
            volar = forearm[:, :, 0]
            axis = np.cross(arm, shaft)
            cosine = np.einsum("ij,ij->i", arm, shaft)
            along = np.einsum("ij,ij->i", axis, volar)
            carried = (
                volar * cosine[:, None]
                + np.cross(axis, volar)
                + axis * (along / np.maximum(1.0 + cosine, 1e-3))[:, None]
            )
            roll = np.arctan2(
                -np.einsum("ij,ij->i", carried, club[:, :, 2]),
                np.einsum("ij,ij->i", carried, club[:, :, 0]),
            )
            self._twist = CubicSpline(time, np.unwrap(roll))
        return self._twist

    def _club_roll(self, time: FloatArray) -> Angle:
        spline = self._follow()
        inside = np.clip(time, spline.x[0], spline.x[-1])
        zero, one, two = spline(inside), spline(inside, 1), spline(inside, 2)
        follow = _times(self.curves["grip"](time), (zero, one, two))
        return _sum(follow, self._coordinate("club_twist", time))

    def forearm_at(self, time: FloatArray) -> SegmentState:
        """State of the forearm at (N,) times, s."""
        return self._arm(np.asarray(time, dtype=np.float64))[0]

    def club_at(self, time: FloatArray) -> SegmentState:
        """State of the club at (N,) times, s."""
        return self.at(time).club

    def trail_forearm_at(self, time: FloatArray) -> SegmentState:
        """A rough trail forearm: its wrist on the grip below the lead hand, its elbow folding.

        Good enough to try what a sensor on the wrong arm does; in the plane it turns 1.3 times
        as far as the lead arm, starts 25° ahead of it, and rolls the other way.
        """
        club = self.at(time).club
        grip = club.force_at(np.array([0.0, -_HAND_WIDTH, 0.0]))
        force = _out_of(_unbase(grip), club._angles)
        heading, tilt, angle, elevation, roll = (
            self._coordinate(name, time)
            for name in ("heading", "arm_tilt", "arm_angle", "arm_elevation", "arm_roll")
        )
        turned = (-1.3 * angle[0] - _AHEAD, -1.3 * angle[1], -1.3 * angle[2])
        other = (np.pi - roll[0], -roll[1], -roll[2])
        angles = [(2, heading), (0, _minus(tilt)), (1, turned), (0, elevation), (2, other)]
        return SegmentState(*_chain(angles, force), angles)

    def _arm(self, time: FloatArray) -> tuple[SegmentState, list[Angle]]:
        hub = [self._coordinate(name, time) for name in ("hub_x", "hub_y", "hub_z")]
        angles = self._arm_angles(time)
        force = [hub[0][2], hub[1][2], hub[2][2] + STANDARD_GRAVITY]
        rate, acceleration, felt = _chain(angles, force)
        at_hub = SegmentState(rate, acceleration, felt, angles)
        at_wrist = at_hub.force_at(np.array([0.0, -self.arm_length, 0.0]))
        return SegmentState(rate, acceleration, at_wrist, angles), hub

    def at(self, time: FloatArray) -> BodyState:
        """State of the body at (N,) times, s."""
        time = np.asarray(time, dtype=np.float64)
        forearm, hub = self._arm(time)
        arm = -self.arm_length * forearm.axis(1).T
        wrist = [hub[i][0] + arm[i] for i in range(3)]
        angles = self._arm_angles(time)
        force: Vector = _out_of(_unbase(forearm.wrist_force), angles)
        club_wrist = wrist
        grip = self.curves["grip"]
        if grip.moves:
            turning = _out_of(_unbase(forearm.rate), angles)
            swept = cross(turning, list(arm))
            held = grip(time)
            let_go = (1.0 - held[0], -held[1], -held[2])
            club_wrist = []
            for i, name in enumerate(("place_x", "place_y", "place_z")):
                free = 0.0 if i < 2 else STANDARD_GRAVITY
                moved = (wrist[i], hub[i][1] + swept[i], force[i] - free)
                placed = _times(let_go, self._coordinate(name, time))
                where = _sum(_times(held, moved), placed)
                club_wrist.append(where[0])
                force[i] = where[2] + free
        angles = [*self._club_angles(time), (2, self._club_roll(time))]
        club = SegmentState(*_chain(angles, force), angles)
        return BodyState(time, forearm, club, np.column_stack(wrist), np.column_stack(club_wrist))


def _twist_times(begin: float, end: float, knots: FloatArray) -> FloatArray:
    """Support of the roll spline: even, and dense where the lag changes within a strike."""
    even = np.arange(begin, end, _TWIST_SPACING)
    strikes = knots[:-1][np.diff(knots) < 0.75 * _TWIST_SPACING]
    near = np.arange(-0.006, 0.010, 0.0002)
    dense = (strikes[:, None] + near).ravel()
    return np.unique(np.round(np.concatenate([even, dense]), 6))


def _times(weight: Angle, angle: Angle) -> Angle:
    """Product of two functions of time, with its derivatives."""
    return (
        weight[0] * angle[0],
        weight[1] * angle[0] + weight[0] * angle[1],
        weight[2] * angle[0] + 2.0 * weight[1] * angle[1] + weight[0] * angle[2],
    )


def _sum(a: Angle, b: Angle) -> Angle:
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def _minus(angle: Angle) -> Angle:
    return -angle[0], -angle[1], -angle[2]


def _chain(
    angles: list[tuple[int, Angle]], force: Vector
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rate, angular acceleration and a world vector, all in the segment frame at the end."""
    zero = np.zeros_like(force[0])
    rate: Vector = [zero, zero, zero]
    acceleration: Vector = [zero, zero, zero]
    for axis, (value, speed, bend) in angles:
        cosine, sine = np.cos(value), np.sin(value)
        rate = into(rate, axis, cosine, sine)
        acceleration = into(acceleration, axis, cosine, sine)
        force = into(force, axis, cosine, sine)
        i, j = _NEXT[axis]
        # ω × e·q′ with e along ``axis``
        acceleration[i] = acceleration[i] + rate[j] * speed
        acceleration[j] = acceleration[j] - rate[i] * speed
        acceleration[axis] = acceleration[axis] + bend
        rate[axis] = rate[axis] + speed
    return tuple(_base(vector) for vector in (rate, acceleration, force))  # type: ignore[return-value]


def _base(vector: Vector) -> FloatArray:
    """Into segment axes: multiply by the transpose of B."""
    return np.column_stack([-vector[0], vector[2], vector[1]])


def _out_of(vector: Vector, angles: list[tuple[int, Angle]]) -> Vector:
    """From the end of the chain (before B) to world axes."""
    for axis, (value, _, _) in reversed(angles):
        vector = into(vector, axis, np.cos(value), -np.sin(value))
    return vector


def _unbase(vector: FloatArray) -> Vector:
    """From segment axes to the end of the chain: multiply by B."""
    return [-vector[:, 0], vector[:, 2], vector[:, 1]]


def _matrix(angles: list[tuple[int, Angle]]) -> FloatArray:
    """(N, 3, 3) segment to world, of the whole chain."""
    size = len(angles[0][1][0])
    columns = [
        np.column_stack(_out_of([np.full(size, _BASE[i, k]) for i in range(3)], angles))
        for k in range(3)
    ]
    return np.stack(columns, axis=2)

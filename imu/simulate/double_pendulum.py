"""Planar double pendulum: the reference downswing of arm and club.

Absolute angles from the downward line in the swing plane grow through the downswing: θ1 of
the arm, θ2 of the club; the hinge is θ1 − θ2. The wrist is locked at its starting hinge until
the torque that locks it falls through zero (natural release), or a set time longer (held
release), and swings freely after, moved by an optional constant wrist torque.

Equations: two-segment model after Jorgensen (1970, Am J Phys 38:644-651) and White (2006,
Am J Phys 74:1088-1094), with gravity in an inclined plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from imu.types import FloatArray
from imu.units import DEG

GRAVITY = 9.81
"""m/s², as in the numbers this model is checked against (not the standard value)."""


def _integrate(slope: Any, span: Any, start: Any, **options: Any) -> Any:
    """``scipy.integrate.solve_ivp`` at an accuracy beyond any printed digit."""
    return solve_ivp(slope, span, start, method="DOP853", rtol=1e-12, atol=1e-13, **options)


@dataclass(frozen=True)
class PendulumParameters:
    """The swing model. SI units and radians.

    arm_length : hub to wrist, m. arm_inertia : arm about the hub, kg·m².
    arm_moment : arm mass times distance of its centre from the hub, kg·m.
    club_mass : kg. club_centre : wrist to the club's centre of mass, m.
    club_inertia : club about the wrist, kg·m². club_length : wrist to clubhead, m.
    arm_torque, wrist_torque : N·m, constant; the wrist torque acts from release on.
    hinge : locked hinge angle. arm_start : arm angle at the top, at rest.
    plane : inclination of the swing plane from the horizontal. hold : s past natural release.
    """

    arm_length: float = 0.62
    arm_inertia: float = 1.15
    arm_moment: float = 2.0
    club_mass: float = 0.394
    club_centre: float = 0.76
    club_inertia: float = 0.28
    club_length: float = 1.105
    arm_torque: float = 100.0
    wrist_torque: float = 0.0
    hinge: float = 90.0 * DEG
    arm_start: float = -140.0 * DEG
    plane: float = 60.0 * DEG
    hold: float = 0.0

    @property
    def coupling(self) -> float:
        """k = m2·L1·c2, kg·m²."""
        return self.club_mass * self.arm_length * self.club_centre


@dataclass(frozen=True, eq=False)
class PendulumSwing:
    """A downswing from the top to impact.

    time : (N,) s from the top, release and impact among them. arm, club : (N, 3) angle, rate
    and acceleration (rad, rad/s, rad/s²). release, impact : s. shaft_parallel : s, NaN when it
    was passed before the release.
    """

    parameters: PendulumParameters
    time: FloatArray
    arm: FloatArray
    club: FloatArray
    release: float
    impact: float
    shaft_parallel: float
    _pieces: tuple[Any, ...] = ()

    def at(self, time: float) -> tuple[float, float, float, float]:
        """Arm angle, club angle, arm rate, club rate at one time (exact between samples)."""
        piece = 0 if time < self.release else 1
        arm, club, arm_rate, club_rate = self._pieces[piece](time)
        return float(arm), float(club), float(arm_rate), float(club_rate)

    @property
    def hinge(self) -> FloatArray:
        """(N,) hinge angle θ1 − θ2, rad."""
        return self.arm[:, 0] - self.club[:, 0]

    def clubhead_velocity(self, time: float) -> FloatArray:
        """(2,) m/s in the plane: along the target line, and up the plane."""
        arm, club, arm_rate, club_rate = self.at(time)
        model = self.parameters
        hand = model.arm_length * arm_rate * np.array([math.cos(arm), math.sin(arm)])
        return hand + model.club_length * club_rate * np.array([math.cos(club), math.sin(club)])

    def wrist_speed(self, time: float) -> float:
        """Part of the clubhead speed that the wrist gives, m/s: along the velocity."""
        _, club, arm_rate, club_rate = self.at(time)
        lever = self.parameters.club_length * (club_rate - arm_rate)
        velocity = self.clubhead_velocity(time)
        along = math.cos(club) * velocity[0] + math.sin(club) * velocity[1]
        return float(lever * along / np.linalg.norm(velocity))

    def wrist_share(self) -> float:
        """Share of the speed gained from shaft parallel to impact that the wrist gives."""
        gained = np.linalg.norm(self.clubhead_velocity(self.impact)) - np.linalg.norm(
            self.clubhead_velocity(self.shaft_parallel)
        )
        wrist = self.wrist_speed(self.impact) - self.wrist_speed(self.shaft_parallel)
        return float(wrist / gained)

    def opened_before_impact(self, angle: float) -> float:
        """Seconds before impact at which the hinge has opened by ``angle`` (rad).

        Raises ValueError when it opens less than that before impact.
        """
        locked = self.parameters.hinge

        def remaining(time: float) -> float:
            arm, club, _, _ = self.at(time)
            return locked - angle - (arm - club)

        if remaining(self.impact) < 0.0:
            raise ValueError(f"the hinge opens less than {angle:g} rad before impact")
        return self.impact - float(brentq(remaining, self.release, self.impact, xtol=1e-12))

    def peak_arm_rate(self) -> tuple[float, float]:
        """Greatest arm rate (rad/s) and its time before impact (s)."""

        def acceleration(time: float) -> float:
            return float(_free(time, np.array(self.at(time)), self.parameters)[2])

        index = int(np.argmax(self.arm[:, 1]))
        if index == len(self.time) - 1:
            return float(self.arm[-1, 1]), 0.0
        low, high = self.time[index - 1], self.time[index + 1]
        time = float(brentq(acceleration, max(low, self.release), high, xtol=1e-13))
        return self.at(time)[2], self.impact - time


def _gravity(arm: float, club: float, model: PendulumParameters) -> tuple[float, float]:
    """Gravity torques G1, G2 about hub and wrist, N·m."""
    g = GRAVITY * math.sin(model.plane)
    first = g * (model.arm_moment + model.club_mass * model.arm_length) * math.sin(arm)
    return first, g * model.club_mass * model.club_centre * math.sin(club)


def _free(_time: float, state: FloatArray, model: PendulumParameters) -> FloatArray:
    """State derivative with a free wrist: state is θ1, θ2, θ1′, θ2′."""
    arm, club, arm_rate, club_rate = state
    coupling = model.coupling
    a = model.arm_inertia + model.club_mass * model.arm_length**2
    b = coupling * math.cos(arm - club)
    c = model.club_inertia
    s = coupling * math.sin(arm - club)
    gravity_arm, gravity_club = _gravity(arm, club, model)
    first = model.arm_torque - model.wrist_torque - s * club_rate**2 - gravity_arm
    second = model.wrist_torque + s * arm_rate**2 - gravity_club
    determinant = a * c - b * b
    return np.array(
        [
            arm_rate,
            club_rate,
            (c * first - b * second) / determinant,
            (a * second - b * first) / determinant,
        ]
    )


def _locked_terms(arm: float, rate: float, model: PendulumParameters) -> tuple[float, float]:
    """Common angular acceleration of the locked pair, and the torque that locks the wrist."""
    a = model.arm_inertia + model.club_mass * model.arm_length**2
    b = model.coupling * math.cos(model.hinge)
    s = model.coupling * math.sin(model.hinge)
    gravity_arm, gravity_club = _gravity(arm, arm - model.hinge, model)
    total = model.arm_torque - gravity_arm - gravity_club
    acceleration = total / (a + 2.0 * b + model.club_inertia)
    torque = (b + model.club_inertia) * acceleration - s * rate**2 + gravity_club
    return acceleration, torque


def swing_down(model: PendulumParameters | None = None, samples: int = 400) -> PendulumSwing:
    """Integrate a downswing from rest at the top to impact (club angle zero).

    ``samples`` : number of samples before and after release each.
    Raises ValueError when the wrist never releases or the club never reaches the ball.
    """
    model = model or PendulumParameters()

    def locked(_time: float, state: FloatArray) -> FloatArray:
        return np.array([state[1], _locked_terms(state[0], state[1], model)[0]])

    def lets_go(_time: float, state: FloatArray) -> float:
        return _locked_terms(state[0], state[1], model)[1]

    lets_go.terminal, lets_go.direction = True, -1.0  # type: ignore[attr-defined]
    start = np.array([model.arm_start, 0.0])
    natural = _integrate(locked, (0.0, 2.0), start, events=lets_go)
    if not natural.t_events[0].size:
        raise ValueError("the wrist never releases with these torques")
    release = float(natural.t_events[0][0]) + model.hold
    first = _integrate(locked, (0.0, release), start, dense_output=True)
    arm, rate = first.y[:, -1]

    def free(time: float, state: FloatArray) -> FloatArray:
        return _free(time, state, model)

    def parallel(_time: float, state: FloatArray) -> float:
        return state[1] + math.pi / 2.0

    def strikes(_time: float, state: FloatArray) -> float:
        return state[1]

    strikes.terminal, strikes.direction = True, 1.0  # type: ignore[attr-defined]
    parallel.direction = 1.0  # type: ignore[attr-defined]
    second = _integrate(
        free,
        (release, release + 2.0),
        np.array([arm, arm - model.hinge, rate, rate]),
        events=(strikes, parallel),
        dense_output=True,
    )
    if not second.t_events[0].size:
        raise ValueError("the club never reaches the ball with these torques")
    impact = float(second.t_events[0][0])

    def before(time: float) -> FloatArray:
        angle, speed = first.sol(time)
        return np.array([angle, angle - model.hinge, speed, speed])

    time = np.concatenate(
        [np.linspace(0.0, release, samples, endpoint=False), np.linspace(release, impact, samples)]
    )
    states = np.array([before(t) if t < release else second.sol(t) for t in time])
    accelerations = np.array(
        [
            [_locked_terms(state[0], state[2], model)[0]] * 2
            if t < release
            else list(_free(t, state, model)[2:])
            for t, state in zip(time, states, strict=True)
        ]
    )
    return PendulumSwing(
        parameters=model,
        time=time,
        arm=np.column_stack([states[:, 0], states[:, 2], accelerations[:, 0]]),
        club=np.column_stack([states[:, 1], states[:, 3], accelerations[:, 1]]),
        release=release,
        impact=impact,
        shaft_parallel=float(second.t_events[1][0]) if second.t_events[1].size else math.nan,
        _pieces=(before, second.sol),
    )

"""A first guess for the session: which way the sensors lie, and how they stand at each start.

A sensor's box is usually set along its segment, one of its axes within some degrees of the long
axis; which one is seen from the swings. Near impact both sensors are flung outwards, so the
specific force points along the segment towards the body: the sensor axis nearest to it, if near
enough, is the nominal long axis; a box set askew gets the direction itself, and more doubt. The
measured distances give the first lever arms. After a fit the levers tell whether the seat taken
was right (``reseat``). Each swing starts level by its accelerometers; the club's heading against
the forearm's is the turn about the vertical that best lays the two wrist forces on each other
(Wahba's problem in one dimension).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.joint import SwingState, follow_all
from imu.fusion.parameters import SensorErrors, Shared
from imu.fusion.quaternion import between_directions, from_rotvec, multiply
from imu.fusion.rest import RestSpells
from imu.fusion.samples import SENSORS, STRIKE_RINGING, SwingSamples
from imu.fusion.track import Break
from imu.types import CLUB, FOREARM, FloatArray
from imu.units import DEG

_FLUNG = (-0.08, -0.01)
"""s from impact in which a sensor is flung outwards."""
_ASKEW_AT_FIRST = 28.0 * DEG
_ASKEW_AFTER_FIT = {FOREARM: 20.0 * DEG, CLUB: 10.0 * DEG}
"""How far a sensor's axis may lie from the direction found and still be the nominal axis."""
_COMPARED = (-0.25, -0.01)
"""s from impact in which the two wrist forces are laid on each other."""
_SETTLED = 0.3
_ROUGH_STEP = 0.008
"""s from a swing's start taken for standing, and of the base of the first guess."""
_STRIKE_TURN = 1.5 * DEG
"""Standard deviation of the turn of a sensor in a strike."""
_SHORTEST_BREAK_PERIODS = 2.5
"""Sample periods; a shorter doubt is the spline's to bridge."""


@dataclass(frozen=True, eq=False)
class Seat:
    """How a sensor sits on its segment, before the axis is known well.

    axis : (3,) unit, nominal distal direction in sensor axes. along_box : whether it is one of
    the sensor's own axes, as it should be; else the sensor was set askew.
    """

    axis: FloatArray
    along_box: bool


def seat_towards(distal: FloatArray, askew: float) -> Seat:
    """Seat for a rough distal direction: the nearest sensor axis if within ``askew`` rad."""
    direction = distal / np.linalg.norm(distal)
    largest = int(np.argmax(np.abs(direction)))
    if np.arccos(min(1.0, float(np.abs(direction[largest])))) > askew:
        return Seat(direction, False)
    axis = np.zeros(3)
    axis[largest] = np.sign(direction[largest])
    return Seat(axis, True)


def first_seat(swings: Sequence[SwingSamples], role: str) -> Seat:
    """Seat of a sensor from the force that flings it outwards before impact."""
    total = np.zeros(3)
    for swing in swings:
        impact = swing.window.impact
        near = swing.time[(swing.time > impact + _FLUNG[0]) & (swing.time < impact + _FLUNG[1])]
        total += swing.sensors[role].signal(near)[:, :3].mean(axis=0)
    return seat_towards(-total, _ASKEW_AT_FIRST)


def reseat(role: str, seat: Seat, distal: FloatArray) -> Seat | None:
    """A better seat when the fitted direction contradicts the one taken; else None.

    distal : (3,) fitted direction, known to a few degrees.
    """
    askew = _ASKEW_AFTER_FIT[role]
    better = seat_towards(distal, askew)
    if better.along_box:
        return None if seat.along_box and better.axis @ seat.axis > 0.5 else better
    turned = np.arccos(np.clip(better.axis @ seat.axis, -1.0, 1.0))
    return better if seat.along_box or turned > 0.5 * askew else None


def first_shared(
    swings: Sequence[SwingSamples],
    rests: Mapping[str, RestSpells],
    lengths: Mapping[str, float],
    seats: Mapping[str, Seat],
) -> Shared:
    """Shared parameters before any fitting.

    lengths : m, wrist to sensor along the segment, by role.
    """
    sensors = {}
    for role in SENSORS:
        towards = -1.0 if role == FOREARM else 1.0
        sensors[role] = SensorErrors(
            gyr_bias=quiet_rate(swings, rests[role], role),
            gyr_matrix=np.zeros((3, 3)),
            acc_bias=np.zeros(3),
            acc_matrix=np.zeros((3, 3)),
            lever=towards * lengths[role] * seats[role].axis,
        )
    origin = float(np.mean([swing.window.impact for swing in swings]))
    return Shared(sensors, 0.0, 0.0, origin)


def quiet_rate(swings: Sequence[SwingSamples], rests: RestSpells, role: str) -> FloatArray:
    """(3,) rad/s, gyroscope bias: median of the rests; without any, of the swings' beginnings."""
    if len(rests):
        return np.asarray(np.median(rests.gyr, axis=0), dtype=np.float64)
    starts = []
    for swing in swings:
        settled = swing.time[swing.time < swing.time[0] + _SETTLED]
        starts.append(swing.sensors[role].signal(settled)[:, 3:].mean(axis=0))
    return np.asarray(np.median(starts, axis=0), dtype=np.float64)


def first_states(swings: Sequence[SwingSamples], shared: Shared) -> list[SwingState]:
    """Level both sensors at the start of each swing, then turn the club to match the forearm."""
    level = [_level_state(swing) for swing in swings]
    times = [
        np.arange(swing.time[0], swing.window.impact + _COMPARED[1], _ROUGH_STEP)
        for swing in swings
    ]
    states = []
    for swing, state, time, tracks in zip(
        swings, level, times, follow_all(swings, shared, level, times), strict=True
    ):
        compared = time > swing.window.impact + _COMPARED[0]
        # Gravity lies along the axis of the turn and tells nothing of it.
        arm, club = tracks[FOREARM].wrist[compared], tracks[CLUB].wrist[compared]
        sine = float(np.sum(club[:, 0] * arm[:, 1] - club[:, 1] * arm[:, 0]))
        cosine = float(np.sum(club[:, :2] * arm[:, :2]))
        heading = from_rotvec(np.array([0.0, 0.0, np.arctan2(sine, cosine)]))
        start = {**state.start, CLUB: multiply(heading, state.start[CLUB])}
        states.append(SwingState(start, state.breaks, state.turns))
    return states


def _level_state(swing: SwingSamples) -> SwingState:
    start: dict[str, FloatArray] = {}
    for role in SENSORS:
        settled = swing.time[swing.time < swing.time[0] + _SETTLED]
        force = swing.sensors[role].signal(settled)[:, :3].mean(axis=0)
        start[role] = between_directions(force, np.array([0.0, 0.0, 1.0]))
    breaks = {role: _breaks(swing, role) for role in SENSORS}
    turns = {role: np.zeros((len(breaks[role]), 3)) for role in SENSORS}
    return SwingState(start, breaks, turns)


def _breaks(swing: SwingSamples, role: str) -> tuple[Break, ...]:
    """Strike, gaps and clipped spells of a sensor within the swing."""
    sensor = swing.sensors[role]
    found: list[Break] = []
    if swing.strike() is not None:
        # From the strike on, not before: numbers are read just before it.
        impact = swing.window.impact
        found.append(Break(impact, impact + 0.5 * STRIKE_RINGING, _STRIKE_TURN, True))
    for doubt in sensor.doubts:
        long_enough = doubt.end - doubt.start > _SHORTEST_BREAK_PERIODS * sensor.period
        inside = doubt.end >= swing.time[0] and doubt.start <= swing.time[-1]
        if long_enough and inside:
            found.append(Break(doubt.start, doubt.end, doubt.turn, open=doubt.open))
    return tuple(found)

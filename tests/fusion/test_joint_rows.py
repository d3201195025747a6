"""The joint's rows in the fit: derivatives against finite differences, and a swing without rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest

from imu.fusion.bridging import Doubt
from imu.fusion.estimate import Guess, fit_session
from imu.fusion.joint import JointRows, SwingState, follow_both, joint_rows, rotation_field
from imu.fusion.parameters import (
    CLOCK_DRIFT,
    CLOCK_SHIFT,
    LEVER,
    OFFSET,
    SIZE,
    Priors,
    Shared,
    from_vector,
)
from imu.fusion.quaternion import from_rotvec, multiply
from imu.fusion.rest import RestSpells, rest_spells
from imu.fusion.samples import SENSORS, SwingSamples, cut_swing
from imu.fusion.start import first_seat, first_shared, first_states
from imu.fusion.track import Break
from imu.recordings.synchronise import align
from imu.simulate.session import SessionPlan, SimulatedSession, simulate_session
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM


@pytest.fixture(scope="module")
def session() -> SimulatedSession:
    return simulate_session(SessionPlan(actions=("stand", "ball")), "typical", 31)


@dataclass(frozen=True, eq=False)
class Begun:
    """One swing laid out by the first guess, and the rests of its session."""

    swing: SwingSamples
    rests: Mapping[str, RestSpells]
    shared: Shared
    state: SwingState


def begun(session: SimulatedSession, step: float) -> Begun:
    aligned = align(session.recording)
    window = find_swings(aligned).swings[0]
    swing = cut_swing(aligned, window, step)
    assert swing is not None
    rests = {r: rest_spells(s.time, s.acc, s.gyr) for r, s in aligned.streams.items()}
    seats = {role: first_seat([swing], role) for role in SENSORS}
    shared = first_shared([swing], rests, {FOREARM: 0.06, CLUB: 0.28}, seats)
    return Begun(swing, rests, shared, first_states([swing], shared)[0])


def rows(swing: SwingSamples, shared: Shared, state: SwingState) -> JointRows:
    tracks = follow_both(swing, shared, state)
    fields = {r: rotation_field(tracks[r], shared.sensors[r], state, r, 1) for r in SENSORS}
    return joint_rows(swing, shared, state, tracks, fields)


def check_slope(
    up: JointRows, down: JointRows, known: JointRows, stated: np.ndarray, step: float = 1e-5
) -> None:
    """Differences over a step to either side against the derivative (M, 3) stated."""
    both = np.intersect1d(np.intersect1d(up.rows, down.rows), known.rows)
    pick = [np.searchsorted(r.rows, both) for r in (up, down, known)]
    slope = (up.error[pick[0]] - down.error[pick[1]]) / (2.0 * step)
    scale = np.abs(slope).max()
    # The running integral of the coarse field and the strike's edge cost a little.
    assert np.quantile(np.abs(slope - stated[pick[2]]), 0.95) < 0.03 * scale + 1e-6


def test_derivatives_by_what_is_shared_agree_with_finite_differences(
    session: SimulatedSession,
) -> None:
    one = begun(session, 0.002)
    center = one.shared.vector()
    known = rows(one.swing, one.shared, one.state)
    rng = np.random.default_rng(5)
    for column in [*rng.choice(CLOCK_SHIFT, 12, replace=False), CLOCK_SHIFT]:
        step = np.zeros(SIZE)
        step[column] = 1e-5
        up, down = (
            rows(one.swing, from_vector(center + side * step, one.shared.clock_origin), one.state)
            for side in (1.0, -1.0)
        )
        check_slope(up, down, known, known.shared[:, :, column])


def test_the_derivative_by_the_clocks_drift_agrees_for_a_swing_far_from_the_middle(
    session: SimulatedSession,
) -> None:
    # Five minutes away a drift acts as a shift; that it also stretches the swing's own time by so
    # many parts in a million is left out.
    one = begun(session, 0.002)
    far = replace(one.shared, clock_origin=one.shared.clock_origin - 300.0)
    known = rows(one.swing, far, one.state)
    up, down = (rows(one.swing, replace(far, clock_drift=d), one.state) for d in (1e-8, -1e-8))
    check_slope(up, down, known, known.shared[:, :, CLOCK_DRIFT], 1e-8)


def test_derivatives_by_a_swings_own_unknowns_agree_with_finite_differences(
    session: SimulatedSession,
) -> None:
    one = begun(session, 0.002)
    # A break before the strike in each sensor, so that there are rotations inside the swing too.
    top = one.swing.window.top
    breaks = {role: (Break(top, top + 0.04, 0.01), *one.state.breaks[role]) for role in SENSORS}
    turns = {role: np.zeros((len(breaks[role]), 3)) for role in SENSORS}
    state = SwingState(one.state.start, breaks, turns)
    known = rows(one.swing, one.shared, state)
    for role in SENSORS:
        starting, first_break = state.columns(role)
        for axis in range(3):
            turned = []
            for side in (1e-5, -1e-5):
                small = from_rotvec(side * np.eye(3)[axis])
                start = {**state.start, role: multiply(small, state.start[role])}
                turned.append(rows(one.swing, one.shared, SwingState(start, breaks, turns)))
            check_slope(*turned, known, known.own[:, :, starting][:, :, axis])
            turned = []
            for side in (1e-5, -1e-5):
                moved = turns[role].copy()
                moved[0, axis] = side
                changed_turns = {**turns, role: moved}
                turned.append(
                    rows(one.swing, one.shared, SwingState(state.start, breaks, changed_turns))
                )
            check_slope(*turned, known, known.own[:, :, first_break + axis])


@pytest.mark.filterwarnings("error")
def test_where_the_sensors_can_nowhere_be_compared_the_fit_keeps_to_what_was_known(
    session: SimulatedSession,
) -> None:
    one = begun(session, 0.004)
    lost = Doubt(one.swing.time[0] - 1.0, one.swing.time[-1] + 1.0, 0.05)
    sensors = {r: replace(span, doubts=(lost,)) for r, span in one.swing.sensors.items()}
    guess = Guess(one.shared, (one.state,))
    blind = replace(one.swing, sensors=sensors)
    fit = fit_session([blind], one.rests, guess, one.shared, (0.003, 2e-6))
    assert np.isnan(fit.swings[0].residual)
    assert fit.converged
    known = Priors().vector(0.003, 2e-6)
    for role in SENSORS:
        lever = slice(OFFSET[role] + LEVER.start, OFFSET[role] + LEVER.stop)
        assert np.sqrt(np.diag(fit.covariance)[lever]) == pytest.approx(known[lever])
        assert fit.shared.sensors[role].lever == pytest.approx(one.shared.sensors[role].lever)

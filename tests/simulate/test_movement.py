"""The simulated movement: smooth, consistent with itself, and the pendulum where it should be."""

import numpy as np
import pytest

from imu.simulate.double_pendulum import PendulumParameters, swing_down
from imu.simulate.golfer import add_swing, address_posture, release_shape
from imu.simulate.habits import IRON_MEAN, SwingHabit, SwingNumbers
from imu.simulate.kinematics import COORDINATES, Body
from imu.simulate.paths import Curve, Paths, smooth_noise
from imu.simulate.session import ACTIONS, SessionPlan, play
from imu.units import DEG, MS, STANDARD_GRAVITY

ARM, REACH = 0.62, 0.89
POINTS = ([0.0, 0.0, 0.0], [0.012, -0.28, 0.004])


def built_swing(numbers: SwingNumbers = IRON_MEAN, **options):
    start = {**dict.fromkeys(COORDINATES, 0.0), **address_posture(numbers, ARM, REACH), "worn": 1.0}
    paths = Paths.standing(0.0, start)
    times = add_swing(paths, 1.0, numbers, **options)
    return Body(paths.curves(), ARM), times


def everything_moving() -> Body:
    rng = np.random.default_rng(4)
    curves = {name: smooth_noise(rng, 3.0, 0.25, 0.3) for name in COORDINATES}
    return Body(curves, ARM, {name: [smooth_noise(rng, 3.0, 0.1, 0.02)] for name in COORDINATES})


def test_a_curve_keeps_value_rate_and_acceleration_at_its_knots():
    knots = [(0.0, 1.0, -2.0, 3.0), (0.4, 0.5, 1.0, -1.0), (0.9, 0.0, 0.0, 0.0)]
    curve = Curve.through(knots)
    for time, *wanted in knots:
        for side in (time - 1e-9, time + 1e-9):
            if 0.0 < side < 0.9:
                assert np.ravel(curve(np.array([side]))) == pytest.approx(wanted, abs=1e-6)


def test_a_curve_refuses_knots_out_of_order():
    with pytest.raises(ValueError, match=r"after 0\.5"):
        Curve.through([(0.5, 0, 0, 0), (0.5, 1, 0, 0)])


def test_a_minimum_jerk_movement_is_the_published_polynomial():
    # Source: Flash & Hogan (1985), J Neurosci 5:1688-1703: x = 10 τ³ − 15 τ⁴ + 6 τ⁵.
    paths = Paths.standing(0.0, {"arm_angle": 0.0})
    paths.move(1.0, 3.0, {"arm_angle": 2.0})
    tau = np.linspace(0.0, 1.0, 50)
    value, _, _ = paths.curves()["arm_angle"](1.0 + 2.0 * tau)
    assert value == pytest.approx(2.0 * (10 * tau**3 - 15 * tau**4 + 6 * tau**5), abs=1e-12)


@pytest.mark.parametrize("body", [built_swing(slowed=4.0)[0], everything_moving()])
def test_rates_and_forces_are_the_derivatives_of_the_movement(body):
    # Rigid-body kinematics by plain finite differences of orientation and position.
    step = 2e-5
    middle = np.linspace(0.6, 2.3, 60) + 1.7e-4
    before, now, after = (body.at(middle + k * step) for k in (-1, 0, 1))
    for name in ("forearm", "club"):
        turned = [getattr(state, name).orientation() for state in (before, now, after)]
        rate = (turned[0].inv() * turned[2]).as_rotvec() / (2 * step)
        segment = getattr(now, name)
        assert np.abs(rate - segment.rate).max() < 2e-4
        bend = (getattr(after, name).rate - getattr(before, name).rate) / (2 * step)
        assert np.abs(bend - segment.acceleration).max() < 2.0
        wrist = "wrist" if name == "forearm" else "club_wrist"
        for point in POINTS:
            place = [
                getattr(state, wrist) + turn.apply(point)
                for state, turn in zip((before, now, after), turned, strict=True)
            ]
            acceleration = (place[2] - 2.0 * place[1] + place[0]) / step**2
            felt = turned[1].apply(segment.force_at(np.array(point)))
            gap = felt - acceleration - [0.0, 0.0, STANDARD_GRAVITY]
            assert np.abs(gap).max() < 0.5


def test_integrating_the_forces_twice_gives_the_positions():
    body, _ = built_swing()
    time = np.arange(0.5, 3.0, 2e-4)
    state = body.at(time)
    felt = state.club.orientation().apply(state.club.wrist_force)
    acceleration = felt - [0.0, 0.0, STANDARD_GRAVITY]
    step = time[1] - time[0]

    def integrate(values):
        summed = np.cumsum(0.5 * (values[1:] + values[:-1]) * step, axis=0)
        return np.vstack([np.zeros(3), summed])

    place = integrate(integrate(acceleration))
    assert np.abs(place - (state.club_wrist - state.club_wrist[0])).max() < 1e-4


def test_a_planar_swing_with_the_pendulums_numbers_is_the_pendulum():
    # Reference: the driven double pendulum with natural release (test_double_pendulum).
    swing = swing_down()
    arm, _, _, _ = swing.at(swing.impact)
    numbers = SwingNumbers(
        backswing_ms=800.0,
        downswing_ms=swing.impact / MS,
        release_ms=swing.opened_before_impact(10 * DEG) / MS,
        lag_max_deg=90.0,
        lag_at_impact_deg=arm / DEG,
        arm_top_deg=-140.0,
        arm_plane_deg=60.0,
        shaft_plane_deg=60.0,
        finish_deg=120.0,
    )
    body, times = built_swing(numbers, wrist_torque=0.0)
    elapsed = np.linspace(1e-4, swing.impact - 1e-4, 80)
    state = body.at(times.arm_top + elapsed)
    truth = np.array([swing.at(t) for t in elapsed])
    hinge = np.arccos(np.sum(state.forearm.axis(1) * state.club.axis(1), axis=1))
    assert hinge == pytest.approx(truth[:, 0] - truth[:, 1], abs=0.02 * DEG)
    normal = np.array([0.0, -np.sin(60 * DEG), np.cos(60 * DEG)])
    arm_rate = state.forearm.orientation().apply(state.forearm.rate) @ normal
    club_rate = state.club.orientation().apply(state.club.rate) @ normal
    assert arm_rate == pytest.approx(truth[:, 2], abs=0.01)
    assert club_rate == pytest.approx(truth[:, 3], abs=0.02)


def test_the_wrist_bends_but_does_not_twist():
    body, _ = built_swing()
    state = body.at(np.linspace(0.6, 2.6, 300))
    bend = state.forearm.orientation().inv() * state.club.orientation()
    assert np.abs(bend.as_rotvec()[:, 1]).max() < 1.5 * DEG


def test_the_clubhead_starts_and_strikes_at_the_ground():
    body, times = built_swing()
    state = body.at(np.array([0.9, times.impact]))
    head = state.club_wrist - REACH * state.club.axis(1)
    assert head[0, 2] == pytest.approx(0.0, abs=1e-6)
    assert abs(head[1, 2]) < 0.04


def test_the_ball_slows_the_club_by_the_stated_step():
    slowed = 4.0
    body, times = built_swing(slowed=slowed)
    normal = np.array([0.0, -np.sin(51 * DEG), np.cos(51 * DEG)])
    club = body.at(times.impact + np.array([-1e-6, 0.002])).club
    before, after = club.orientation().apply(club.rate) @ normal
    # The arm slows by up to 0.1 rad/s of its own accord meanwhile.
    assert before - after == pytest.approx(slowed, abs=0.15)


def test_a_release_before_the_top_is_refused():
    with pytest.raises(ValueError, match="no such swing"):
        built_swing(SwingNumbers(**{**IRON_MEAN.as_dict(), "release_ms": 240.0}))


def test_the_release_shape_runs_from_zero_to_one():
    shape = release_shape(0.0)
    assert shape.onset == pytest.approx(swing_down().release / swing_down().impact)
    for table in (shape.arm, shape.opening):
        assert table[0, :3] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
        assert table[-1, :2] == pytest.approx([1.0, 1.0])
    assert shape.opening[0, 3] == pytest.approx(0.0, abs=0.05)
    assert PendulumParameters().wrist_torque == 0.0


def test_drawn_swings_have_the_stated_spread_and_drift():
    deviation = SwingNumbers(downswing_ms=5.0, release_ms=4.0)
    habit = SwingHabit(IRON_MEAN, deviation, {"downswing_ms": 30.0})
    rng = np.random.default_rng(0)
    first = [habit.draw(rng, 0.0) for _ in range(2000)]
    last = [habit.draw(rng, 1.0) for _ in range(2000)]
    # Gaussian cut at 2.5: standard deviation about 0.99 of the uncut one.
    assert np.std([s.downswing_ms for s in first]) == pytest.approx(5.0, rel=0.05)
    assert np.std([s.release_ms for s in first]) == pytest.approx(4.0, rel=0.05)
    gap = np.mean([s.downswing_ms for s in last]) - np.mean([s.downswing_ms for s in first])
    assert gap == pytest.approx(30.0, abs=0.6)
    assert {s.arm_top_deg for s in first} == {IRON_MEAN.arm_top_deg}


@pytest.mark.parametrize("action", ACTIONS)
def test_every_action_is_smooth(action):
    # Twice differentiable: over a tiny step, rates and forces change only a tiny bit.
    line = play(SessionPlan(actions=(action,)), np.random.default_rng(8))
    body = line.body()
    step = 1e-5
    time = np.arange(0.3, line.now, 0.0013)
    now, soon = body.at(time), body.at(time + step)
    for name in ("forearm", "club"):
        a, b = getattr(now, name), getattr(soon, name)
        assert np.abs(a.rate - b.rate).max() < 0.06
        assert np.abs(a.wrist_force - b.wrist_force).max() < 12.0
        assert np.all(np.isfinite(a.wrist_force))

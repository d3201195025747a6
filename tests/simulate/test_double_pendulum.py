"""Double pendulum against numbers integrated outside the project, and what physics keeps."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from imu.simulate.double_pendulum import PendulumParameters, _free, swing_down
from imu.units import DEG

# Source: independent integration of the same published equations of motion (see the module),
# given to the printed digits: t_release s, arm at release °, t_impact s, arm at impact °,
# arm rate, club rate rad/s, clubhead m/s, wrist part m/s, t_parallel s, clubhead at parallel
# m/s, hinge at parallel °, wrist share.
CASES = {
    "natural": (
        {},
        (0.148766, -95.0339, 0.306125, 32.1593, 14.09652, 31.26276),
        (42.20144, 18.85309, 0.249752, 30.22812, 74.2567, 0.843351),
    ),
    "held 30 ms": (
        {"hold": 0.030},
        (0.178766, -74.7025, 0.306997, 34.5586, 14.12758, 31.71042),
        (42.54466, 19.29609, 0.251109, 30.07846, 76.4466, 0.866786),
    ),
    "held 50 ms": (
        {"hold": 0.050},
        (0.198766, -58.9927, 0.308812, 38.9231, 14.30253, 32.29986),
        (42.95307, 19.71904, 0.253326, 29.59471, 79.8338, 0.896370),
    ),
    "wrist torque 10 N·m": (
        {"wrist_torque": 10.0},
        (0.148766, -95.0339, 0.298255, 17.0685, 12.82006, 32.06758),
        (43.09621, 21.23732, 0.244144, 32.17721, 65.9825, 0.852329),
    ),
    "hinge 70°": (
        {"hinge": 70 * DEG},
        (0.170716, -84.6570, 0.310038, 31.6663, 15.50093, 28.04835),
        (39.49674, 13.75131, 0.245140, 27.39263, 63.7556, 0.752340),
    ),
    "hinge 110°": (
        {"hinge": 110 * DEG},
        (0.133764, -100.7260, 0.302889, 36.8036, 12.95991, 34.45442),
        (44.76539, 23.61372, 0.252467, 32.34491, 85.1542, 0.925960),
    ),
}
# One unit in the last printed place: three printed digits are rounded the other way from a
# converged solution (see the Runge-Kutta test below).
DIGIT_FIRST = (1e-6, 1e-4, 1e-6, 1e-4, 1e-5, 1e-5)
DIGIT_SECOND = (1e-5, 1e-5, 1e-6, 1e-5, 1e-4, 1e-6)


@pytest.mark.parametrize("name", CASES)
def test_check_table_to_the_printed_digits(name):
    changes, first, second = CASES[name]
    swing = swing_down(PendulumParameters(**changes))
    arm, _, arm_rate, club_rate = swing.at(swing.impact)
    got_first = (
        swing.release,
        swing.at(swing.release)[0] / DEG,
        swing.impact,
        arm / DEG,
        arm_rate,
        club_rate,
    )
    parallel = swing.at(swing.shaft_parallel)
    got_second = (
        float(np.linalg.norm(swing.clubhead_velocity(swing.impact))),
        swing.wrist_speed(swing.impact),
        swing.shaft_parallel,
        float(np.linalg.norm(swing.clubhead_velocity(swing.shaft_parallel))),
        (parallel[0] - parallel[1]) / DEG,
        swing.wrist_share(),
    )
    for got, want, digit in zip(got_first, first, DIGIT_FIRST, strict=True):
        assert got == pytest.approx(want, abs=digit)
    for got, want, digit in zip(got_second, second, DIGIT_SECOND, strict=True):
        assert got == pytest.approx(want, abs=digit)


@pytest.mark.parametrize(
    ("hold", "opened_ms"),
    [
        (0.0, (116.11, 87.79, 70.25, 48.12, 13.67)),
        (0.030, (104.29, 80.19, 64.28, 43.62, 10.78)),
        (0.050, (90.99, 70.17, 55.87, 36.87, 6.04)),
    ],
)
def test_times_at_which_the_hinge_has_opened(hold, opened_ms):
    # Source: the same independent integration as the table, read there from samples: one unit.
    swing = swing_down(PendulumParameters(hold=hold))
    for angle, want in zip((1, 5, 10, 20, 45), opened_ms, strict=True):
        assert swing.opened_before_impact(angle * DEG) * 1e3 == pytest.approx(want, abs=0.011)


def test_peak_arm_rate_comes_before_impact():
    # Source: the same independent integration as the table.
    rate, before = swing_down().peak_arm_rate()
    assert rate == pytest.approx(15.4023, abs=5.1e-5)
    assert before * 1e3 == pytest.approx(58.46, abs=0.0051)


def test_agrees_with_a_plain_runge_kutta_integration():
    # Method: classical fourth-order Runge-Kutta (Kutta 1901), written here in matrix form.
    model = PendulumParameters(hold=0.050)
    swing = swing_down(model)
    g = 9.81 * math.sin(model.plane)

    def slope(state):
        arm, club, arm_rate, club_rate = state
        a = model.arm_inertia + model.club_mass * model.arm_length**2
        b = model.coupling * math.cos(arm - club)
        s = model.coupling * math.sin(arm - club)
        right = [
            model.arm_torque
            - s * club_rate**2
            - g * (model.arm_moment + model.club_mass * model.arm_length) * math.sin(arm),
            s * arm_rate**2 - g * model.club_mass * model.club_centre * math.sin(club),
        ]
        return np.array(
            [arm_rate, club_rate, *np.linalg.solve([[a, b], [b, model.club_inertia]], right)]
        )

    state = np.array(swing.at(swing.release))
    steps = 1000
    dt = (swing.impact - swing.release) / steps
    for _ in range(steps):
        k1 = slope(state)
        k2 = slope(state + dt / 2 * k1)
        k3 = slope(state + dt / 2 * k2)
        k4 = slope(state + dt * k3)
        state = state + dt / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    assert state == pytest.approx(swing.at(swing.impact), abs=1e-8)


def test_energy_is_kept_without_torque():
    # Physics: the free pendulum with no torque keeps kinetic plus potential energy.
    model = PendulumParameters()
    swing = swing_down(model)
    free = swing.time >= swing.release
    arm, club = swing.arm[free], swing.club[free]
    g = 9.81 * math.sin(model.plane)
    a = model.arm_inertia + model.club_mass * model.arm_length**2
    kinetic = (
        0.5 * a * arm[:, 1] ** 2
        + 0.5 * model.club_inertia * club[:, 1] ** 2
        + model.coupling * np.cos(arm[:, 0] - club[:, 0]) * arm[:, 1] * club[:, 1]
    )
    potential = -g * (
        (model.arm_moment + model.club_mass * model.arm_length) * np.cos(arm[:, 0])
        + model.club_mass * model.club_centre * np.cos(club[:, 0])
    )
    work = model.arm_torque * arm[:, 0]
    balance = kinetic + potential - work
    assert np.ptp(balance) < 1e-8


def test_release_without_end_is_an_error():
    with pytest.raises(ValueError, match="never releases"):
        swing_down(PendulumParameters(arm_torque=0.5, arm_start=-10 * DEG))


# Source: White 2006, Am J Phys 74:1088, the undriven pendulum of two point masses let go from rigid
# rotation; in line, energy and angular momentum about the hub give both speeds exactly. Masses kg,
# lengths m, hinge °, rate rad/s, then head and hand speed m/s.
UNDRIVEN = [
    (6.0, 0.3, 0.65, 1.1, 90.0, 10.0, 24.9138965, 4.4019755),
    (2.0, 1.0, 1.0, 1.0, 90.0, 1.0, 2.0, 0.0),
]


@pytest.mark.parametrize("case", UNDRIVEN)
def test_an_undriven_pendulum_comes_in_line_at_the_speeds_that_theory_gives(case: tuple) -> None:
    arm_mass, club_mass, arm, club, hinge, rate, head, hand = case
    model = PendulumParameters(
        arm_length=arm,
        arm_inertia=arm_mass * arm**2,
        club_mass=club_mass,
        club_centre=club,
        club_inertia=club_mass * club**2,
        arm_torque=0.0,
        plane=0.0,
    )

    def in_line(_time: float, state: np.ndarray) -> float:
        return state[0] - state[1]

    in_line.terminal = True
    found = solve_ivp(
        lambda time, state: _free(time, state, model),
        (0.0, 20.0 / rate),
        [0.0, -hinge * DEG, rate, rate],
        method="DOP853",
        rtol=1e-11,
        atol=1e-12,
        events=in_line,
    )
    (end,) = found.y_events[0]
    assert arm * end[2] == pytest.approx(hand, abs=1e-6)
    assert arm * end[2] + club * end[3] == pytest.approx(head, abs=1e-6)

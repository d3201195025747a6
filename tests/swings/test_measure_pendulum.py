"""Metrics of planar swings against the double pendulum and exact arcs.

Reference swing: two-segment model after White 2006, Am J Phys 74:1088. Its numbers are
recomputed here from its equations (``imu.simulate.double_pendulum``, itself checked against the
published table), with a slow mirrored backswing before and a run-out after.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from imu.settings import AnalysisSettings
from imu.simulate.double_pendulum import PendulumParameters, swing_down
from imu.swings.measure import measure_swing
from imu.types import BALL, PRACTICE, Club, SwingWindow
from imu.units import DEG

SETTINGS = AnalysisSettings()
RATE = 1000.0
SLOWER = 3.0
TOP = 2.0004

TABLE = {
    # hold s, wrist torque N·m, hinge °: release 10° ms, hinge at parallel °, wrist share,
    # speed m/s, arm angle at impact °.
    "natural": (PendulumParameters(), 70.25, 74.2567, 0.843351, 42.20144),
    "held 30 ms": (PendulumParameters(hold=0.030), 64.28, 76.4466, 0.866786, 42.54466),
    "held 50 ms": (PendulumParameters(hold=0.050), 55.87, 79.8338, 0.896370, 42.95307),
    "wrist torque": (PendulumParameters(wrist_torque=10.0), None, 65.9825, 0.852329, 43.09621),
    "hinge 70": (PendulumParameters(hinge=70 * DEG), None, 63.7556, 0.752340, 39.49674),
    "hinge 110": (PendulumParameters(hinge=110 * DEG), None, 85.1542, 0.925960, 44.76539),
}


def pendulum_motion(planar, parameters, kind=BALL):
    """Address, backswing as the downswing slowed and reversed, downswing, run-out, rest."""
    swing = swing_down(parameters)
    # The grid falls on the top, where the made-up backswing joins with a kink, and nowhere else.
    top, impact = TOP, TOP + swing.impact
    time = np.arange(0.0004, impact + 0.9, 1.0 / RATE)
    state = np.zeros((len(time), 4))
    last = np.array(swing.at(swing.impact))
    for index, moment in enumerate(time):
        if moment < top:
            since = (top - moment) / SLOWER
            if since < swing.impact:
                arm, club, arm_rate, club_rate = swing.at(since)
                state[index] = arm, club, -arm_rate / SLOWER, -club_rate / SLOWER
            else:
                state[index] = last[0], last[1], 0.0, 0.0
        elif moment <= impact:
            state[index] = swing.at(moment - top)
        else:
            after = min(moment - impact, 0.4)
            left = 1.0 - after / 0.4
            turned = after * (1.0 - 0.5 * after / 0.4)
            state[index, :2] = last[:2] + last[2:] * turned
            state[index, 2:] = last[2:] * left
    arm, club, arm_rate, club_rate = state.T
    motion = planar(time, arm, club, arm_rate, club_rate, parameters.plane)
    window = SwingWindow(time[0], time[-1], kind, 1.1, top + 0.01, impact, 1e-4, impact + 0.4)
    return swing, motion, window


def measure(motion, window, parameters, settings=SETTINGS):
    club = Club("club", parameters.club_length + 0.05)
    return measure_swing(motion, window, club, parameters.arm_length, settings)


@pytest.mark.parametrize("case", TABLE)
def test_pendulum_table(planar, case):
    parameters, release, lag, share, speed = TABLE[case]
    swing, motion, window = pendulum_motion(planar, parameters)
    found = measure(motion, window, parameters)
    assert found.metrics["lag_at_parallel_deg"] == pytest.approx(lag, abs=0.01)
    assert found.metrics["wrist_share"] == pytest.approx(share, abs=0.001)
    assert found.metrics["clubhead_speed_m_s"] == pytest.approx(speed, abs=0.005)
    assert found.metrics["downswing_ms"] == pytest.approx(swing.impact * 1e3, abs=0.1)
    assert found.metrics["plane_shift_deg"] == pytest.approx(0.0, abs=1e-6)
    assert found.metrics["closure_deg"] == pytest.approx(0.0, abs=1e-3)
    turned = (swing.at(swing.impact)[0] - swing.at(found.events["release"] - TOP)[0]) / DEG
    assert found.metrics["release_arm_angle_deg"] == pytest.approx(turned, abs=0.01)
    if release is not None:
        assert found.metrics["release_ms"] == pytest.approx(release, abs=0.02)


@pytest.mark.parametrize(
    ("threshold", "natural", "held30", "held50"),
    [(1, 116.11, 104.29, 90.99), (5, 87.79, 80.19, 70.17), (20, 48.12, 43.62, 36.87),
     (45, 13.67, 10.78, 6.04)],
)  # fmt: skip
def test_release_at_other_thresholds(planar, threshold, natural, held30, held50):
    settings = replace(SETTINGS, release_threshold=threshold * DEG)
    for hold, expected in ((0.0, natural), (0.030, held30), (0.050, held50)):
        parameters = PendulumParameters(hold=hold)
        _, motion, window = pendulum_motion(planar, parameters)
        found = measure(motion, window, parameters, settings)
        assert found.metrics["release_ms"] == pytest.approx(expected, abs=0.03)


def test_peak_arm_rate(planar):
    parameters = PendulumParameters()
    _, motion, window = pendulum_motion(planar, parameters)
    found = measure(motion, window, parameters).metrics
    assert found["peak_arm_rate_deg_s"] * DEG == pytest.approx(15.4023, abs=0.002)
    assert found["peak_arm_rate_ms"] == pytest.approx(58.46, abs=0.3)


def test_practice_impact_is_where_the_shaft_is_back(planar):
    # The address here is the posture at impact, so both definitions must meet.
    parameters = PendulumParameters()
    swing, motion, window = pendulum_motion(planar, parameters, PRACTICE)
    window = replace(window, impact=window.impact - 0.02)
    found = measure(motion, window, parameters)
    assert found.events["impact"] == pytest.approx(TOP + swing.impact, abs=1e-4)
    # The made-up run-out brakes by 105 m/s² from impact on: half a sample of it may show.
    assert found.metrics["clubhead_speed_m_s"] == pytest.approx(42.20144, abs=0.055)


@pytest.mark.parametrize(
    ("tolerance", "length", "duration"),
    [(0.01, 0.4310, 9.610), (0.02, 0.6079, 13.602), (0.05, 0.9535, 21.564)],
)
def test_near_line_of_a_rigid_arc(planar, tolerance, length, duration):
    # R 1.5 m, v 45 m/s, slope 50°: half angle arccos(1 − τ/(R cos φ)), exact.
    down, rate = 0.2, 30.0
    time = np.arange(0.0, 2.2, 1.0 / RATE)
    angle, turning = np.zeros_like(time), np.zeros_like(time)
    impact = 1.5

    def downswing(t):
        return rate * (0.5 * t - math.sin(math.pi * t / down) * down / (2 * math.pi))

    for index, moment in enumerate(time):
        since = moment - (impact - down)
        if since >= 0.0:
            t = min(since, down)
            angle[index] = downswing(t) + rate * (since - t)
            turning[index] = rate * math.sin(math.pi * t / (2 * down)) ** 2
        else:
            t = max(down + since / 4.0, 0.0)
            back = min(-since / 4.0, down)
            angle[index] = downswing(back)
            turning[index] = -rate / 4.0 * math.sin(math.pi * back / (2 * down)) ** 2
    angle -= downswing(down)
    motion = planar(time, angle, angle, turning, turning, 50 * DEG)
    window = SwingWindow(0.0, time[-1], BALL, 0.5, 1.3, impact, 1e-4, 2.0)
    settings = replace(SETTINGS, near_line_tolerance=tolerance)
    found = measure_swing(motion, window, Club("club", 0.95), 0.6, settings).metrics
    assert found["clubhead_speed_m_s"] == pytest.approx(45.0, abs=0.01)
    assert found["near_line_m"] == pytest.approx(length, abs=2e-4)
    assert found["near_line_ms"] == pytest.approx(duration, abs=5e-3)
    assert found["hinge_at_impact_deg"] == pytest.approx(0.0, abs=1e-4)

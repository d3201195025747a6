"""The simulator's truth and the analysis' metrics, written apart, agree on the exact movement."""

from dataclasses import replace

import numpy as np
import pytest

from imu.settings import AnalysisSettings
from imu.simulate.habits import IRON_MEAN, LOOSE, SwingHabit
from imu.simulate.session import mixed_plan, simulate_session
from imu.swings.measure import measure_swing
from imu.types import BALL, Motion, SwingWindow

TOLERANCE = {
    # Times within about a sample of 1 ms, angles within a tenth of a degree, and so on.
    "_ms": 1.0,
    "_deg": 0.2,
    "_deg_s": 10.0,
    "_m_s": 0.1,
    "_m": 0.01,
    "ratio": 0.02,
    "share": 0.02,
}
NOT_FROM_MOTION = {"waggle_count", "address_time_s"}


@pytest.fixture(scope="module")
def measured():
    """Per swing: the truth, and what the analysis makes of the exact movement."""
    habit = SwingHabit(replace(IRON_MEAN, plane_shift_deg=9.0), LOOSE)
    plan = mixed_plan(np.random.default_rng(5), balls=5, practices=2, extras=(), habit=habit)
    session = simulate_session(plan, "clean", 3)
    pairs = []
    for swing in session.truth.swings:
        events = swing["events_s"]
        time = np.arange(events["takeaway"] - 0.8, events["finish"] + 0.5, 0.001)
        state = session.body.at(time)
        forearm, club = state.forearm.orientation(), state.club.orientation()
        motion = Motion(
            time,
            forearm,
            club,
            forearm.apply(state.forearm.rate),
            club.apply(state.club.rate),
            np.zeros(len(time), bool),
        )
        window = SwingWindow(
            start=float(time[0]),
            end=float(time[-1]),
            kind=swing["kind"],
            takeaway=events["takeaway"],
            top=events["club_top"],
            impact=events["impact"],
            impact_se=1e-4,
            finish=events["finish"],
        )
        found = measure_swing(motion, window, plan.club, 0.62, AnalysisSettings())
        pairs.append((swing, found))
    return pairs


def test_there_are_ball_and_practice_swings(measured):
    assert {swing["kind"] for swing, _ in measured} == {BALL, "practice"}


def test_metrics_agree(measured):
    for swing, found in measured:
        for name, true in swing["values"].items():
            if name in NOT_FROM_MOTION:
                continue
            suffix = max((s for s in TOLERANCE if name.endswith(s)), key=len)
            assert found.metrics[name] == pytest.approx(true, abs=TOLERANCE[suffix]), name


def test_events_agree(measured):
    for swing, found in measured:
        for name, true in swing["events_s"].items():
            assert found.events[name] == pytest.approx(true, abs=1e-3), name

"""Odd motions give reasons, not exceptions: cut short, standing still, turning anyhow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imu.columns import METRICS
from imu.settings import AnalysisSettings
from imu.swings.curves import swing_curves
from imu.swings.measure import measure_swing
from imu.types import BALL, PRACTICE, Club, Motion, SwingWindow

CLUB = Club("club", 1.0)
SETTINGS = AnalysisSettings()


def check(motion: Motion, window: SwingWindow) -> None:
    found = measure_swing(motion, window, CLUB, 0.6, SETTINGS)
    for name, value in {**found.metrics, **found.events}.items():
        assert math.isfinite(value) or found.notes[name], name
    again = measure_swing(motion, window, CLUB, 0.6, SETTINGS, found)
    assert set(again.metrics) == {metric.name for metric in METRICS}
    curves = swing_curves(motion, found, CLUB, 0.6)
    assert all(len(values) == len(motion.time) for values in curves.values())


@pytest.mark.filterwarnings("error")
@given(
    seed=st.integers(0, 2**31),
    size=st.integers(8, 400),
    roughness=st.sampled_from([0.0, 0.02, 1.0]),
    kind=st.sampled_from([BALL, PRACTICE]),
    impact=st.floats(-1.0, 2.0),
)
@settings(max_examples=60, deadline=None)
def test_any_motion_is_measured_or_excused(seed, size, roughness, kind, impact):
    rng = np.random.default_rng(seed)
    time = np.arange(size) * 0.005
    rates = [np.cumsum(roughness * rng.standard_normal((size, 3)), axis=0) for _ in range(2)]
    turns = [Rotation.from_rotvec(np.cumsum(rate, axis=0) * 0.005) for rate in rates]
    motion = Motion(time, *turns, *rates, np.zeros(size, dtype=bool))
    end = float(time[-1])
    window = SwingWindow(0.0, end, kind, 0.3 * end, 0.6 * end, impact * end, 1e-3, end)
    check(motion, window)


@pytest.mark.parametrize("event", ["t_takeaway", "t_top_club", "t_shaft_parallel_down"])
def test_motion_that_starts_or_ends_inside_the_swing(load_session, event):
    session = load_session("clean")
    swing = session.swings[0]
    cut = int(np.searchsorted(swing.motion.time, swing.truth["events_true_s"][event] + 0.02))
    for part in (slice(cut, None), slice(None, cut)):
        motion = Motion(
            swing.motion.time[part],
            swing.motion.forearm[part],
            swing.motion.club[part],
            swing.motion.forearm_rate[part],
            swing.motion.club_rate[part],
            swing.motion.reconstructed[part],
        )
        check(motion, swing.window)

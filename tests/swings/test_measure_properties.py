"""Turning the world about the vertical, shifting time or nudging the motion leaves results be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imu.columns import METRIC_BY_NAME
from imu.settings import AnalysisSettings
from imu.swings.event_noise import event_noise
from imu.swings.measure import measure_swing
from imu.types import Club, Motion

SETTINGS = AnalysisSettings()
CLUB = Club("club", 1.0)
ANGLES = st.floats(-3.1, 3.1)
SMALL = st.floats(-1.0, 1.0)

EASY = settings(max_examples=25, deadline=None)


EXAMPLES = {}


@pytest.fixture(autouse=True, scope="module")
def _examples(load_session):
    """One ball swing and one practice swing, with their measurements."""
    session = load_session("typical")
    for index, kind in enumerate(("ball", "practice")):
        swing = next(swing for swing in session.swings if swing.truth["kind"] == kind)
        EXAMPLES[index] = swing, measure(swing)


def example(which):
    return EXAMPLES[which]


def measure(swing, motion=None, window=None, near=None):
    return measure_swing(motion or swing.motion, window or swing.window, CLUB, 0.62, SETTINGS, near)


def turned(motion: Motion, world: Rotation) -> Motion:
    return Motion(
        motion.time,
        world * motion.forearm,
        world * motion.club,
        world.apply(motion.forearm_rate.copy()),
        world.apply(motion.club_rate.copy()),
        motion.reconstructed,
    )


@EASY
@given(st.integers(0, 1), ANGLES)
def test_heading_changes_nothing(which, yaw):
    swing, plain = example(which)
    other = measure(swing, turned(swing.motion, Rotation.from_euler("z", yaw))).metrics
    for name, value in plain.metrics.items():
        assert other[name] == pytest.approx(value, rel=1e-6, abs=1e-6, nan_ok=True), name


@EASY
@given(st.integers(0, 1), st.floats(-1000.0, 5000.0))
def test_shift_of_time_changes_nothing(which, shift):
    swing, plain = example(which)
    motion, window = swing.motion, swing.window
    names = ("start", "end", "takeaway", "top", "impact", "finish", "settled")
    moved = replace(window, **{name: getattr(window, name) + shift for name in names})
    later = Motion(
        motion.time + shift,
        motion.forearm,
        motion.club,
        motion.forearm_rate,
        motion.club_rate,
        motion.reconstructed,
    )
    other = measure(swing, later, moved).metrics
    for name, value in plain.metrics.items():
        # Times of several thousand seconds carry about 1e-9 s of rounding.
        assert other[name] == pytest.approx(value, rel=1e-5, abs=1e-4, nan_ok=True), name


@EASY
@given(st.integers(0, 1), st.tuples(*[SMALL] * 6), st.tuples(*[SMALL] * 6))
def test_a_nudge_moves_results_by_as_much(which, tilt, drift):
    # Differences over a nudge and over half of it must agree: results are smooth, not jumping.
    swing, base = example(which)
    changes = []
    for size in (2e-4, 1e-4):
        motion = nudged(swing.motion, np.array(tilt), np.array(drift), size)
        found = measure(swing, motion, near=base).metrics
        changes.append({name: found[name] - base.metrics[name] for name in found})
    for name, whole in changes[0].items():
        kind = METRIC_BY_NAME[name].kind
        # A nudge of a tenth of a milliradian may bend things by no more than this.
        slack = {"time": 0.05, "rate": 0.5, "angle": 0.01, "ratio": 0.02}.get(kind, 1e-3)
        assert whole == pytest.approx(2.0 * changes[1][name], abs=slack, nan_ok=True), name


def nudged(motion: Motion, tilt: np.ndarray, drift: np.ndarray, size: float) -> Motion:
    """Both segments turned by a constant and a slowly growing small angle, rates to match."""
    since = motion.time - motion.time[0]
    parts = []
    for index, (orientation, rate) in enumerate(
        ((motion.forearm, motion.forearm_rate), (motion.club, motion.club_rate))
    ):
        pick = slice(3 * index, 3 * index + 3)
        small = size * (tilt[pick] + drift[pick] * since[:, None])
        world = Rotation.from_rotvec(small)
        parts.append((world * orientation, world.apply(rate.copy()) + size * drift[pick]))
    return Motion(
        motion.time, parts[0][0], parts[1][0], parts[0][1], parts[1][1], motion.reconstructed
    )


def test_stated_event_noise_matches_repeated_noise():
    # White noise on the rates, many times over: the spread of each rate-read event.
    ball, base = example(0)
    noise = 0.02
    stated = event_noise(base.places, gyro_noise=noise)
    rng = np.random.default_rng(5)
    found = {name: [] for name in ("takeaway", "arm_top", "club_top")}
    for _ in range(60):
        motion = ball.motion
        size = motion.club_rate.shape
        noisy = Motion(
            motion.time,
            motion.forearm,
            motion.club,
            motion.forearm_rate + noise * rng.standard_normal(size),
            motion.club_rate + noise * rng.standard_normal(size),
            motion.reconstructed,
        )
        events = measure(ball, noisy, near=base).events
        for name, values in found.items():
            values.append(events[name])
    for name, values in found.items():
        ratio = stated[name] / np.std(values, ddof=1)
        assert 0.5 < ratio < 2.0, (name, ratio)

"""Movements of a swing measured as one stack give what each gives alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imu.columns import EVENTS, METRICS
from imu.fusion.movements import Movements
from imu.fusion.uncertainty import MotionErrors
from imu.settings import AnalysisSettings
from imu.swings.measure import measure_swing, read_swing
from imu.types import BALL, CLUB, FOREARM, PRACTICE, Club, Motion, SwingWindow

SETTINGS = AnalysisSettings()
DRIVER = Club("club", 1.0)


def stacked(motions: list[Motion]) -> Movements:
    each = [Movements.of(motion) for motion in motions]
    return Movements(
        each[0].time,
        np.concatenate([one.quats for one in each], axis=2),
        np.concatenate([one.rates for one in each], axis=2),
    )


def check(motions, window, impacts, levers, arms, near=None) -> None:
    """The stack against one reading after the other."""
    together = read_swing(stacked(motions), window, impacts, levers, arms, SETTINGS, near)
    for number, motion in enumerate(motions):
        one = slice(number, number + 1)
        alone = read_swing(
            Movements.of(motion), window, impacts[one], levers[one], arms[one], SETTINGS, near
        )
        for row, name in enumerate(EVENTS):
            assert together.events[row, number] == pytest.approx(
                alone.events[row, 0], abs=1e-9, nan_ok=True
            ), name
        for row, metric in enumerate(METRICS):
            assert together.metrics[row, number] == pytest.approx(
                alone.metrics[row, 0], rel=1e-7, abs=1e-7, nan_ok=True
            ), metric.name


def nudged(motion: Motion, rng: np.random.Generator, size: float) -> Motion:
    """Both segments turned by a small angle that grows, rates to match."""
    since = (motion.time - motion.time[0])[:, None]
    parts = []
    for orientation, rate in (
        (motion.forearm, motion.forearm_rate),
        (motion.club, motion.club_rate),
    ):
        tilt, drift = size * rng.standard_normal((2, 3))
        world = Rotation.from_rotvec(tilt + drift * since)
        parts.append((world * orientation, world.apply(rate.copy()) + drift))
    return Motion(
        motion.time, parts[0][0], parts[1][0], parts[0][1], parts[1][1], motion.reconstructed
    )


@pytest.mark.parametrize("kind", [BALL, PRACTICE])
@pytest.mark.parametrize("again", [False, True])
def test_nudged_swings(load_session, kind, again):
    session = load_session("typical")
    swing = next(swing for swing in session.swings if swing.truth["kind"] == kind)
    near = measure_swing(swing.motion, swing.window, DRIVER, 0.62, SETTINGS) if again else None
    rng = np.random.default_rng(7)
    motions = [swing.motion, *(nudged(swing.motion, rng, size) for size in (0.01, 0.05, 0.2))]
    impacts = swing.window.impact + np.array([0.0, 0.002, -0.004, 0.0])
    levers, arms = np.array([0.95, 0.95, 1.05, 0.9]), np.array([0.62, 0.7, 0.62, 0.6])
    check(motions, swing.window, impacts, levers, arms, near)


@pytest.mark.filterwarnings("error")
@given(
    seed=st.integers(0, 2**31),
    size=st.integers(8, 300),
    impact=st.floats(0.0, 1.2),
)
@settings(max_examples=100, deadline=None)
def test_motions_that_are_no_swings(seed, size, impact):
    # As ball swings: a shaft that never left its address passes it, or not, by rounding alone.
    rng = np.random.default_rng(seed)
    time = np.arange(size) * 0.005
    motions = []
    for roughness in (0.0, 0.02, 0.3, 1.0, 1.0):
        rates = [np.cumsum(roughness * rng.standard_normal((size, 3)), axis=0) for _ in range(2)]
        turns = [Rotation.from_rotvec(np.cumsum(rate, axis=0) * 0.005) for rate in rates]
        motions.append(Motion(time, *turns, *rates, np.zeros(size, dtype=bool)))
    end = float(time[-1])
    window = SwingWindow(0.0, end, BALL, 0.3 * end, 0.6 * end, impact * end, 1e-3, end)
    impacts = impact * end + 0.01 * rng.standard_normal(len(motions))
    check(motions, window, impacts, np.full(len(motions), 0.95), np.full(len(motions), 0.6))


def test_errors_turn_orientations_and_rates_as_rotations_do(load_session):
    # Against scipy's rotations and a numeric derivative of the turned orientations.
    swing = load_session("clean").swings[0]
    motion = swing.motion
    coarse = np.arange(motion.time[0], motion.time[-1] + 0.02, 0.01)
    rng = np.random.default_rng(3)
    phase, speed = rng.uniform(0.0, 6.0, (2, 2, 1, 3))
    fields = 0.02 * np.sin(phase + speed * coarse[:, None])
    rotation = {FOREARM: fields[:1], CLUB: fields[1:]}
    errors = MotionErrors(coarse, rotation, own=np.zeros((1, 1)), give=0.0)
    plain = Movements.of(motion)
    moved = errors.act_on(plain, unmoved=1)
    assert len(moved) == 2
    assert moved.quats[:, :, 0] == pytest.approx(plain.quats[:, :, 0], abs=1e-12)
    assert moved.rates[:, :, 0] == pytest.approx(plain.rates[:, :, 0], abs=1e-12)
    step = float(motion.time[1] - motion.time[0])
    for segment, orientation in enumerate((motion.forearm, motion.club)):
        angle = np.stack(
            [np.interp(motion.time, coarse, fields[segment][:, axis]) for axis in range(3)], axis=1
        )
        expected = Rotation.from_rotvec(angle) * orientation
        found = Rotation.from_quat(moved.quats[:, segment, 1].T, scalar_first=True)
        assert (expected.inv() * found).magnitude().max() < 1e-6
        change = (found[2:] * found[:-2].inv()).as_rotvec() / (2.0 * step)
        before = (orientation[2:] * orientation[:-2].inv()).as_rotvec() / (2.0 * step)
        added = moved.rates[:, segment, 1].T - plain.rates[:, segment, 0].T
        # What is left: kinks of the field every 10 ms, and its own rate to first order.
        assert np.abs((change - before) - added[1:-1]).max() < 0.004


def test_an_error_of_heading_changes_no_number(load_session):
    swing = load_session("clean").swings[0]
    motion = swing.motion
    coarse = np.arange(motion.time[0], motion.time[-1] + 0.02, 0.01)
    field = np.zeros((1, len(coarse), 3))
    field[..., 2] = 0.4
    errors = MotionErrors(coarse, {FOREARM: field, CLUB: field}, own=np.zeros((1, 1)), give=0.0)
    moved = errors.act_on(Movements.of(motion), unmoved=1)
    two = np.ones(2)
    read = read_swing(
        moved, swing.window, swing.window.impact * two, 0.95 * two, 0.62 * two, SETTINGS
    )
    assert read.metrics[:, 1] == pytest.approx(read.metrics[:, 0], rel=1e-6, abs=1e-6, nan_ok=True)

"""Inclination over whole streams: made-up motion with exact truth, properties, bad input."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imu.fusion import quaternion as qt
from imu.fusion.one_sensor.inclination import Inclination, InclinationSettings, inclination_error
from imu.fusion.one_sensor.orientation import estimate_inclination
from imu.units import DEG, STANDARD_GRAVITY

GRAVITY = np.array([0.0, 0.0, STANDARD_GRAVITY])
RATE = 400.0


def motion(
    seed: int, length: float = 40.0, tumble: float = 0.0
) -> tuple[np.ndarray, Rotation, np.ndarray, np.ndarray]:
    """Time, true orientation, exact specific force and rate; rest at both ends.

    The sensor turns by up to a radian and is carried through ±0.3 m, reaching some 20 m/s².
    With ``tumble`` (rad/s) it also turns over and over about a horizontal axis, and never rests.
    """
    random = np.random.default_rng(seed)
    time = np.arange(round(length * RATE)) / RATE

    def smooth(amplitude: float, at: np.ndarray) -> np.ndarray:
        parts = zip(amplitudes, frequencies, phases, strict=True)
        wave = sum(a * np.sin(2 * np.pi * f * at + p) for a, f, p in parts)
        fade = np.clip(np.minimum(at - 4.0, length - 4.0 - at) / 2.0, 0.0, 1.0)
        fade = fade**4 * (35 - 84 * fade + 70 * fade**2 - 20 * fade**3)
        return amplitude * wave * fade

    angles, places = [], []
    step = 1e-3
    for kind, amplitude in (("angle", 1.0), ("place", 0.3)):
        for _ in range(3):
            frequencies = random.uniform(0.3, 1.3, 3)
            phases = random.uniform(0, 2 * np.pi, 3)
            amplitudes = random.dirichlet(np.ones(3))
            values = [smooth(amplitude, time + shift) for shift in (-step, 0.0, step)]
            (angles if kind == "angle" else places).append(values)
    turn = []
    for i, shift in enumerate((-step, 0.0, step)):
        over = Rotation.from_rotvec(np.outer(tumble * (time + shift), [0.8, 0.6, 0.0]))
        turn.append(over * Rotation.from_euler("zyx", np.column_stack([a[i] for a in angles])))
    gyr = (turn[0].inv() * turn[2]).as_rotvec() / (2 * step)
    world = np.column_stack([(p[0] - 2 * p[1] + p[2]) / step**2 for p in places])
    acc = turn[1].apply(world + GRAVITY, inverse=True)
    return time, turn[1], acc, gyr


def rms_deg(found: Inclination, truth: Rotation) -> float:
    error = inclination_error(found.orientation, truth.as_quat(scalar_first=True))
    return float(np.sqrt(np.mean(error**2)) / DEG)


def test_exact_samples_give_the_exact_inclination() -> None:
    time, truth, acc, gyr = motion(1)
    found = estimate_inclination(time, acc, gyr)
    assert rms_deg(found, truth) < 0.05
    np.testing.assert_allclose(np.linalg.norm(found.orientation, axis=1), 1.0, atol=1e-12)


def test_up_is_where_the_accelerometer_points_at_rest() -> None:
    time, _, acc, gyr = motion(2)
    found = estimate_inclination(time, acc, gyr)
    # Scale and offset of the accelerometer stay free: hence not to the last digit.
    np.testing.assert_allclose(found.up[0], acc[0] / STANDARD_GRAVITY, atol=2e-3)


def test_errors_of_a_consumer_sensor_are_found_and_taken_off() -> None:
    ratios, scores = [], []
    for seed in (3, 4, 5, 6):
        time, truth, acc, gyr = motion(seed, 90.0, tumble=0.3)
        random = np.random.default_rng(seed + 100)
        bias = random.normal(size=3) * 2 * DEG
        matrix = np.eye(3) + random.normal(size=(3, 3)) * 0.005
        offset = random.normal(size=3) * 0.15
        noisy_gyr = np.linalg.solve(matrix, gyr.T).T + bias
        noisy_gyr += 0.1 * DEG * random.normal(size=gyr.shape)
        noisy_acc = acc + offset + 0.02 * random.normal(size=acc.shape)
        found = estimate_inclination(time, noisy_acc, noisy_gyr)
        trusting = replace(
            InclinationSettings(), force_offset=1e-6, force_scale=1e-6, rate_matrix=1e-6
        )
        plain = estimate_inclination(time, noisy_acc, noisy_gyr, trusting)
        assert rms_deg(found, truth) < 0.9
        ratios.append(rms_deg(found, truth) / rms_deg(plain, truth))
        scores.append((found.gyr_bias - bias) / found.gyr_bias_se)
        scores.append((found.acc_bias - offset) / found.acc_bias_se)
    assert max(ratios) < 1.0
    assert np.mean(ratios) < 0.75
    assert np.sqrt(np.mean(np.square(scores))) < 1.3


def test_bias_is_found_in_motion_without_any_rest() -> None:
    time, truth, acc, gyr = motion(6, 60.0, tumble=0.5)
    inside = (time > 7.0) & (time < 53.0)
    bias = np.array([3.0, -2.0, 1.5]) * DEG
    found = estimate_inclination(time[inside], acc[inside], gyr[inside] + bias)
    assert len(found.rests) == 0
    np.testing.assert_allclose(found.gyr_bias, bias, atol=0.1 * DEG)
    assert rms_deg(found, truth[inside]) < 0.3


def test_stated_error_covers_the_actual_one() -> None:
    scores = []
    for seed in range(10, 22):
        time, truth, acc, gyr = motion(seed)
        random = np.random.default_rng(seed)
        offset = random.normal(size=3) * InclinationSettings().force_offset
        found = estimate_inclination(
            time,
            acc + offset + 0.05 * random.normal(size=acc.shape),
            gyr + 2 * DEG * random.normal(size=3) + 0.2 * DEG * random.normal(size=gyr.shape),
        )
        error = inclination_error(found.orientation, truth.as_quat(scalar_first=True))
        scores.append(np.sqrt(np.mean((error / found.tilt_se) ** 2)))
    assert 0.2 < np.sqrt(np.mean(np.square(scores))) < 1.3


def test_a_strike_of_two_hundred_g_hardly_moves_the_tilt() -> None:
    time, truth, acc, gyr = motion(7)
    struck = acc.copy()
    at = np.searchsorted(time, 20.0)
    struck[at : at + 4] += np.array([[2000.0, -900.0, 500.0]]) * [[1], [-0.8], [0.5], [-0.3]]
    found = estimate_inclination(time, struck, gyr)
    assert rms_deg(found, truth) < 0.15


def test_clipped_samples_named_as_doubtful_widen_the_error_there() -> None:
    time, truth, acc, gyr = motion(8)
    doubtful = (time > 20.0) & (time < 20.1)
    broken = gyr.copy()
    broken[doubtful] = 0.0
    calibrated = replace(InclinationSettings(), force_offset=0.01, force_scale=0.001)
    named = estimate_inclination(time, acc, broken, calibrated, doubtful)
    unnamed = estimate_inclination(time, acc, broken, calibrated)
    near = (time > 19.9) & (time < 20.2)
    assert named.tilt_se[near].max() > 1.5 * unnamed.tilt_se[near].max()
    assert rms_deg(named, truth) < 0.1 * rms_deg(unnamed, truth)


def test_heading_follows_the_gyroscope() -> None:
    time, truth, acc, gyr = motion(9)
    found = Rotation.from_quat(estimate_inclination(time, acc, gyr).orientation, scalar_first=True)
    offset = (found * truth.inv()).as_rotvec()
    # A constant turn about the vertical, no more.
    assert np.ptp(offset[:, 2]) < 0.2 * DEG


@settings(max_examples=8, deadline=None)
@given(st.lists(st.floats(-1, 1), min_size=4, max_size=4).filter(lambda q: np.linalg.norm(q) > 0.1))
def test_turning_the_mounting_turns_the_result(mount: list[float]) -> None:
    time, _, acc, gyr = motion(13, 20.0)
    turn = qt.normalise(mount)
    here = estimate_inclination(time, acc, gyr).orientation
    there = estimate_inclination(time, qt.rotate(turn, acc), qt.rotate(turn, gyr)).orientation
    # Axis-by-axis scale is the one thing here that knows the axes; hence not exact.
    assert inclination_error(qt.multiply(there, turn), here).max() < 0.05 * DEG


def test_turning_the_mounting_by_right_angles_changes_nothing() -> None:
    time, _, acc, gyr = motion(13, 20.0)
    here = estimate_inclination(time, acc, gyr).orientation
    for axes in ([1, 2, 0], [2, 0, 1]):
        turned = estimate_inclination(time, acc[:, axes], gyr[:, axes])
        up = turned.up
        np.testing.assert_allclose(up, qt.rotate_back(here, [0.0, 0.0, 1.0])[:, axes], atol=1e-7)


@pytest.mark.parametrize("shift", [-1024.0, 65536.0])
def test_shifting_the_clock_changes_nothing(shift: float) -> None:
    time, _, acc, gyr = motion(14, 20.0)
    here, later = (
        Rotation.from_quat(estimate_inclination(at, acc, gyr).orientation, scalar_first=True)
        for at in (time, time + shift)
    )
    assert (here.inv() * later).magnitude().max() < 1e-6


def test_sensor_delay_is_taken_off() -> None:
    time, truth, acc, gyr = motion(15)
    lag = 4
    found = estimate_inclination(
        time[lag:],
        acc[:-lag],
        gyr[:-lag],
        replace(InclinationSettings(), sensor_delay=lag / RATE),
    )
    assert rms_deg(found, truth[lag:]) < 0.06


def test_gaps_are_bridged_and_the_error_grows() -> None:
    time, truth, acc, gyr = motion(16)
    keep = (time < 20.0) | (time > 20.08)
    found = estimate_inclination(time[keep], acc[keep], gyr[keep])
    assert rms_deg(found, truth[keep]) < 0.8
    near = np.abs(time[keep] - 20.04) < 0.1
    assert found.tilt_se[near].max() > 1.5 * np.median(found.tilt_se)


def test_the_shortest_streams_and_a_sensor_upside_down() -> None:
    time = np.arange(100) / 200.0
    for up in ([0, 0, 1], [0, 0, -1], [0, 1, 0], [-1, 0, 0]):
        acc = np.tile(np.array(up) * STANDARD_GRAVITY, (100, 1))
        found = estimate_inclination(time, acc, np.zeros((100, 3)))
        np.testing.assert_allclose(found.up, np.tile(up, (100, 1)), atol=1e-9)


def test_bad_input_is_refused_by_name() -> None:
    time, _, acc, gyr = motion(17, 10.0)
    with pytest.raises(ValueError, match="expected time"):
        estimate_inclination(time, acc[:-1], gyr)
    with pytest.raises(ValueError, match="too short"):
        estimate_inclination(time[:20], acc[:20], gyr[:20])
    broken = acc.copy()
    broken[7, 1] = np.nan
    with pytest.raises(ValueError, match="acc: not finite at sample 7"):
        estimate_inclination(time, broken, gyr)
    with pytest.raises(ValueError, match="gravity is missing"):
        estimate_inclination(time, acc / STANDARD_GRAVITY, gyr)
    with pytest.raises(ValueError, match="doubtful"):
        estimate_inclination(time, acc, gyr, doubtful=np.zeros(3, dtype=bool))
    stuck = time.copy()
    stuck[5] = stuck[4]
    with pytest.raises(ValueError, match="increase"):
        estimate_inclination(stuck, acc, gyr)

"""The modelled sensor: every error does what it says, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest

from imu.errors import SwingspreadError
from imu.simulate.kinematics import COORDINATES, Body
from imu.simulate.paths import Curve
from imu.simulate.profiles import PROFILES, draw_sensor, profile_named
from imu.simulate.sensor import ideal_signal, measure, site
from imu.simulate.timeline import STANDING, Shock
from imu.types import CLUB, FOREARM
from imu.units import DEG, STANDARD_GRAVITY


def still_body() -> Body:
    posture = {**dict.fromkeys(COORDINATES, 0.0), **STANDING}
    return Body({n: Curve.through([(0.0, v, 0.0, 0.0)]) for n, v in posture.items()}, 0.62)


def turning_body(coordinate: str, rate: float) -> Body:
    posture = {**dict.fromkeys(COORDINATES, 0.0), **STANDING, "arm_tilt": 0.0, "arm_angle": 0.0}
    curves = {n: Curve.through([(0.0, v, 0.0, 0.0)]) for n, v in posture.items()}
    curves[coordinate] = Curve.through([(0.0, 0.0, rate, 0.0), (60.0, 60.0 * rate, rate, 0.0)])
    return Body(curves, 0.62)


def perfect(role: str, **changes):
    """A drawn sensor with all its errors taken away, then some put back."""
    draw = draw_sensor(PROFILES["clean"], role, np.random.default_rng(2))
    none = {
        "acc_matrix": np.eye(3),
        "gyr_matrix": np.eye(3),
        "acc_bias": np.zeros(3),
        "gyr_bias": np.zeros(3),
        "gyr_wander": 0.0,
        "acc_noise": 0.0,
        "gyr_noise": 0.0,
        "clock_skew": 0.0,
        "stamp_jitter": 0.0,
        "arrival_jitter": 1e-6,
        "loss": 0.0,
        "stalls_per_minute": 0.0,
    }
    return replace(draw, **{**none, **changes})


def taken(body, draw, role=FOREARM, shocks=(), duration=20.0, **options):
    return measure(body, shocks, draw, role, duration, np.random.default_rng(5), **options)


def test_a_resting_sensor_feels_gravity_and_nothing_else():
    stream = taken(still_body(), perfect(FOREARM)).stream
    step = stream.acc_range / 32768.0
    assert np.linalg.norm(stream.acc, axis=1) == pytest.approx(STANDARD_GRAVITY, abs=2 * step)
    assert np.abs(stream.gyr).max() == 0.0


def test_the_lever_arm_feels_the_centripetal_acceleration():
    # Physics: at radius r a body turning at rate w feels w²r towards the axis (here the hub).
    draw = perfect(FOREARM, radial=0.0, tilt=(0.0, 0.0), roll=0.0, acc_range=200.0)
    stream = taken(turning_body("arm_angle", 6.0), draw, duration=5.0).stream
    outward = stream.acc[:, 0]
    radius = 0.62 - draw.distance
    assert np.max(outward) == pytest.approx(-(6.0**2) * radius + STANDARD_GRAVITY, abs=0.02)
    assert np.min(outward) == pytest.approx(-(6.0**2) * radius - STANDARD_GRAVITY, abs=0.02)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("role", [FOREARM, CLUB])
def test_noise_has_the_stated_density(profile, role):
    # White noise of density d behind a second-order Butterworth low-pass of cut-off f has the
    # standard deviation d·√(π f / (2√2)) (noise bandwidth of that filter); rounding adds 1/√12.
    drawn = draw_sensor(PROFILES[profile], role, np.random.default_rng(3))
    draw = perfect(
        role,
        acc_noise=drawn.acc_noise,
        gyr_noise=drawn.gyr_noise,
        cutoff_hz=drawn.cutoff_hz,
        rate_hz=drawn.rate_hz,
        acc_range=20.0 * STANDARD_GRAVITY,
        gyr_range=500.0 * DEG,
    )
    stream = taken(still_body(), draw, role).stream
    width = np.pi * drawn.cutoff_hz / (2.0 * np.sqrt(2.0))
    for values, density, limit in (
        (stream.acc, drawn.acc_noise, draw.acc_range),
        (stream.gyr, drawn.gyr_noise, draw.gyr_range),
    ):
        expected = np.hypot(density * np.sqrt(width), limit / 32768.0 / np.sqrt(12.0))
        assert values.std(axis=0) == pytest.approx(expected, rel=0.05)


def test_bias_scale_and_cross_axes_are_put_in_as_stated():
    matrix = np.array([[1.01, 0.002, -0.003], [0.004, 0.99, 0.001], [-0.002, 0.003, 1.005]])
    bias = np.array([0.1, -0.2, 0.3])
    clean = taken(still_body(), perfect(FOREARM)).stream.acc.mean(axis=0)
    off = taken(still_body(), perfect(FOREARM, acc_matrix=matrix, acc_bias=bias)).stream
    assert off.acc.mean(axis=0) == pytest.approx(matrix @ clean + bias, abs=0.1)
    fine = perfect(FOREARM, acc_range=20.0, acc_matrix=matrix, acc_bias=bias)
    exact = taken(still_body(), perfect(FOREARM, acc_range=20.0)).stream.acc.mean(axis=0)
    assert taken(still_body(), fine).stream.acc.mean(axis=0) == pytest.approx(
        matrix @ exact + bias, abs=1e-3
    )


def test_clipping_comes_before_the_filter_and_may_round_below_full_scale():
    limit = 16.0 * STANDARD_GRAVITY
    draw = perfect(CLUB, acc_range=limit, rate_hz=500.0, cutoff_hz=150.0)
    blow = [Shock(5.0, club=900.0, forearm=50.0, seed=1)]
    found = taken(still_body(), draw, CLUB, blow, 8.0)
    clipped = found.stream.acc[found.clipped_acc]
    assert found.clipped_acc.sum() >= 3
    assert np.abs(found.stream.acc).max() <= limit * 1.05
    peak = np.abs(clipped).max(axis=1)
    assert np.any((peak > 0.3 * limit) & (peak < 0.99 * limit))
    assert not np.any(found.clipped_acc[np.abs(found.true_time - 5.0) > 0.1])
    assert not found.clipped_gyr.any()


def test_full_scale_is_never_exceeded():
    draw = perfect(FOREARM, gyr_range=2000.0 * DEG)
    stream = taken(turning_body("arm_roll", 60.0), draw, duration=5.0).stream
    assert np.abs(stream.gyr).max() <= 2000.0 * DEG + 1e-5
    assert np.abs(stream.gyr).max() > 1999.0 * DEG


def test_the_filter_delays_by_the_stated_time():
    # For slow signals a second-order Butterworth low-pass delays by √2/(2π f).
    draw = perfect(CLUB, rate_hz=200.0, cutoff_hz=60.0)
    assert draw.filter_delay == pytest.approx(np.sqrt(2.0) / (2.0 * np.pi * 60.0))
    body = turning_body("arm_roll", 0.0)
    body.curves["arm_roll"] = Curve.through([(1.0, 0.0, 0.0, 0.0), (3.0, 6.0, 0.0, 0.0)])
    signal = ideal_signal(body, site(draw, FOREARM, 0.05), FOREARM)
    found = taken(body, draw, FOREARM, duration=4.0)
    now = signal(found.true_time)[1]
    then = signal(found.true_time - draw.filter_delay)[1]
    assert np.abs(found.stream.gyr - then).max() < 0.6 * draw.gyr_range / 32768.0
    assert np.abs(found.stream.gyr - now).max() > 5.0 * draw.gyr_range / 32768.0


def test_smooth_and_filtered_stretches_meet_without_a_step():
    # A blow too small to see still makes the sensor go through the real filter around it.
    body = turning_body("arm_angle", 5.0)
    draw = perfect(CLUB, acc_range=20.0 * STANDARD_GRAVITY, gyr_range=2000.0 * DEG)
    quiet = taken(body, draw, CLUB, (), 6.0).stream
    touched = taken(body, draw, CLUB, [Shock(3.0, club=1e-9, forearm=1e-9)], 6.0).stream
    # At most the last digit of the sensor differs.
    assert np.abs(quiet.acc - touched.acc).max() < 1.01 * quiet.acc_range / 32768.0
    assert np.abs(quiet.gyr - touched.gyr).max() < 1.01 * quiet.gyr_range / 32768.0


def test_clock_offset_and_rate_are_as_stated():
    draw = perfect(FOREARM, clock_skew=50e-6, clock_offset=40.0)
    found = taken(still_body(), draw, duration=60.0)
    expected = 40.0 + (1.0 + 50e-6) * found.true_time
    assert np.abs(found.stream.time - expected).max() < 1e-6
    assert np.all(np.diff(found.stream.time) > 0.0)


def test_packets_come_whole_late_and_in_order_and_lost_ones_leave_a_gap():
    draw = perfect(CLUB, loss=0.05, arrival_jitter=0.01, stalls_per_minute=4.0, stall=0.3)
    found = taken(still_body(), draw, CLUB, duration=60.0)
    stream = found.stream
    assert np.all(np.diff(stream.host_time) >= 0.0)
    assert np.all(stream.host_time >= found.true_time + draw.latency - 1e-6)
    lost = stream.gaps[:, 1]
    assert np.all(lost % draw.packet_samples == 0)
    assert lost.sum() == found.lost
    share = found.lost / (found.lost + len(stream.time))
    assert share == pytest.approx(0.05, rel=0.4)
    late = stream.host_time - found.true_time - draw.latency
    assert late.max() > 0.1


def test_mirrored_player_gives_the_mirror_image():
    body = turning_body("arm_angle", 4.0)
    plain = taken(body, perfect(CLUB), CLUB).stream
    mirrored = taken(body, perfect(CLUB), CLUB, mirrored=True).stream
    assert mirrored.acc == pytest.approx(plain.acc * [1.0, -1.0, 1.0], abs=0.07)
    assert mirrored.gyr == pytest.approx(plain.gyr * [-1.0, 1.0, -1.0], abs=0.003)


def test_an_unknown_profile_names_the_choices():
    with pytest.raises(SwingspreadError, match="clean, good, typical, harsh"):
        profile_named("superb")

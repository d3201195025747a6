"""Strapdown integration against closed forms, published coning drift and scipy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imu.fusion import quaternion as qt
from imu.fusion.rotation_scan import integrate_rates, running_product, step_rotations


def angle_between(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Angles (N,) in rad between orientations (N, 4), by scipy."""
    here, there = (Rotation.from_quat(one, scalar_first=True) for one in (first, second))
    return np.asarray((here.inv() * there).magnitude())


def coning(time: np.ndarray, half_angle: float, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Orientation and body rate of classical coning (Savage 1998, J Guid Control Dyn 21:19-28).

    The rotation vector has constant size ``half_angle`` and circles the y-z plane at ``rate``.
    """
    circle = rate * time
    rotvec = half_angle * np.column_stack([0 * circle, np.cos(circle), np.sin(circle)])
    along = -2.0 * rate * np.sin(half_angle / 2) ** 2 * np.ones_like(circle)
    across = rate * np.sin(half_angle)
    gyr = np.column_stack([along, -across * np.sin(circle), across * np.cos(circle)])
    return qt.from_rotvec(rotvec), gyr


def coning_error(samples_per_turn: int, half_angle: float = 0.2, turns: int = 20) -> float:
    rate = 2 * np.pi * 5.0
    time = np.arange(turns * samples_per_turn + 1) / (samples_per_turn * 5.0)
    truth, gyr = coning(time, half_angle, rate)
    found = qt.multiply(truth[0], integrate_rates(time, gyr))
    return float(angle_between(found, truth).max())


def test_constant_rate_is_exact() -> None:
    time = np.arange(5000) / 500.0
    rate = np.array([3.0, -20.0, 7.0])
    found = integrate_rates(time, np.tile(rate, (5000, 1)))
    truth = Rotation.from_rotvec(time[:, None] * rate)
    assert angle_between(found, truth.as_quat(scalar_first=True)).max() < 1e-11


def test_linear_rate_about_one_axis_is_exact() -> None:
    time = np.sort(np.random.default_rng(3).uniform(0, 2, 400))
    gyr = np.column_stack([0 * time, 4.0 + 30.0 * time, 0 * time])
    found = qt.to_rotvec(integrate_rates(time, gyr))[:, 1]
    truth = 4.0 * time + 15.0 * time**2
    truth -= truth[0]
    np.testing.assert_allclose(np.cos(found), np.cos(truth), atol=1e-12)


def test_coning_error_falls_with_the_fourth_power_of_the_step() -> None:
    coarse, fine = coning_error(40), coning_error(80)
    assert coarse < 1e-3
    assert coarse / fine > 2**3.7


def test_coning_drift_of_the_plain_integral_is_the_published_one_and_is_removed() -> None:
    # Without the cross term the attitude drifts about the cone's axis at
    # (Ω sin²α / 2)(1 − sin Ωh / Ωh) for interval h (Bortz 1971; Miller 1983, after Goodman &
    # Robinson 1958; the small-angle form a²Ω/2 is from memory).
    half_angle, rate, per_turn, turns = 0.05, 2 * np.pi * 5.0, 20, 200
    step = 2 * np.pi / rate / per_turn
    fine = 32
    time = np.arange(turns * per_turn * fine + 1) * step / fine
    truth, gyr = coning(time, half_angle, rate)
    # Exact integrals of the rate over each interval, as an integrating gyroscope gives them.
    angle = np.concatenate([np.zeros((1, 3)), np.cumsum(step_rotations(time, gyr).T, axis=0)])
    increments = np.diff(angle[::fine], axis=0)
    steps = np.ascontiguousarray(qt.from_rotvec(increments).T)
    plain = qt.multiply(truth[0], running_product(steps)[:, -1])
    error = qt.to_rotvec(qt.multiply(plain, qt.conjugate(truth[-1])))
    duration = turns * per_turn * step
    published = 0.5 * rate * half_angle**2 * (1 - np.sin(rate * step) / (rate * step))
    assert abs(error[0]) / duration == pytest.approx(published, rel=0.02)

    # From point samples of the rate at the same interval, with the cross term: what is left is
    # of order (Ωh)² of it, so a quarter at half the step.
    left = []
    for stride in (fine, fine // 2):
        found = qt.multiply(truth[0], integrate_rates(time[::stride], gyr[::stride])[-1])
        drift = np.linalg.norm(qt.to_rotvec(qt.multiply(found, qt.conjugate(truth[-1])))) / duration
        width = step * stride / fine
        plain_drift = 0.5 * rate * half_angle**2 * (1 - np.sin(rate * width) / (rate * width))
        left.append(drift / plain_drift)
    assert left[0] < (rate * step) ** 2 / 2
    assert left[1] < 0.3 * left[0]


def test_running_product_matches_scipy_step_by_step() -> None:
    random = np.random.default_rng(5)
    for size in (1, 2, 47, 48, 49, 50, 333, 5000):
        steps = Rotation.from_rotvec(random.normal(size=(size, 3)) * 0.1)
        found = running_product(np.ascontiguousarray(steps.as_quat(scalar_first=True).T))
        assert found.shape == (4, size)
        total = Rotation.identity()
        for index in range(size):
            total = total * steps[index]
            if index in (0, 1, size // 2, size - 1):
                here = Rotation.from_quat(found[:, index], scalar_first=True)
                assert (here.inv() * total).magnitude() < 1e-13


def test_as_exact_as_scipy_products_on_a_swing_like_stream() -> None:
    # Same samples; scipy multiplies plain trapezium steps. Truth is a smooth rotation, known in
    # closed form: three sines about fixed axes, multiplied.
    def truth_at(time: np.ndarray) -> Rotation:
        yaw = Rotation.from_rotvec(np.outer(1.9 * np.sin(2 * np.pi * 0.8 * time), [0, 0, 1]))
        pitch = Rotation.from_rotvec(np.outer(1.1 * np.sin(2 * np.pi * 1.7 * time), [0, 1, 0]))
        roll = Rotation.from_rotvec(np.outer(0.8 * np.sin(2 * np.pi * 2.9 * time), [1, 0, 0]))
        return yaw * pitch * roll

    time = np.arange(2001) / 500.0
    eps = 1e-6
    gyr = (truth_at(time - eps).inv() * truth_at(time + eps)).as_rotvec() / (2 * eps)
    truth = truth_at(time)
    ours = Rotation.from_quat(integrate_rates(time, gyr), scalar_first=True)
    plain = [Rotation.identity()]
    for step in Rotation.from_rotvec(0.5 * (gyr[1:] + gyr[:-1]) / 500.0):
        plain.append(plain[-1] * step)
    error = ((truth[0] * ours).inv() * truth).magnitude().max()
    reference = ((truth[0] * Rotation.concatenate(plain)).inv() * truth).magnitude().max()
    assert error < 2e-5
    assert error < 0.05 * reference


def test_batch_gives_the_same_as_one_by_one() -> None:
    random = np.random.default_rng(6)
    gyr = random.normal(size=(5, 301, 3)) * 10
    time = np.cumsum(random.uniform(0.001, 0.003, (5, 301)), axis=1)
    together = integrate_rates(time, gyr)
    for index in range(5):
        alone = integrate_rates(time[index], gyr[index])
        np.testing.assert_allclose(together[index], alone, atol=1e-14)
    shared = integrate_rates(time[0], gyr)
    np.testing.assert_allclose(shared[2], integrate_rates(time[0], gyr[2]), atol=1e-14)


def test_length_stays_one_over_a_long_stream() -> None:
    gyr = np.random.default_rng(7).normal(size=(200_000, 3)) * 20
    found = integrate_rates(np.arange(200_000) / 1000.0, gyr)
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-14)


def test_a_long_stream_is_the_chain_of_its_parts() -> None:
    random = np.random.default_rng(10)
    time = np.arange(150_001) / 1000.0
    gyr = np.cumsum(random.normal(size=(150_001, 3)), axis=0) * 0.02
    whole = integrate_rates(time, gyr)
    for start in (65_000, 65_535, 65_536, 131_072):
        end = start + 3000
        part = integrate_rates(time[start:end], gyr[start:end])
        # Without the part's own first and last step, whose slopes are one-sided.
        part = qt.multiply(qt.conjugate(part[1]), part[1:-1])
        expected = qt.multiply(qt.conjugate(whole[start + 1]), whole[start + 1 : end - 1])
        assert angle_between(part, expected).max() < 1e-11


def test_turning_the_mounting_turns_the_result() -> None:
    random = np.random.default_rng(8)
    time, gyr = np.arange(400) / 200.0, random.normal(size=(400, 3)) * 5
    mount = qt.normalise(random.normal(size=4))
    turned = integrate_rates(time, qt.rotate(mount, gyr))
    expected = qt.multiply(mount, qt.multiply(integrate_rates(time, gyr), qt.conjugate(mount)))
    assert angle_between(turned, expected).max() < 1e-12


def test_jitter_of_sampling_times_is_followed() -> None:
    random = np.random.default_rng(9)
    even = np.arange(1, 2000) / 400.0
    time = even + random.uniform(-0.4, 0.4, even.shape) / 400.0
    truth, gyr = coning(time, 0.3, 2 * np.pi * 2.0)
    found = qt.multiply(truth[0], integrate_rates(time, gyr))
    assert angle_between(found, truth).max() < 2e-5


@pytest.mark.parametrize("size", [0, 1, 2, 3])
def test_shortest_streams(size: int) -> None:
    found = integrate_rates(np.arange(size) * 0.1, np.tile([0.0, 0.0, 2.0], (size, 1)))
    assert found.shape == (size, 4)
    np.testing.assert_allclose(qt.to_rotvec(found)[:, 2], 0.2 * np.arange(size), atol=1e-14)


@pytest.mark.filterwarnings("error")
def test_nothing_is_known_from_a_broken_rate_on() -> None:
    gyr = np.tile([0.0, 0.0, 2.0], (60, 1))
    gyr[20] = np.nan
    found = integrate_rates(np.arange(60) * 0.1, gyr)
    assert np.isfinite(found[:19]).all()
    assert np.isnan(found[20:]).all()
    assert np.isnan(integrate_rates(np.arange(60) * 0.1, np.full((60, 3), np.nan))[1:]).all()


def test_bad_shapes_and_times_are_refused() -> None:
    with pytest.raises(ValueError, match=r"gyr: expected shape .* got \(3,\)"):
        integrate_rates([0.0], np.zeros(3))
    with pytest.raises(ValueError, match="time: expected shape"):
        integrate_rates([0.0, 1.0], np.zeros((3, 3)))
    with pytest.raises(ValueError, match="increase"):
        integrate_rates([0.0, 1.0, 1.0], np.zeros((3, 3)))

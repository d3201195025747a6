"""Spells of rest: made-up streams with known rests, and the practice sessions with truth."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imu.fusion.rest import RestSettings, rest_spells
from imu.units import DEG, STANDARD_GRAVITY

SWINGS = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
BIAS = np.array([2.0, -3.0, 1.0]) * DEG
QUIET = [(2.0, 4.0), (6.0, 7.0), (9.0, 12.0)]


def stream(
    rate_hz: float, noise: float, seed: int = 0, length: float = 14.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vigorous motion except in QUIET; gyroscope and accelerometer noise scaled by ``noise``."""
    random = np.random.default_rng(seed)
    time = np.arange(round(length * rate_hz)) / rate_hz
    moving = np.ones(len(time))
    for start, end in QUIET:
        moving[(time >= start) & (time < end)] = 0.0
    gyr = moving[:, None] * np.column_stack([np.sin(9 * time), np.cos(7 * time), np.sin(5 * time)])
    gyr = gyr + BIAS + 0.1 * DEG * noise * random.normal(size=(len(time), 3))
    acc = moving[:, None] * 5 * np.column_stack([np.cos(8 * time), np.sin(6 * time), 0 * time])
    acc = acc + [0, 0, STANDARD_GRAVITY] + 0.02 * noise * random.normal(size=(len(time), 3))
    return time, acc, gyr


@pytest.mark.parametrize("rate_hz", [200.0, 333.0, 1000.0])
@pytest.mark.parametrize("noise", [0.0, 1.0, 20.0])
def test_rests_are_found_to_a_tenth_of_a_second_whatever_rate_and_noise(
    rate_hz: float, noise: float
) -> None:
    found = rest_spells(*stream(rate_hz, noise))
    assert len(found) == len(QUIET)
    np.testing.assert_allclose(found.span, QUIET, atol=0.1)
    assert found.still.all()


def test_bias_and_gravity_lie_within_their_errors() -> None:
    scores = []
    for seed in range(30):
        found = rest_spells(*stream(500.0, 5.0, seed))
        scores.append((found.gyr - BIAS) / found.gyr_se)
        scores.append((found.acc - [0, 0, STANDARD_GRAVITY]) / found.acc_se)
    rms = np.sqrt(np.mean(np.square(scores)))
    assert 0.5 < rms < 1.2


def test_a_stream_always_in_motion_has_no_rest() -> None:
    time = np.arange(5000) / 500.0
    gyr = np.column_stack([2 * np.sin(9 * time), 2 * np.cos(7 * time), np.sin(5 * time)])
    acc = np.column_stack([9 * np.cos(8 * time), 9 * np.sin(6 * time), 9 * np.ones(5000)])
    assert len(rest_spells(time, acc, gyr)) == 0


def test_even_turning_faster_than_any_bias_is_not_rest() -> None:
    time = np.arange(5000) / 500.0
    acc = np.tile([0.0, 0.0, STANDARD_GRAVITY], (5000, 1))
    assert len(rest_spells(time, acc, np.tile([0.0, 0.0, 0.5], (5000, 1)))) == 0
    assert len(rest_spells(time, acc, np.tile([0.0, 0.0, 0.1], (5000, 1)))) == 1


def test_slow_turning_between_rests_is_refused() -> None:
    time, acc, gyr = stream(500.0, 1.0)
    slow = (time >= 4.5) & (time < 5.5)
    random = np.random.default_rng(1)
    acc[slow] = np.array([0, 0, STANDARD_GRAVITY]) + 0.02 * random.normal(size=(slow.sum(), 3))
    gyr[slow] = BIAS + np.array([0, 0, 8 * DEG]) + 0.1 * DEG * random.normal(size=(slow.sum(), 3))
    found = rest_spells(time, acc, gyr)
    assert not np.any((found.span[:, 0] < 5.4) & (found.span[:, 1] > 4.6))


def test_spells_do_not_reach_across_a_gap() -> None:
    time, acc, gyr = stream(500.0, 1.0)
    keep = (time < 10.0) | (time > 11.0)
    found = rest_spells(time[keep], acc[keep], gyr[keep])
    assert not np.any((found.span[:, 0] < 9.9) & (found.span[:, 1] > 11.1))
    assert np.any((found.span[:, 0] < 9.2) & (found.span[:, 1] > 9.8))


def test_a_swaying_body_is_nearly_still_with_a_wider_error() -> None:
    time, acc, gyr = stream(500.0, 1.0)
    sway = 1.0 * DEG * 2 * np.pi * 1.3 * np.cos(2 * np.pi * 1.3 * time)
    swaying = rest_spells(time, acc, gyr + sway[:, None] * [0, 1, 0])
    calm = rest_spells(time, acc, gyr)
    assert len(swaying) == len(QUIET)
    assert not swaying.still.any()
    assert (swaying.gyr_se[:, 1] > 3 * calm.gyr_se[:, 1]).all()
    assert (np.abs(swaying.gyr - BIAS) < 4 * swaying.gyr_se).all()


def test_shifting_the_clock_shifts_only_the_spans() -> None:
    time, acc, gyr = stream(400.0, 1.0)
    here, later = rest_spells(time, acc, gyr), rest_spells(time + 4096.0, acc, gyr)
    np.testing.assert_allclose(later.span - 4096.0, here.span, atol=1e-9)
    np.testing.assert_allclose(later.gyr, here.gyr, atol=1e-12)


def test_a_short_or_broken_stream_gives_no_spells_and_no_error() -> None:
    nothing = rest_spells([0.0, 0.01, 0.02], np.zeros((3, 3)), np.zeros((3, 3)))
    assert len(nothing) == 0
    assert nothing.duration.shape == (0,)
    time, acc, gyr = stream(200.0, 1.0)
    gyr[500:520] = np.nan
    found = rest_spells(time, acc, gyr)
    assert np.isfinite(found.gyr).all()
    assert len(found) >= 2
    with pytest.raises(ValueError, match="expected shape"):
        rest_spells(time, acc[:5], gyr)


def test_thresholds_can_be_set() -> None:
    time, acc, gyr = stream(200.0, 1.0)
    assert len(rest_spells(time, acc, gyr, RestSettings(window=2.5))) == 1


@pytest.mark.parametrize("profile", ["clean", "typical", "harsh"])
@pytest.mark.parametrize("role", ["forearm", "club"])
def test_address_is_found_before_every_practice_session_swing(profile: str, role: str) -> None:
    folder = SWINGS / profile
    if not folder.is_dir():
        pytest.skip("practice sessions with truth are not beside the repository")
    table = pd.read_csv(folder / f"{role}.csv.gz")
    truth = json.loads((folder / "truth.json").read_text())
    found = rest_spells(
        table["t_sensor_us"].to_numpy() * 1e-6,
        table[["ax", "ay", "az"]].to_numpy(),
        table[["gx", "gy", "gz"]].to_numpy(),
    )
    takeaways = [s["events_sensor_us"][role]["t_takeaway"] * 1e-6 for s in truth["swings"]]
    for takeaway in takeaways:
        wait = takeaway - found.span[:, 1]
        near = wait[(wait > -0.1) & (found.duration > 0.5)]
        assert near.size
        assert near.min() < 0.6
    # Rates agree with the sensor's true bias: two thirds of spells of a second or more within
    # 1.5 stated errors, and the median to 0.15 °/s.
    bias = np.array(truth["sensors"][role]["gyr_bias_rad_s"])
    long = found.duration > 1.0
    score = np.abs(found.gyr[long] - bias) / found.gyr_se[long]
    assert np.quantile(score, 0.67) < 1.5
    assert np.abs(np.median(found.gyr[long], axis=0) - bias).max() < 0.15 * DEG

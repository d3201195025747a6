"""Inclination on BROAD trials, beside an independent published filter on the same samples.

Data: Laidig, Caruso, Cereatti & Seel (2021), BROAD: a benchmark for robust inertial orientation
estimation, Data 6(7):72, CC BY 4.0. Score: their inclination error, only where the trial's
movement flag is set and the optical reference exists. Filter: the package ``vqf`` (Laidig & Seel
2023, Information Fusion 91:187-204), offline and real-time, 6D.

The optical reference runs ahead of the samples by some 4 ms: turning either estimate on by the
rate for that time takes the fast rotation trial from above 0.9° to below 0.5°, with the least
error at the same delay in every trial. Its cause (the sensor's low-pass filter, averaging over
the sample, the synchronising of the two systems) is not known to us. The delay used here was
read off trial 03, a slow one, alone; ``vqf`` gets the same delay (its orientation stands half a
sample later than ours by its own convention), so the comparison is fair. Scores without it are
checked as well.
"""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from imu.fusion import quaternion as qt
from imu.fusion.one_sensor.inclination import InclinationSettings, inclination_error
from imu.fusion.one_sensor.orientation import estimate_inclination
from imu.units import DEG

vqf = pytest.importorskip("vqf", reason="the reference filter is not installed")

BROAD = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "broad"
TRIALS = sorted(BROAD.glob("*.npz"))
DELAY_TRIAL = "03_undisturbed_slow_rotation_C"
DELAY = 4.2e-3  # s

pytestmark = pytest.mark.skipif(not TRIALS, reason="BROAD trials are not beside the repository")
every_trial = pytest.mark.parametrize("path", TRIALS, ids=lambda path: path.stem)


@dataclass(frozen=True)
class Trial:
    time: np.ndarray
    acc: np.ndarray
    gyr: np.ndarray
    reference: np.ndarray
    scored: np.ndarray


@cache
def load(path: Path) -> Trial:
    with np.load(path) as data:
        reference = data["reference_quat_wxyz"].astype(float)
        acc, gyr = (np.ascontiguousarray(data[k], dtype=float) for k in ("acc", "gyr"))
        time = np.arange(len(acc)) / float(data["sampling_rate_hz"])
        scored = data["movement"] & np.isfinite(reference).all(axis=1)
    return Trial(time, acc, gyr, reference, scored)


def rmse_deg(orientation: np.ndarray, trial: Trial) -> float:
    error = inclination_error(orientation[trial.scored], trial.reference[trial.scored])
    return float(np.sqrt(np.mean(error**2)) / DEG)


@cache
def ours(path: Path, delay: float) -> float:
    trial = load(path)
    settings = replace(InclinationSettings(), sensor_delay=delay)
    found = estimate_inclination(trial.time, trial.acc, trial.gyr, settings)
    return rmse_deg(found.orientation, trial)


@cache
def theirs(path: Path, delay: float) -> float:
    """vqf offline, turned on by the rate for ``delay`` beyond its own half sample."""
    trial = load(path)
    step = float(np.median(np.diff(trial.time)))
    found = vqf.offlineVQF(trial.gyr, trial.acc, None, step)["quat6D"]
    turn = qt.from_rotvec(trial.gyr * max(delay - 0.5 * step, 0.0))
    return rmse_deg(qt.multiply(found, turn), trial)


def half_sample(path: Path) -> float:
    return 0.5 * float(np.median(np.diff(load(path).time)))


@every_trial
def test_inclination_is_within_the_target(path: Path) -> None:
    assert ours(path, DELAY) <= (0.8 if "fast" in path.stem else 0.6)


def test_mean_over_trials_is_within_the_target_without_the_delay_too() -> None:
    # At the timing the published filter's own scores are given at: 0.53° over all 30 trials and
    # 0.74° over the fast ones for the best filter (Laidig & Seel 2023).
    scores = {path.stem: ours(path, half_sample(path)) for path in TRIALS}
    assert np.mean(list(scores.values())) <= 0.6
    assert np.mean([score for name, score in scores.items() if "fast" in name]) <= 0.8


# Measured: 0.22/0.28, 0.25/0.34, 0.27/0.19 and 0.28/0.25 with the delay. Where the sensor is
# carried about fast without turning much, the published filter is ahead, by 0.08.
@every_trial
def test_no_trial_is_much_worse_than_the_published_filter(path: Path) -> None:
    assert ours(path, DELAY) <= theirs(path, DELAY) + 0.09


@every_trial
def test_no_trial_is_much_worse_at_the_filters_own_timing(path: Path) -> None:
    # vqf's orientation holds after the sample: half a sample later than the sample's middle.
    delay = half_sample(path)
    assert ours(path, delay) <= theirs(path, delay) + 0.05


def test_better_than_the_published_filter_over_the_trials() -> None:
    for delay in (DELAY, half_sample(TRIALS[0])):
        mean_square = np.mean([ours(path, delay) ** 2 for path in TRIALS])
        reference = np.mean([theirs(path, delay) ** 2 for path in TRIALS])
        assert mean_square < reference


def test_the_delay_is_the_one_that_fits_the_trial_it_was_read_off() -> None:
    path = BROAD / f"{DELAY_TRIAL}.npz"
    if not path.exists():
        pytest.skip("the slow trial is not there")
    delays = np.arange(2.2e-3, 6.3e-3, 0.5e-3)
    scores = [ours(path, float(delay)) for delay in delays]
    best = delays[int(np.argmin(scores))]
    assert abs(best - DELAY) <= 0.5e-3


@every_trial
def test_stated_error_is_not_too_small(path: Path) -> None:
    trial = load(path)
    settings = replace(InclinationSettings(), sensor_delay=DELAY)
    found = estimate_inclination(trial.time, trial.acc, trial.gyr, settings)
    error = inclination_error(found.orientation, trial.reference)[trial.scored]
    score = error / found.tilt_se[trial.scored]
    # Root of the mean square would be 1 for perfect errors; the prior of the accelerometer's
    # offset makes them wide here.
    assert 0.1 < np.sqrt(np.mean(score**2)) < 1.2


def test_agrees_with_the_published_filter_at_rest() -> None:
    # Two independent estimates of the same still sensor: bias to 0.01 °/s.
    trial = load(TRIALS[0])
    found = estimate_inclination(trial.time, trial.acc, trial.gyr)
    step = float(np.median(np.diff(trial.time)))
    other = vqf.offlineVQF(trial.gyr, trial.acc, None, step)["bias"]
    assert np.abs(found.gyr_bias - other.mean(axis=0)).max() < 0.01 * DEG

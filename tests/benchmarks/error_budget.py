"""What limits the numbers: each source of error taken away, and the bound that the fit itself sets.

    python tests/benchmarks/error_budget.py --seeds 6 --first-seed 4000

First table: the same simulated sessions (same seeds, players and movements) with one source of
error taken away at a time; what is left tells what that source costs.

Second table: sensors and mountings drawn from the estimator's own priors, where the covariance of
the fit is the least any unbiased use of the data and priors could leave (Bayesian Cramér-Rao
bound; Van Trees 1968, Detection, Estimation, and Modulation Theory I, 2.4.3; for the joint's
Gaussian residuals). An error near the bound can be made smaller only by knowing more, such as how
straight the clamp sits, not by fitting better.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from accuracy import ASSUMED, Score, assumed, hold_against, play

from imu.fusion.mirror import mirror
from imu.fusion.parts import solve_parts
from imu.fusion.samples import cut_swing
from imu.fusion.uncertainty import motion_errors
from imu.pipeline import FIT_STEP, analyse
from imu.recordings.synchronise import align
from imu.simulate.profiles import Profile, profile_named
from imu.simulate.session import SimulatedSession
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM
from imu.units import DEG, STANDARD_GRAVITY

_G, _DPS = STANDARD_GRAVITY, DEG
_WIDE = {FOREARM: (200.0 * _G,), CLUB: (200.0 * _G,)}
_FAST = {FOREARM: (4000.0 * _DPS,), CLUB: (4000.0 * _DPS,)}
SHOWN = ("hinge_at_top_deg", "hinge_at_impact_deg", "release_ms", "clubhead_speed_m_s")

WITHOUT: Mapping[str, Callable[[Profile], Profile]] = {
    "as it is": lambda p: p,
    "skin that slides": lambda p: replace(p, skin=0.0),
    "shaft that bends": lambda p: replace(p, bend=0.0),
    "clamp askew": lambda p: replace(p, tilt={**p.tilt, CLUB: 0.0}),
    "strap askew": lambda p: replace(p, tilt={**p.tilt, FOREARM: 0.0}),
    "scale, cross and bias": lambda p: replace(p, scale=0.0, cross=0.0, gyr_bias=0.0, acc_bias=0.0),
    "noise and jitter": lambda p: replace(p, gyr_noise=0.0, acc_noise=0.0, jitter=0.0),
    "losses": lambda p: replace(p, loss=0.0, stalls_per_minute=0.0),
    "clipping": lambda p: replace(p, acc_ranges=_WIDE, gyr_ranges=_FAST),
    "slow sampling": lambda p: replace(p, rates={FOREARM: (1000.0,), CLUB: (1000.0,)}),
    "tape measure": lambda p: replace(p, declared=0.0),
}
"""Sources of error by name, and how a profile looks without them."""


def _without_all(profile: Profile) -> Profile:
    for changed in WITHOUT.values():
        profile = changed(profile)
    return profile


def without_each(profile: str, seeds: range) -> pd.DataFrame:
    """rms error of the shown metrics over the ball swings, one row for each source taken away."""
    rows = {}
    for name, changed in {**WITHOUT, "all of these": _without_all}.items():
        score = Score()
        for seed in seeds:
            session = play(changed(profile_named(profile)), seed)
            hold_against(session, analyse(session.recording), score, seed)
        rows[name] = _rms(score)
    return pd.DataFrame(rows).T


def against_bound(seeds: range) -> pd.DataFrame:
    """rms error beside the bound, where sensors are as the priors take them to be."""
    score = Score()
    bounds: list[tuple[float, float, float]] = []
    for seed in seeds:
        session = play(assumed(), seed)
        hold_against(session, analyse(session.recording), score, seed)
        bounds += _bounds(session)
    top, impact, clock = np.sqrt(np.mean(np.square(bounds), axis=0))
    found = _rms(score)
    return pd.DataFrame(
        {
            "error": [
                found["hinge_at_top_deg"],
                found["hinge_at_impact_deg"],
                float(np.sqrt(np.mean(np.square(score.clock_ms)))),
            ],
            "bound": [top, impact, clock],
        },
        index=["hinge at the top °", "hinge at impact °", "clock between the sensors ms"],
    )


def _rms(score: Score) -> dict[str, float]:
    table = pd.DataFrame(score.errors)
    ball = table[table["ball"].astype(bool) & ~table["poor"].astype(bool)]
    return {name: float(np.sqrt((ball[name] ** 2).mean())) for name in SHOWN}


def _bounds(session: SimulatedSession) -> list[tuple[float, float, float]]:
    """Of each swing: hinge at the top and at impact, deg, and the clock, ms, from the fit alone."""
    recording = session.recording
    aligned = align(recording)
    if recording.manifest.player.handedness == "left":
        aligned = mirror(aligned)
    windows = find_swings(aligned).swings
    cut = [cut_swing(aligned, window, FIT_STEP) for window in windows]
    whole = [samples for samples in cut if samples is not None]
    solved = solve_parts(aligned, whole, list(range(1, len(whole) + 1)), recording.manifest)
    found = []
    for samples, swing in zip(whole, solved.swings, strict=True):
        fit = replace(swing.session.fit, give=0.0)
        window = samples.window
        errors = motion_errors(swing.tracks, fit, swing.fit, swing.session.mounted, window)
        sigma = errors.hinge_sigma(swing.motion) / DEG
        top, impact = np.interp([window.top, window.impact], swing.motion.time, sigma)
        found.append((float(top), float(impact), 1e3 * float(np.sqrt(fit.covariance[-2, -2]))))
    return found


def markdown(table: pd.DataFrame, title: str) -> str:
    """A table as it stands in DEVELOPERS.md."""
    lines = [f"| {title} | " + " | ".join(table.columns) + " |"]
    lines.append("|---" * (len(table.columns) + 1) + "|")
    for name, row in table.iterrows():
        lines.append(f"| {name} | " + " | ".join(f"{value:.3g}" for value in row) + " |")
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--profile", nargs="+", default=["typical", "harsh"])
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=4000)
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    for profile in options.profile:
        print(markdown(without_each(profile, seeds), f"{profile}, without"), "\n")
    print(markdown(against_bound(seeds), ASSUMED))


if __name__ == "__main__":
    main()

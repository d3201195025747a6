"""How near the analysis comes to the truth on simulated sessions nobody has seen before.

    python tests/benchmarks/accuracy.py --profile typical --seeds 10 --first-seed 1000

For every profile asked for, sessions are simulated from consecutive seeds (random player, club,
handedness, habits and movements between), analysed with nothing given but the recording, and
held against the truth. Printed: the table of targets, and for every metric the error, its stated
standard error and the share of swings whose stated 95 % interval holds the truth.

The profile *assumed* draws sensors and mountings from the estimator's own priors: there, and only
there, the stated intervals must hold the truth as often as they say, if they are honest.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from imu.columns import METRICS
from imu.fusion.axes import CLAMP_SIGMA, STRAP_SIGMA
from imu.fusion.parameters import Priors
from imu.pipeline import analyse
from imu.simulate.profiles import Profile, profile_named
from imu.simulate.session import SimulatedSession, mixed_plan, simulate_session
from imu.types import CLUB, FOREARM, Analysis, Club

CLUBS = (Club("7-iron", 0.94, 0.05), Club("driver", 1.13, 0.05), Club("wedge", 0.89, 0.05))
NEAR = 0.15
ASSUMED = "assumed"
COUNTED = ("waggle_count",)
LIMITS = {
    "found %": "100 / 100 / 98",
    "told apart %": "100 / 100 / 98",
    "false finds": "0",
    "poor %": "",
    "hinge RMSE median °": "0.5 / 1.0 / 1.8",
    "hinge top rms °": "0.8 / 1.4 / 2.6",
    "hinge top swing-to-swing °": "0.4 / 0.6 / 1.1",
    "hinge impact rms °": "0.6 / 1.4 / 2.4",
    "the same, practice swings too °": "",
    "clock rms ms": "0.3 / 0.7 / 2",
    "release rms ms": "0.8 / 1.2 / 2",
    "release swing-to-swing ms": "0.4 / 0.6 / 1.2",
    "impact rms ms": "0.7 / 1 / 2",
    "tempo rms %": "1 / 1.5 / 2.5",
}
"""The limits to keep, clean / typical / harsh."""


def assumed() -> Profile:
    """Usual sensors, with errors and mountings as wide as the estimator takes them to be."""
    priors = Priors()
    return replace(
        profile_named("typical"),
        scale=priors.acc_scale,
        cross=priors.acc_cross,
        acc_bias=priors.acc_bias,
        tilt={FOREARM: STRAP_SIGMA, CLUB: CLAMP_SIGMA},
    )


@dataclass
class Score:
    """What was collected over the sessions of one profile."""

    errors: list[dict[str, float]] = field(default_factory=list)
    wanted: int = 0
    found: int = 0
    told_apart: int = 0
    false_finds: int = 0
    clock_ms: list[float] = field(default_factory=list)
    clock_se_ms: list[float] = field(default_factory=list)
    sessions: list[int] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)


def simulate(profile: str, seed: int) -> SimulatedSession:
    """One session of an unseen player, with sensors of a named profile."""
    return play(assumed() if profile == ASSUMED else profile_named(profile), seed)


def play(errors: Profile, seed: int) -> SimulatedSession:
    """One session of an unseen player."""
    rng = np.random.default_rng(seed)
    club = CLUBS[int(rng.integers(len(CLUBS)))]
    hand = "left" if rng.random() < 0.5 else "right"
    return simulate_session(mixed_plan(rng, club=club, handedness=hand), errors, seed)


def hold_against(session: SimulatedSession, analysis: Analysis, score: Score, seed: int) -> None:
    """Compare one analysis with its truth."""
    truth = session.truth.data
    swings = analysis.swings
    taken: set[int] = set()
    forearm, club = truth["sensors"][FOREARM], truth["sensors"][CLUB]
    if "forearm_offset_s" in analysis.clock and len(swings):
        middle = 0.5 * truth["duration_s"]
        at = forearm["clock_offset_s"] + (1 + forearm["clock_skew"]) * middle
        should = club["clock_offset_s"] + (1 + club["clock_skew"]) * middle
        should -= float(session.recording.streams[CLUB].time[0])
        ticks = at - analysis.clock["forearm_reference_s"]
        got = analysis.clock["forearm_offset_s"] + (1 + analysis.clock["forearm_drift"]) * ticks
        score.clock_ms.append((got - should) * 1e3)
        score.clock_se_ms.append(analysis.clock["forearm_offset_se_s"] * 1e3)
    for true in truth["swings"]:
        score.wanted += 1
        at = true["events_club_clock_us"]["impact"]
        apart = (swings["impact_club_clock_us"] - at).abs() * 1e-6
        near = apart[apart < NEAR]
        if near.empty:
            continue
        row = swings.loc[near.idxmin()]
        taken.add(int(row["swing"]))
        score.found += 1
        score.told_apart += row["kind"] == true["kind"]
        score.errors.append(_errors(session, analysis, row, true, seed))
    partial = [p["events_club_clock_us"]["impact"] for p in truth["partial_swings"]]
    for _, row in swings.iterrows():
        if int(row["swing"]) not in taken:
            at = row["impact_club_clock_us"]
            score.false_finds += not any(abs(at - p) * 1e-6 < 0.5 for p in partial)


def _errors(
    session: SimulatedSession,
    analysis: Analysis,
    row: pd.Series,
    true: dict,
    seed: int,
) -> dict[str, float]:
    out: dict[str, float] = {"seed": seed, "ball": row["kind"] == "ball"}
    out["poor"] = row["quality"] == "poor"
    for metric in METRICS:
        if metric.name in true["values"]:
            out[metric.name] = row[metric.name] - true["values"][metric.name]
            out[metric.se_name] = row[metric.se_name]
    for event, at in true["events_club_clock_us"].items():
        out[f"{event}_s"] = (row[f"{event}_club_clock_us"] - at) * 1e-6
        out[f"{event}_s_se"] = row[f"{event}_s_se"]
    value = true["values"]["tempo_ratio"]
    out["tempo_percent"] = 100.0 * (row["tempo_ratio"] / value - 1.0)
    curve = analysis.curves[analysis.curves["swing"] == row["swing"]]
    known = session.truth.curves[session.truth.curves["swing"] == true["swing"]]
    ours, theirs = curve["t_club_clock_us"].to_numpy(), known["t_club_clock_us"].to_numpy()
    begin, end = true["events_club_clock_us"]["takeaway"], true["events_club_clock_us"]["impact"]
    inside = (theirs >= begin) & (theirs <= end)
    got = np.interp(theirs[inside], ours, curve["hinge_deg"])
    out["hinge_rmse"] = float(np.sqrt(np.mean((got - known["hinge_deg"][inside]) ** 2)))
    return out


def run(profile: str, seeds: Iterable[int]) -> Score:
    """Simulate, analyse and compare."""
    score = Score()
    for seed in seeds:
        session = simulate(profile, seed)
        start = time.perf_counter()
        analysis = analyse(session.recording)
        score.seconds.append(time.perf_counter() - start)
        hold_against(session, analysis, score, seed)
        score.sessions.append(seed)
    return score


def _within(values: pd.Series, seed: pd.Series) -> float:
    """Swing-to-swing part: standard deviation within sessions, pooled."""
    return float(np.sqrt(values.groupby(seed).var().mean()))


def targets(score: Score) -> dict[str, float]:
    """The figures of the targets' table."""
    table = pd.DataFrame(score.errors)
    good = table[~table["poor"].astype(bool)]
    ball = good[good["ball"].astype(bool)]

    def rms(values: pd.Series) -> float:
        return float(np.sqrt(np.nanmean(values**2)))

    return {
        "found %": 100.0 * score.found / score.wanted,
        "told apart %": 100.0 * score.told_apart / max(score.found, 1),
        "false finds": score.false_finds,
        "poor %": 100.0 * float(table["poor"].mean()),
        "hinge RMSE median °": float(table["hinge_rmse"].median()),
        "hinge top rms °": rms(table["hinge_at_top_deg"]),
        "hinge top swing-to-swing °": _within(good["hinge_at_top_deg"], good["seed"]),
        "hinge impact rms °": rms(ball["hinge_at_impact_deg"]),
        "the same, practice swings too °": rms(good["hinge_at_impact_deg"]),
        "clock rms ms": float(np.sqrt(np.mean(np.square(score.clock_ms)))),
        "release rms ms": rms(ball["release_ms"]),
        "release swing-to-swing ms": _within(ball["release_ms"], ball["seed"]),
        "impact rms ms": 1e3 * rms(ball["impact_s"]),
        "tempo rms %": rms(ball["tempo_percent"]),
        "seconds a session": float(np.median(score.seconds)),
    }


def coverage(score: Score) -> pd.DataFrame:
    """Error, stated error and coverage of every metric and event."""
    table = pd.DataFrame(score.errors)
    rows = []
    for name in table.columns:
        if f"{name}_se" not in table:
            continue
        error, stated = table[name], table[f"{name}_se"]
        ok = error.notna() & stated.notna()
        held = error[ok].abs() <= 1.96 * stated[ok]
        rows.append(
            {
                "name": name,
                "n": int(ok.sum()),
                "bias": error[ok].mean(),
                "rms": np.sqrt((error[ok] ** 2).mean()),
                "median_abs": error[ok].abs().median(),
                "stated_se": stated[ok].median(),
                "within_95": 100.0 * held.mean(),
            }
        )
    return pd.DataFrame(rows).set_index("name")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--profile", nargs="+", default=["clean", "typical", "harsh"])
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--first-seed", type=int, nargs="+", default=[1000], help="one run each")
    parser.add_argument("--coverage", action="store_true", help="every metric, not targets alone")
    parser.add_argument("--markdown", action="store_true", help="the tables of DEVELOPERS.md too")
    options = parser.parse_args()
    seeds = [seed for first in options.first_seed for seed in range(first, first + options.seeds)]
    columns, covered = {}, {}
    for profile in options.profile:
        score = run(profile, seeds)
        columns[profile] = targets(score)
        covered[profile] = coverage(score)
        if options.coverage:
            print(f"\n{profile}")
            print(covered[profile].to_string(float_format=lambda value: f"{value:.4g}"))
    print()
    print(pd.DataFrame(columns).to_string(float_format=lambda value: f"{value:.3g}"))
    if options.markdown:
        print("\n" + markdown(columns, covered))


def markdown(columns: dict[str, dict[str, float]], covered: dict[str, pd.DataFrame]) -> str:
    """Both tables as they stand in DEVELOPERS.md."""
    profiles = list(columns)
    head = "| | " + " | ".join(profiles)
    lines = [head + " | limit |", "|---" * (len(profiles) + 2) + "|"]
    for name in next(iter(columns.values())):
        if name in LIMITS:
            values = " | ".join(f"{columns[profile][name]:.3g}" for profile in profiles)
            lines.append(f"| {name} | {values} | {LIMITS[name]} |")
    lines += ["", head + " |", "|---" * (len(profiles) + 1) + "|"]
    for name in next(iter(covered.values())).index:
        rows = [covered[profile].loc[name] for profile in profiles]
        if all(row["n"] for row in rows) and name not in COUNTED:
            told = " | ".join(
                f"{row['rms']:.3g} / {row['stated_se']:.3g} / {row['within_95']:.0f} %"
                for row in rows
            )
            lines.append(f"| `{name}` | {told} |")
    return "\n".join(lines)


if __name__ == "__main__":
    main()

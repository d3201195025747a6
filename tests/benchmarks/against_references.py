"""The project's analysis beside other methods, in one run, on the same streams.

    python tests/benchmarks/against_references.py --profile clean typical harsh --seeds 5

Sessions: simulated from consecutive seeds (as ``accuracy.py`` does), and, where they are beside
the project, the practice sessions in ``../shared/data/swings`` made by a physics engine.
Methods: ours, given the recording alone, and those of ``reference_methods.py``. All start from
the same streams, dated by when packets arrived (``plain`` then syncs them at the strike), and from
the nominal mounting. As references estimate neither clocks nor mounting, further rows give them
the *true clocks*, and the *true clocks and mounting*: what ours has to find by itself.

All are scored alike, from their hinge curves: against the truth from takeaway to impact (rms of a
swing, then the median swing), at the true top and at impact (rms over swings), and by the release
of ball swings: from the last 10° below the greatest hinge of the downswing to the strike that the
finder saw (rms, and the swing-to-swing part of the error), which is the same for all methods; and,
to see what each makes of the hinge alone, to the true strike. CPU: seconds a session, median.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from accuracy import simulate
from reference_methods import (
    LONG_AXIS,
    ROLES,
    HingeCurve,
    Material,
    installed,
    joint_filter,
    plain,
    whole_stream,
)
from scipy.spatial.transform import Rotation

from imu.fusion.rest import rest_spells, weighted_median
from imu.pipeline import analyse
from imu.recordings.importer import import_csv
from imu.recordings.synchronise import align, filter_delay
from imu.simulate.sensor import MIRROR_ACC
from imu.swings.find import find_swings
from imu.types import BALL, CLUB, FOREARM, AlignedStreams, Analysis, FloatArray, Recording
from imu.units import DEG

PRACTICE = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
NEAR = 0.15
RELEASE_OPENING = 10.0 * DEG

Method = Callable[[Material], list[HingeCurve]]


@dataclass(frozen=True, eq=False)
class TrueSwing:
    """What happened: kind, takeaway, top, impact (s, club's clock), release (s before impact),
    and the hinge (N,) rad at times (N,) s."""

    kind: str
    takeaway: float
    top: float
    impact: float
    release: float
    time: FloatArray
    hinge: FloatArray


@dataclass(frozen=True, eq=False)
class Case:
    """One session. clocks : by role, (offset s, skew) of sensor clock against true time.
    delays : s, by role. axis, lever : (3,) by role, the segment's distal axis, and the place seen
    from the wrist, in the sensor as recorded; lever None where the truth does not state it."""

    name: str
    recording: Recording
    swings: tuple[TrueSwing, ...]
    clocks: dict[str, tuple[float, float]]
    delays: dict[str, float]
    axis: dict[str, FloatArray]
    lever: dict[str, FloatArray] | None


def release_before(time: FloatArray, hinge: FloatArray, top: float, impact: float) -> float:
    """s from the release to the impact; NaN when the hinge did not open by 10°."""
    (inside,) = np.nonzero((time >= top) & (time <= impact))
    if len(inside) < 3:
        return float("nan")
    peak = inside[int(np.argmax(hinge[inside]))]
    left = hinge[peak : inside[-1] + 1] - (hinge[peak] - RELEASE_OPENING)
    (below,) = np.nonzero(left < 0.0)
    if not len(below):
        return float("nan")
    at = int(below[0])
    share = left[at - 1] / (left[at - 1] - left[at])
    step = time[peak + at] - time[peak + at - 1]
    return float(impact - time[peak + at - 1] - share * step)


def simulated_case(profile: str, seed: int) -> Case:
    """A simulated session as a case."""
    session = simulate(profile, seed)
    data, curves = session.truth.data, session.truth.curves
    sensors = data["sensors"]
    swings = []
    for true in data["swings"]:
        curve = curves[curves["swing"] == true["swing"]]
        at = {name: value * 1e-6 for name, value in true["events_club_clock_us"].items()}
        swings.append(
            TrueSwing(
                true["kind"],
                at["takeaway"],
                at["club_top"],
                at["impact"],
                true["values"]["release_ms"] * 1e-3,
                curve["t_club_clock_us"].to_numpy() * 1e-6,
                curve["hinge_deg"].to_numpy() * DEG,
            )
        )
    mirrored = MIRROR_ACC if data["handedness"] == "left" else np.ones(3)
    to_sensor = {r: Rotation.from_quat(sensors[r]["mount_xyzw"]).inv() for r in ROLES}
    axis = {r: mirrored * to_sensor[r].apply([0.0, -1.0, 0.0]) for r in ROLES}
    lever = {r: mirrored * to_sensor[r].apply(sensors[r]["point_from_wrist_m"]) for r in ROLES}
    clocks = {r: (sensors[r]["clock_offset_s"], sensors[r]["clock_skew"]) for r in ROLES}
    delays = {r: sensors[r]["filter_delay_s"] for r in ROLES}
    return Case(f"seed {seed}", session.recording, tuple(swings), clocks, delays, axis, lever)


def practice_case(profile: str) -> Case | None:
    """A practice session as a case; None when it is not there."""
    folder = PRACTICE / profile
    if not folder.exists():
        return None
    recording = import_csv(folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json")
    truth = json.loads((folder / "truth.json").read_text())
    curves = pd.read_parquet(folder / "truth.parquet")
    sensors = truth["sensors"]
    clocks = {r: (sensors[r]["clock"]["offset_s"], sensors[r]["clock"]["skew"]) for r in ROLES}
    offset, skew = clocks[CLUB]
    swings = []
    for true in truth["swings"]:
        curve = curves[curves["swing"] == true["id"]]
        at = {name: value * 1e-6 for name, value in true["events_sensor_us"]["club"].items()}
        moments = offset + (1.0 + skew) * curve["t_s"].to_numpy()
        hinge = curve["hinge_deg"].to_numpy() * DEG
        release = release_before(moments, hinge, at["t_top_club"], at["t_impact"])
        swings.append(
            TrueSwing(
                true["kind"],
                at["t_takeaway"],
                at["t_top_club"],
                at["t_impact"],
                release,
                moments,
                hinge,
            )
        )
    delays = {r: sensors[r]["filter_delay_s"] for r in ROLES}
    to_sensor = {
        r: Rotation.from_quat(truth[f"mount_{r}_wxyz"], scalar_first=True).inv() for r in ROLES
    }
    axis = {r: to_sensor[r].apply([1.0, 0.0, 0.0]) for r in ROLES}
    return Case("practice session", recording, tuple(swings), clocks, delays, axis, None)


def materials(case: Case, analysis: Analysis) -> dict[str, Material]:
    """What references are given, by the rows' names."""
    aligned = align(case.recording)
    windows = find_swings(aligned).swings
    bias = {}
    for role in ROLES:
        stream = aligned.streams[role]
        rests = rest_spells(stream.time, stream.acc, stream.gyr)
        bias[role] = weighted_median(rests.gyr, 1.0 / np.mean(rests.gyr_se**2, axis=1)[:, None])
    lever = case.lever or _levers_found(analysis)
    nominal = dict.fromkeys(ROLES, LONG_AXIS)
    truly = _truly_aligned(case, aligned).streams
    return {
        "arrival clocks": Material(aligned.streams, windows, bias, lever, nominal),
        "true clocks": Material(truly, windows, bias, lever, nominal),
        "true clocks and mounting": Material(truly, windows, bias, lever, case.axis),
    }


def _levers_found(analysis: Analysis) -> dict[str, FloatArray]:
    """Our fit's lever arms, back in the sensors as recorded."""
    mirrored = np.array([-1.0, 1.0, 1.0] if analysis.handedness == "left" else [1.0, 1.0, 1.0])
    return {
        r: mirrored * np.array(analysis.calibration["sensors"][r]["lever_from_wrist_m"])
        for r in ROLES
    }


def _truly_aligned(case: Case, aligned: AlignedStreams) -> AlignedStreams:
    """The forearm's stream put where the truth has it against the club's."""
    own, skew = case.clocks[FOREARM]
    other, other_skew = case.clocks[CLUB]
    ticks = case.recording.streams[FOREARM].time
    club_ticks = other + (1.0 + other_skew) * (ticks - own) / (1.0 + skew)
    apart = case.delays[FOREARM] - case.delays[CLUB]
    moment = aligned.clocks[CLUB].to_recording(club_ticks) - apart
    moment -= filter_delay(case.recording, CLUB)[0]
    moved = replace(aligned.streams[FOREARM], time=moment)
    return replace(aligned, streams={**aligned.streams, FOREARM: moved})


def our_curves(analysis: Analysis, material: Material) -> list[HingeCurve]:
    """Our analysis's curves, one a window."""
    curves = []
    for number in range(1, len(material.windows) + 1):
        curve = analysis.curves[analysis.curves["swing"] == number]
        curves.append(HingeCurve(curve["t_s"].to_numpy(), curve["hinge_deg"].to_numpy() * DEG))
    return curves


def score(case: Case, material: Material, curves: Sequence[HingeCurve]) -> list[dict[str, float]]:
    """Errors of one method's curves, a row a swing that truly was."""
    clock = align(case.recording).clocks[CLUB]
    rows = []
    for true in case.swings:
        impact = float(clock.to_recording(true.impact))
        apart = [abs(window.impact - impact) for window in material.windows]
        if not apart or min(apart) > NEAR:
            continue
        window, curve = min(
            zip(material.windows, curves, strict=True),
            key=lambda pair: abs(pair[0].impact - impact),
        )
        if len(curve.time) < 2:
            continue
        when = clock.to_recording(true.time)
        inside = (true.time >= true.takeaway) & (true.time <= true.impact)
        top = float(clock.to_recording(true.top))
        miss = _at(curve, when[inside]) - true.hinge[inside]
        ends = np.array([top, impact])
        at_top, at_impact = _at(curve, ends) - np.interp(ends, when, true.hinge)
        lead = float("nan")
        if true.kind == BALL and window.kind == BALL:
            lead = release_before(curve.time, curve.hinge, window.top, window.impact + 1e-6)
        rows.append(
            {
                "session": case.name,
                "rmse": float(np.sqrt(np.mean(miss**2))) / DEG,
                "top": at_top / DEG,
                "impact": at_impact / DEG,
                "release": (lead - true.release) * 1e3,
                "release, true strike": (lead + impact - window.impact - true.release) * 1e3,
                "ball": true.kind == BALL,
            }
        )
    return rows


def _at(curve: HingeCurve, when: FloatArray) -> FloatArray:
    """Hinge at other times, carried on straight beyond the ends."""
    got = np.interp(when, curve.time, curve.hinge)
    late = when > curve.time[-1]
    slope = (curve.hinge[-1] - curve.hinge[-2]) / (curve.time[-1] - curve.time[-2])
    got[late] += slope * (when[late] - curve.time[-1])
    return got


def methods() -> dict[str, tuple[str, Method] | None]:
    """Name of each row to what it is given and its method; None for what is not installed."""
    filters, joint = installed("vqf"), installed("dfjimu")
    rows: dict[str, tuple[str, Method] | None] = {}
    for given in ("arrival clocks", "true clocks", "true clocks and mounting"):
        for name, offline in (("real-time", False), ("offline", True)):
            work = partial(whole_stream, offline=offline)
            rows[f"vqf {filters or ''} {name}, {given}"] = (given, work) if filters else None
        for name, smoother in (("MEKF", False), ("MAP", True)):
            work = partial(joint_filter, smoother=smoother)
            named = f"dfjimu {joint or ''} {name}, true levers, {given}"
            rows[named] = (given, work) if joint else None
        sync = given == "arrival clocks"
        said = "strike sync" if sync else given
        rows[f"plain integration, {said}"] = (given, partial(plain, strike_sync=sync))
    return rows


def run_case(case: Case) -> Iterator[tuple[str, list[dict[str, float]], float]]:
    """Every installed method on one session: name, rows, CPU seconds."""
    start = time.process_time()
    analysis = analyse(case.recording)
    spent = time.process_time() - start
    given = materials(case, analysis)
    first = given["arrival clocks"]
    yield "ours, nothing given", score(case, first, our_curves(analysis, first)), spent
    for name, method in methods().items():
        if method is None:
            continue
        known, work = method
        start = time.process_time()
        curves = work(given[known])
        spent = time.process_time() - start
        yield name, score(case, given[known], curves), spent


def table(cases: Sequence[Case]) -> pd.DataFrame:
    """One row a method over the sessions of one profile."""
    rows: dict[str, list[dict[str, float]]] = {}
    seconds: dict[str, list[float]] = {}
    for case in cases:
        for name, found, spent in run_case(case):
            rows.setdefault(name, []).extend(found)
            seconds.setdefault(name, []).append(spent)
    out = {}
    for name, found in rows.items():
        errors = pd.DataFrame(found)
        ball = errors[errors["ball"].astype(bool)]
        release = ball["release"]
        out[name] = {
            "swings": len(errors),
            "hinge RMSE °": errors["rmse"].median(),
            "at top °": _rms(errors["top"]),
            "at impact °": _rms(errors["impact"]),
            "release ms": _rms(release),
            "release swing-to-swing ms": _scatter(ball, "release"),
            "release, true strike ms": _rms(ball["release, true strike"]),
            "the same, swing-to-swing ms": _scatter(ball, "release, true strike"),
            "no release": int(release.isna().sum()),
            "CPU s": float(np.median(seconds[name])),
        }
    for name, method in methods().items():
        if method is None:
            out[name] = dict.fromkeys(next(iter(out.values())), float("nan"))
    return pd.DataFrame(out).T


def _scatter(errors: pd.DataFrame, column: str) -> float:
    """Standard deviation within sessions, pooled."""
    return float(np.sqrt(errors.groupby("session")[column].var().mean()))


def _rms(values: pd.Series) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


def markdown(found: pd.DataFrame) -> str:
    """The table ready for a page."""
    lines = ["| method | " + " | ".join(found.columns) + " |"]
    lines.append("|" + "---|" * (len(found.columns) + 1))
    for name, row in found.iterrows():
        missing = row.isna().all()
        cells = ["not installed"] if missing else [f"{value:.3g}" for value in row]
        cells += [""] * (len(found.columns) - len(cells))
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--profile", nargs="+", default=["clean", "typical", "harsh"])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=2000)
    options = parser.parse_args()
    for profile in options.profile:
        seeds = range(options.first_seed, options.first_seed + options.seeds)
        cases = [simulated_case(profile, seed) for seed in seeds]
        if cases:
            print(f"\n{profile}, {len(cases)} simulated sessions, seeds from {seeds.start}\n")
            print(markdown(table(cases)), flush=True)
        practice = practice_case(profile)
        if practice:
            print(f"\n{profile}, practice session\n")
            print(markdown(table([practice])), flush=True)


if __name__ == "__main__":
    main()

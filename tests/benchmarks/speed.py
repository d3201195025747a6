"""How long an analysis takes, how much memory, and how both grow with the number of swings.

    python tests/benchmarks/speed.py --swings 15 30 60 --repeats 3

Sessions of two 1 kHz sensors, 12 s a swing (60 swings: 12 minutes), are simulated once and kept
in a temporary folder. Each analysis runs in a fresh process on one thread, imports done first.
*CPU* is what the process used, and is what counts on a machine that does other things; *wall* is
the clock on it. The least of the repeats is given. *Memory* is the process's peak, streams and
libraries included. Last: the start-up of ``swingspread --help``, and of its import alone.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

KEPT = Path(tempfile.gettempdir()) / "swingspread-benchmark-sessions"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
PROFILE, SEED = "clean", 4
"""The profile whose two sensors both run at 1 kHz."""


def session_folder(swings: int) -> Path:
    """Folder of a recording with so many swings, simulated when it is not there yet."""
    from imu.recordings.store import write_recording
    from imu.simulate.session import SessionPlan, simulate_session

    folder = KEPT / f"{PROFILE}-{swings}-swings"
    if not (folder / "recording.json").exists():
        actions = ["stand"]
        for number in range(swings):
            actions += ["ball"] if number % 6 == 5 else ["ball", "walk"]
        session = simulate_session(SessionPlan(actions=tuple(actions)), PROFILE, SEED)
        write_recording(session.recording, folder)
    return folder


def analyse_once(folder: Path) -> dict[str, float]:
    """Analyse one recording in this process: seconds, megabytes, swings found."""
    from imu.pipeline import analyse
    from imu.recordings.store import read_recording
    from imu.types import CLUB

    recording = read_recording(folder)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wall, cpu = time.perf_counter(), time.process_time()
    analysis = analyse(recording)
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    stream = recording.streams[CLUB]
    return {
        "minutes": float(stream.time[-1] - stream.time[0]) / 60.0,
        "found": len(analysis.swings),
        "cpu_s": cpu,
        "wall_s": wall,
        "before_mb": before / 1024.0,
        "peak_mb": peak / 1024.0,
    }


def in_fresh_process(folder: Path) -> dict[str, float]:
    """The same in a process of its own, on one thread."""
    command = [sys.executable, __file__, "--one", str(folder)]
    done = subprocess.run(
        command, env={**os.environ, **ONE_THREAD}, capture_output=True, text=True, check=True
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def start_up(arguments: list[str]) -> tuple[float, float]:
    """CPU and wall seconds of a short command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    wall = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments],
        env={**os.environ, **ONE_THREAD},
        capture_output=True,
        check=True,
    )
    wall = time.perf_counter() - wall
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, wall


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--swings", type=int, nargs="+", default=[15, 30, 60])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        print(json.dumps(analyse_once(options.one)))
        return
    print("| swings | minutes | found | CPU s | wall s | CPU ms a swing | peak MB | of it before |")
    print("|---|---|---|---|---|---|---|---|")
    sizes, spent = [], []
    for swings in options.swings:
        folder = session_folder(swings)
        runs = [in_fresh_process(folder) for _ in range(options.repeats)]
        best = {name: min(run[name] for run in runs) for name in runs[0]}
        sizes.append(swings)
        spent.append(best["cpu_s"])
        print(
            f"| {swings} | {best['minutes']:.1f} | {best['found']:.0f} | {best['cpu_s']:.2f} "
            f"| {best['wall_s']:.2f} | {1e3 * best['cpu_s'] / swings:.0f} "
            f"| {best['peak_mb']:.0f} | {best['before_mb']:.0f} |",
            flush=True,
        )
    if len(sizes) > 1:
        power = float(np.polyfit(np.log(sizes), np.log(spent), 1)[0])
        print(f"\nCPU time grows with the number of swings to the power {power:.2f}")
    for what, arguments in (
        ("swingspread --help", ["-m", "app.cli", "--help"]),
        ("import imu.pipeline", ["-c", "import imu.pipeline"]),
    ):
        runs_of_it = [start_up(arguments) for _ in range(options.repeats)]
        cpu, wall = (min(run[i] for run in runs_of_it) for i in (0, 1))
        print(f"{what}: {cpu:.2f} s CPU, {wall:.2f} s wall")


if __name__ == "__main__":
    main()

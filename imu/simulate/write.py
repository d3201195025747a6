"""A simulated session as plain files with its truth, for whoever tries another analysis on it.

    python -m imu.simulate.write --profile harsh --seed 3 --out DIR

writes forearm.csv.gz, club.csv.gz and meta.json (the layout that the importer takes), truth.json
and truth.parquet (curves at 1 kHz).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from imu.errors import SwingspreadError
from imu.exports.plain_csv import write_plain_csv
from imu.simulate.habits import DRIVER_MEAN, IRON_MEAN, LOOSE, STEADY, SwingHabit
from imu.simulate.profiles import PROFILES
from imu.simulate.session import (
    DRIVER,
    IRON_7,
    SimulatedSession,
    mixed_plan,
    simulate_session,
)


def write_session(session: SimulatedSession, folder: Path) -> list[Path]:
    """Write streams, meta and truth into ``folder``; returns the files.

    Raises SwingspreadError when the disk refuses.
    """
    files = write_plain_csv(session.recording, folder)
    truth, curves = folder / "truth.json", folder / "truth.parquet"
    try:
        truth.write_text(json.dumps(dict(session.truth.data), indent=1) + "\n", encoding="utf-8")
        session.truth.curves.to_parquet(curves, compression="zstd")
    except OSError as problem:
        raise SwingspreadError(f"{folder}: could not be written ({problem.strerror})") from problem
    return [*files, truth, curves]


def _count(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number of 0 or more")
    return int(text)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="Simulate a session and write it as plain files.")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    parser.add_argument("--profile", choices=tuple(PROFILES), default="typical")
    parser.add_argument("--seed", type=_count, default=1)
    parser.add_argument("--club", choices=("iron", "driver"), default="iron")
    parser.add_argument("--hand", choices=("right", "left"), default="right")
    parser.add_argument("--balls", type=_count, default=8)
    parser.add_argument("--practice", type=_count, default=2)
    parser.add_argument("--loose", action="store_true", help="a wide spread from swing to swing")
    options = parser.parse_args(arguments)
    driver = options.club == "driver"
    plan = mixed_plan(
        np.random.default_rng(options.seed),
        options.balls,
        options.practice,
        DRIVER if driver else IRON_7,
        options.hand,
        SwingHabit(DRIVER_MEAN if driver else IRON_MEAN, LOOSE if options.loose else STEADY),
    )
    try:
        session = simulate_session(plan, options.profile, options.seed)
        for path in write_session(session, options.out):
            print(path)
    except SwingspreadError as problem:
        print(problem, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())

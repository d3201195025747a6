"""How long statistics take: two sets of 60 swings with curves, and 200 sessions of 40 swings.

    python tests/benchmarks/statistics_speed.py

CPU seconds of this process, least of three, on invented swings.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))

from invented_sets import swing_set

from imu.columns import METRICS
from imu.variation.compare import compare_sets
from imu.variation.progress import progress


def least(task: Callable[[], object]) -> float:
    """CPU seconds of the quickest of three runs."""
    spent = []
    for _ in range(3):
        began = time.process_time()
        task()
        spent.append(time.process_time() - began)
    return min(spent)


def measure() -> tuple[float, float]:
    """CPU seconds of comparing two sets, and of following the sessions."""
    names = [metric.name for metric in METRICS]
    a = swing_set(60, 1, curves=True)
    b = swing_set(60, 2, "pressure", curves=True)
    compare = least(lambda: compare_sets(a, b, metrics=names))
    sessions = [
        swing_set(40, number, session=f"s{number}", day=f"{date:%Y-%m-%d}").swings.assign(
            recording_id=f"r{number}"
        )
        for number, date in enumerate(pd.date_range("2025-01-01", periods=200, freq="3D"))
    ]
    swings = pd.concat(sessions, ignore_index=True)
    return compare, least(lambda: progress(swings, names))


def main() -> None:
    """Print both figures."""
    compare, follow = measure()
    print(f"two sets of 60, curves too: {compare:.2f} s")
    print(f"200 sessions of 40: {follow:.2f} s")


if __name__ == "__main__":
    main()

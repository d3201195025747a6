"""How long statistics take: two sets of 60 swings with curves, and 200 sessions of 40 swings.

    python tests/benchmarks/statistics_speed.py

CPU seconds of this process, least of three, on invented swings.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from importlib import util
from pathlib import Path
from typing import Any

import pandas as pd

from imu.columns import METRICS
from imu.variation.compare import compare_sets
from imu.variation.progress import progress

MAKERS = Path(__file__).parents[1] / "variation" / "conftest.py"


def makers() -> Any:
    """The makers of invented swings that the tests of the statistics use."""
    spec = util.spec_from_file_location("invented_swings", MAKERS)
    assert spec is not None and spec.loader is not None
    module = util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


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
    invented = makers()
    names = [metric.name for metric in METRICS]
    a = invented.swing_set(60, 1, curves=True)
    b = invented.swing_set(60, 2, "pressure", curves=True)
    compare = least(lambda: compare_sets(a, b, metrics=names))
    sessions = [
        invented.swing_set(40, number, session=f"s{number}", day=f"{date:%Y-%m-%d}").swings.assign(
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

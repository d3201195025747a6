"""The benchmarks' own machinery on one short session: whoever is given the truth comes near it."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from imu.simulate.session import SessionPlan, simulate_session


@pytest.fixture
def benchmark(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The command's module, imported as when it runs as a script."""
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    import against_references

    return against_references


@pytest.fixture
def case(benchmark: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    plan = SessionPlan(actions=("stand", "ball", "ball"))
    monkeypatch.setattr(
        benchmark, "simulate", lambda profile, seed: simulate_session(plan, profile, seed)
    )
    return benchmark.simulated_case("clean", 5)


def test_every_installed_method_scores_every_swing_and_ours_is_nearest(
    benchmark: Any, case: Any
) -> None:
    found = benchmark.table([case])
    ran = found.dropna(how="all")
    assert (ran["swings"] == 2).all()
    assert ran["hinge RMSE °"].between(0.0, 10.0).all()
    nothing_given = ran[~ran.index.str.contains("and mounting")]
    assert nothing_given["hinge RMSE °"].idxmin() == "ours, nothing given"
    assert "not installed" not in benchmark.markdown(ran)


def test_release_is_read_off_a_known_curve(benchmark: Any) -> None:
    time = np.arange(0.0, 0.3, 1e-3)
    # 90° until 0.1 s, then opening by 500°/s: 10° open at 0.12 s.
    hinge = np.radians(90.0 - 500.0 * np.maximum(time - 0.1, 0.0))
    assert benchmark.release_before(time, hinge, 0.0, 0.25) == pytest.approx(0.13, abs=1e-6)
    assert np.isnan(benchmark.release_before(time, np.full_like(time, 1.5), 0.0, 0.25))

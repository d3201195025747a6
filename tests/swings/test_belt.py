"""A third sensor, on the belt: read like the others, with errors that cover what is true.

Check values: the turn about the vertical of a body turned by known angles is the derivative of its
first Euler angle when only that changes (kinematics of rigid bodies, exact); the simulated belt's
turning back is set by the simulation.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from app.cli import main
from imu.columns import SWING_COLUMNS
from imu.further_sensors import ROLE_METRICS
from imu.pipeline import analyse
from imu.recordings.library import Library
from imu.simulate.belt import BeltSession, with_belt
from imu.simulate.session import SessionPlan, simulate_session
from imu.swings.belt import CURVE, METRIC, belt_turn, turn_rate
from imu.types import BELT, Analysis, Stream

LEADS = (0.09, 0.05, 0.07, 0.02, 0.11, 0.06)


def turning(mount: Rotation, tip: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, acc and gyr of a sensor on a body turning as 0.8·sin²; still for the first second."""
    time = np.arange(0.0, 3.0, 0.005)

    def pose(at: np.ndarray) -> Rotation:
        angle = 0.8 * np.sin(np.maximum(at - 1.0, 0.0)) ** 2
        return Rotation.from_euler("ZX", np.column_stack([angle, tip * angle]))

    gyr = (pose(time - 1e-5).inv() * pose(time + 1e-5)).as_rotvec() / 2e-5
    acc = pose(time).inv().apply([0.0, 0.0, 9.81])
    return time, mount.inv().apply(acc), mount.inv().apply(gyr)


@pytest.mark.parametrize("seed", range(4))
def test_the_turn_about_the_vertical_is_read_whichever_way_the_sensor_faces(seed: int) -> None:
    time, acc, gyr = turning(Rotation.random(rng=seed))
    bias = np.array([0.01, -0.02, 0.015])
    rate = turn_rate(time, acc, gyr + bias, slice(0, 150))
    true = 0.8 * np.sin(2 * np.maximum(time - 1.0, 0.0))
    assert np.max(np.abs(rate - true)) < 1e-3


def test_tipping_is_not_taken_for_turning() -> None:
    time, acc, gyr = turning(Rotation.random(rng=9), tip=0.4)
    rate = turn_rate(time, acc, gyr, slice(0, 150))
    true = 0.8 * np.sin(2 * np.maximum(time - 1.0, 0.0))
    assert np.max(np.abs(rate - true)) < 0.01


@pytest.fixture(scope="module", params=["right", "left"])
def recorded(request: pytest.FixtureRequest) -> tuple[BeltSession, Analysis]:
    plan = SessionPlan(actions=("stand", *("ball",) * len(LEADS)))
    plan = replace(plan, player=replace(plan.player, handedness=request.param))
    session = simulate_session(plan, "clean", 11)
    belt = with_belt(session, LEADS, 3)
    return belt, analyse(belt.recording)


def test_the_belts_lead_is_measured_within_its_error(
    recorded: tuple[BeltSession, Analysis],
) -> None:
    _, analysis = recorded
    swings = analysis.swings
    assert len(swings) == len(LEADS)
    wrong = swings[METRIC].to_numpy(float) - 1e3 * np.array(LEADS)
    error = swings[f"{METRIC}_se"].to_numpy(float)
    own = swings[f"{METRIC}_se_swing"].to_numpy(float)
    assert np.all(own < error)
    # Radio delays shift all swings alike; only arrival times tie the belt's clock to the club's.
    shared = np.sqrt(error**2 - own**2)
    assert abs(np.mean(wrong)) < 2.0 * shared.max() and shared.max() < 10.0
    assert np.all(np.abs(wrong - np.mean(wrong)) < 2.5 * own)
    assert np.std(wrong) < 2.0


def test_the_turn_rate_is_a_curve_with_its_sign(recorded: tuple[BeltSession, Analysis]) -> None:
    _, analysis = recorded
    for row in analysis.swings.to_dict("records"):
        curve = analysis.curves[analysis.curves["swing"] == row["swing"]]
        time, rate = curve["t_s"].to_numpy(), curve[CURVE].to_numpy()
        assert np.all(np.isfinite(rate[(time > row["takeaway_s"]) & (time < row["impact_s"])]))
        going_back = (time > row["takeaway_s"] + 0.2) & (time < row["arm_top_s"] - 0.2)
        assert np.all(rate[going_back] < 0)
        assert np.all(rate[(time > row["club_top_s"]) & (time < row["impact_s"])] > 0)


def test_without_a_belt_there_is_no_column_and_the_reason_is_in_the_meaning() -> None:
    session = simulate_session(SessionPlan(actions=("stand", "ball", "ball")), "clean", 11)
    analysis = analyse(session.recording)
    assert list(analysis.swings.columns) == list(SWING_COLUMNS)
    assert CURVE not in analysis.curves
    (metric,) = ROLE_METRICS[BELT]
    assert "Needs a third sensor, on the belt" in metric.caution


def test_the_belt_changes_no_other_number(recorded: tuple[BeltSession, Analysis]) -> None:
    belt, analysis = recorded
    streams = {role: one for role, one in belt.recording.streams.items() if role != BELT}
    alone = analyse(replace(belt.recording, streams=streams))
    both = analysis.swings[list(SWING_COLUMNS)]
    assert both.equals(alone.swings)


def stream(time: np.ndarray, gyr: np.ndarray) -> Stream:
    acc = np.tile([0.0, 0.0, 9.81], (len(time), 1))
    nothing = np.full(len(time), np.nan)
    return Stream(BELT, time, acc, gyr, np.arange(len(time)), nothing, 200.0)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda t, w: (t, 0.0 * w), "the belt was not seen to turn"),
        (lambda t, w: (t, np.abs(w) + 0.5 * (t > 1.0)), "the belt was not seen to turn back"),
        (lambda t, w: (t[t < 1.5], w[t < 1.5]), "no samples around this swing"),
        (lambda t, w: (t[t > 0.95], w[t > 0.95]), "no samples around this swing"),
        (lambda t, w: (t[abs(t - 1.7) > 0.1], w[abs(t - 1.7) > 0.1]), "lost samples"),
    ],
)
def test_what_cannot_be_known_has_a_reason(change, why: str) -> None:
    time = np.arange(0.0, 3.0, 0.005)
    turn = np.where(time > 1.0, -3.0 * np.sin(2 * np.pi * (time - 1.0) / 1.6), 0.0)
    time, turn = change(time, turn)
    gyr = np.column_stack([0 * turn, 0 * turn, turn])
    found = belt_turn(stream(time, gyr), 1.0, 1.85, 2.1, 2.5)
    assert np.isnan(found.time) and why in found.why


def test_the_belt_goes_through_library_spread_and_export(
    recorded: tuple[BeltSession, Analysis], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    entry, _ = Library(tmp_path / "library").add(recorded[0].recording)
    where = ["--library", str(tmp_path / "library")]
    assert main(["spread", entry.id, "--metrics", METRIC, *where]) == 0
    assert "Belt turns before arm" in capsys.readouterr().out
    assert main(["export", entry.id, "--as", "tables", "--out", str(tmp_path / "out"), *where]) == 0
    swings = pd.read_csv(next((tmp_path / "out").rglob("swings.csv")), comment="#")
    assert swings[METRIC].notna().all()
    curves = pd.read_parquet(next((tmp_path / "out").rglob("curves.parquet")))
    assert CURVE in curves

"""Practice sessions with truth, and planar swings made from equations, for the swing tests."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imu.recordings.even_time import even_times
from imu.types import AlignedStreams, ClockModel, Motion, Stream, SwingWindow
from imu.units import STANDARD_GRAVITY

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
PROFILES = ("clean", "typical", "harsh")
STEP = 1e-3

# Axes of our segment frames (columns: volar, proximal, thumb or little finger) in the truth's
# frames, whose x runs from elbow to wrist (grip to head).
SEGMENT_AXES = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])


@dataclass(frozen=True)
class PracticeSwing:
    truth: dict[str, Any]
    curves: pd.DataFrame
    motion: Motion
    window: SwingWindow


@dataclass(frozen=True)
class PracticeSession:
    """One session: truth, streams in recording time, and the map from true to recording time."""

    name: str
    truth: dict[str, Any]
    swings: tuple[PracticeSwing, ...]
    streams: AlignedStreams
    recording_time: Callable[[float], float]


def rates_of(orientation: Rotation, step: float) -> np.ndarray:
    """(N, 3) world angular velocity by central differences of orientations."""
    turn = (orientation[1:] * orientation[:-1].inv()).as_rotvec() / step
    rate = np.empty((len(turn) + 1, 3))
    rate[0], rate[-1] = turn[0], turn[-1]
    rate[1:-1] = 0.5 * (turn[1:] + turn[:-1])
    return rate


def _segment(curves: pd.DataFrame, name: str, left: bool) -> Rotation:
    wxyz = curves[[f"q_{name}_{part}" for part in "wxyz"]].to_numpy()
    matrix = Rotation.from_quat(wxyz, scalar_first=True).as_matrix()
    if left:
        # Mirror the world in x, and the segment in z so that its long axis stays.
        matrix = np.diag([-1.0, 1.0, 1.0]) @ matrix @ np.diag([1.0, 1.0, -1.0])
    return Rotation.from_matrix(matrix @ SEGMENT_AXES)


def _swing(truth: dict[str, Any], curves: pd.DataFrame, left: bool) -> PracticeSwing:
    curves = curves.reset_index(drop=True)
    forearm, club = _segment(curves, "arm", left), _segment(curves, "club", left)
    motion = Motion(
        curves["t_s"].to_numpy(),
        forearm,
        club,
        rates_of(forearm, STEP),
        rates_of(club, STEP),
        np.zeros(len(curves), dtype=bool),
    )
    events = truth["events_true_s"]
    # Rough times stand off the truth, as a finder's would.
    ball = truth["kind"] == "ball"
    window = SwingWindow(
        start=truth["t0"],
        end=truth["t1"],
        kind=truth["kind"],
        takeaway=events["t_takeaway"] + 0.03,
        top=events["t_top_club"] - 0.02,
        impact=events["t_impact"] - (0.0 if ball else 0.03),
        impact_se=1e-3,
        finish=events["t_impact"] + 0.4,
        settled=events["t_takeaway"] - 2.0,
    )
    return PracticeSwing(truth, curves, motion, window)


@cache
def practice_session(name: str) -> PracticeSession:
    """Load one session (skips where the practice data are absent)."""
    folder = DATA / name
    if not folder.exists():
        pytest.skip(f"practice data absent: {folder}")
    truth = json.loads((folder / "truth.json").read_text())
    meta = json.loads((folder / "meta.json").read_text())
    table = pd.read_parquet(folder / "truth.parquet")
    left = truth["handedness"] == "left"
    swings = tuple(
        _swing(swing, table[table["swing"] == swing["id"]], left) for swing in truth["swings"]
    )
    clocks = {role: truth["sensors"][role]["clock"] for role in ("club", "forearm")}
    samples = {role: pd.read_csv(folder / f"{role}.csv.gz") for role in clocks}
    start = samples["club"]["t_sensor_us"].iloc[0] * 1e-6

    def recording_time(true: Any) -> Any:
        return clocks["club"]["offset_s"] + (1.0 + clocks["club"]["skew"]) * true - start

    streams = {}
    for role, frame in samples.items():
        ticks = frame["t_sensor_us"].to_numpy() * 1e-6
        true = (ticks - clocks[role]["offset_s"]) / (1.0 + clocks[role]["skew"])
        sensor = meta[f"{role}_sensor"]
        streams[role] = Stream(
            role,
            recording_time(true),
            frame[["ax", "ay", "az"]].to_numpy(),
            frame[["gx", "gy", "gz"]].to_numpy(),
            frame["seq"].to_numpy(),
            frame["t_host_s"].to_numpy(),
            sensor["rate_hz"],
            sensor["acc_range_g"] * STANDARD_GRAVITY,
            math.radians(sensor["gyr_range_dps"]),
        )
    clock = {role: ClockModel(0.0, 0.0) for role in streams}
    streams = {role: replace(s, time=even_times(s)) for role, s in streams.items()}
    return PracticeSession(name, truth, swings, AlignedStreams(streams, clock), recording_time)


@pytest.fixture(params=PROFILES)
def session(request: pytest.FixtureRequest) -> PracticeSession:
    return practice_session(request.param)


def planar_motion(
    time: np.ndarray,
    arm: np.ndarray,
    club: np.ndarray,
    arm_rate: np.ndarray,
    club_rate: np.ndarray,
    plane: float,
) -> Motion:
    """Movement in one inclined plane: angles (rad) from the downward line, towards the target."""
    down = np.array([0.0, -math.cos(plane), -math.sin(plane)])
    target = np.array([1.0, 0.0, 0.0])
    normal = np.cross(down, target)

    def segment(angle: np.ndarray) -> Rotation:
        axis = np.cos(angle)[:, None] * down + np.sin(angle)[:, None] * target
        x = np.broadcast_to(normal, axis.shape)
        return Rotation.from_matrix(np.stack([x, -axis, np.cross(x, -axis)], axis=2))

    return Motion(
        time,
        segment(arm),
        segment(club),
        arm_rate[:, None] * normal,
        club_rate[:, None] * normal,
        np.zeros(len(time), dtype=bool),
    )


@pytest.fixture
def planar() -> Callable[..., Motion]:
    return planar_motion


@pytest.fixture(scope="session")
def load_session() -> Callable[[str], PracticeSession]:
    return practice_session


@pytest.fixture
def rates() -> Callable[[Rotation, float], np.ndarray]:
    return rates_of

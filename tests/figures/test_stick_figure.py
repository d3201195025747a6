"""Arm and club in space: lengths kept, the target where it belongs, left and right alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from imu.figures.stick_figure import stick_frames
from imu.types import Club

CLUB = Club("driver", 1.12, 0.05)


def frames_of(analysis: Any, hand: str) -> Any:
    row = analysis.swings.iloc[2]
    curves = analysis.curves[analysis.curves["swing"] == row["swing"]]
    return row, stick_frames(curves, row, 0.62, CLUB, hand)


def test_arm_and_club_keep_their_lengths(analysis: Any) -> None:
    _, frames = frames_of(analysis, "right")
    assert np.linalg.norm(frames.wrist, axis=1) == pytest.approx(0.62)
    assert np.linalg.norm(frames.head - frames.grip, axis=1) == pytest.approx(1.12)
    assert np.linalg.norm(frames.head - frames.wrist, axis=1) == pytest.approx(1.07)


def test_the_angle_between_arm_and_club_is_the_hinge(analysis: Any) -> None:
    row, frames = frames_of(analysis, "right")
    curves = analysis.curves[analysis.curves["swing"] == row["swing"]]
    arm = frames.wrist / np.linalg.norm(frames.wrist, axis=1, keepdims=True)
    shaft = (frames.head - frames.wrist) / 1.07
    angle = np.degrees(np.arccos(np.clip((arm * shaft).sum(axis=1), -1, 1)))
    hinge = np.interp(frames.time, curves["t_from_impact_s"], curves["hinge_deg"])
    before = (frames.time > -0.8) & (frames.time < -0.15)
    assert angle[before] == pytest.approx(hinge[before], abs=1.5)


def test_the_club_at_address_points_away_from_the_player_square_to_the_target(
    analysis: Any,
) -> None:
    row, frames = frames_of(analysis, "right")
    address = np.argmin(np.abs(frames.time - (row["takeaway_s"] - row["impact_s"])))
    shaft = frames.head[address] - frames.wrist[address]
    assert abs(shaft[0]) < 1e-6 and shaft[1] < 0 and shaft[2] < 0


def test_a_left_handed_player_is_the_mirror_image(analysis: Any) -> None:
    _, right = frames_of(analysis, "right")
    _, left = frames_of(analysis, "left")
    assert left.head == pytest.approx(right.head * [-1, 1, 1])
    assert (right.target, left.target) == (1.0, -1.0)


def test_the_shaft_lies_in_its_plane_from_parallel_to_impact(analysis: Any) -> None:
    row, frames = frames_of(analysis, "right")
    normal = np.cross(frames.plane[1] - frames.plane[0], frames.plane[3] - frames.plane[0])
    normal /= np.linalg.norm(normal)
    start = row["shaft_parallel_s"] - row["impact_s"]
    during = (frames.time >= start) & (frames.time <= 0)
    shaft = (frames.head - frames.wrist)[during]
    assert np.abs(shaft @ normal).max() < 0.05


@pytest.mark.parametrize("known", [0, 1])
def test_a_swing_without_orientation_draws_nothing(analysis: Any, known: int) -> None:
    row = analysis.swings.iloc[2]
    curves = analysis.curves[analysis.curves["swing"] == row["swing"]].copy()
    curves.iloc[known:, curves.columns.get_loc("arm_qw")] = np.nan
    assert len(stick_frames(curves, row, 0.62, CLUB, "right").time) == 0

"""A clamp that slants: the roll of the club, one of the calibration moves, tells by how much.

The check is physical: how a sensor sits on the shaft changes nothing about the swing.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imu.pipeline import analyse
from imu.recordings.store import read_recording
from imu.types import CLUB, Analysis, Recording

SAMPLE = Path(__file__).resolve().parents[2] / "recordings" / "robin-7-iron-practice"
AXIS = np.array([np.sqrt(0.5), 0.0, np.sqrt(0.5)])


@pytest.fixture(scope="module")
def straight() -> tuple[Recording, Analysis]:
    """A sample recording with the calibration moves at its beginning."""
    recording = read_recording(SAMPLE)
    return recording, analyse(recording)


def test_a_club_sensor_that_slants_by_thirteen_degrees_is_found_by_the_roll(
    straight: tuple[Recording, Analysis],
) -> None:
    recording, base = straight
    turn = Rotation.from_rotvec(np.radians(13.0) * AXIS).as_matrix()
    club = recording.streams[CLUB]
    slanting = replace(club, acc=club.acc @ turn.T, gyr=club.gyr @ turn.T)
    streams = {**recording.streams, CLUB: slanting}
    again = analyse(replace(recording, streams=streams))
    assert "roll" in again.calibration["sensors"][CLUB]["long_axis_evidence"]
    moved = np.abs(again.swings["hinge_max_deg"] - base.swings["hinge_max_deg"])
    assert moved.max() < 0.7  # 3.5 when the roll is not believed
    assert (moved < 1.0 * again.swings["hinge_max_deg_se"]).all()

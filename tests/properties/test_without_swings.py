"""Where no swing can be measured: whole tables all the same, and the reason in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imu.columns import CURVE_COLUMNS, SWING_COLUMNS
from imu.exports.folder import write_analysis
from imu.further_sensors import ROLE_CURVES, further_swing_columns
from imu.pipeline import analyse
from imu.simulate.belt import with_belt
from imu.simulate.session import SessionPlan, simulate_session
from imu.types import BELT, CLUB, FOREARM, Recording


@pytest.fixture(scope="module")
def session() -> Recording:
    """One ball, and a sensor on the belt."""
    played = simulate_session(SessionPlan(("stand", "ball", "stand")), "clean", 3)
    return with_belt(played, (0.05,), 3).recording


def without_samples(recording: Recording, role: str, start: float, end: float) -> Recording:
    """The recording with one sensor's samples lost from start to end, s of that sensor's clock."""
    was = recording.streams[role]
    keep = (was.time < start) | (was.time > end)
    return replace(recording, streams={**recording.streams, role: was.rows(keep)})


def test_a_swing_that_one_sensor_did_not_record_is_listed_with_its_impact(
    session: Recording, tmp_path: Path
) -> None:
    whole = analyse(session)
    impact_us = float(whole.swings["impact_club_clock_us"].iloc[0])
    forearm = session.streams[FOREARM]
    impact = forearm.time[np.argmax(np.linalg.norm(forearm.acc, axis=1))]
    lost = analyse(without_samples(session, FOREARM, impact - 8.0, impact + 8.0))
    assert list(lost.swings.columns) == [*SWING_COLUMNS, *further_swing_columns([BELT])]
    assert lost.swings["impact_club_clock_us"].iloc[0] == pytest.approx(impact_us, abs=5e3)
    assert "nothing can be measured" in lost.swings["notes"].iloc[0]
    assert any("no swing could be measured" in words for words in lost.warnings)
    assert not any("no swings were found" in words for words in lost.warnings)
    write_analysis(lost, tmp_path)
    assert len(pd.read_parquet(tmp_path / "swings.parquet")) == 1


def test_a_recording_without_a_swing_has_every_column_of_its_sensors(
    session: Recording, tmp_path: Path
) -> None:
    calm = session
    for role in (FOREARM, CLUB):
        stream = session.streams[role]
        struck = stream.time[np.argmax(np.linalg.norm(stream.acc, axis=1))]
        calm = without_samples(calm, role, struck - 2.5, np.inf)
    empty = analyse(calm)
    assert list(empty.swings.columns) == [*SWING_COLUMNS, *further_swing_columns([BELT])]
    assert list(empty.curves.columns) == [*CURVE_COLUMNS, *ROLE_CURVES[BELT]]
    assert any("no swings were found" in words for words in empty.warnings)
    write_analysis(empty, tmp_path)
    assert len(pd.read_parquet(tmp_path / "curves.parquet")) == 0

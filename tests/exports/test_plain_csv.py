"""A recording exported as plain CSV comes back through the importer as the same recording."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imu.exports.motion_bids import write_motion_bids
from imu.exports.plain_csv import exact_quotient, write_plain_csv
from imu.recordings.content import make_recording
from imu.recordings.importer import import_csv
from imu.recordings.motion_bids import read_motion_bids
from imu.recordings.store import whole_microseconds
from imu.types import CLUB, FOREARM, Recording
from imu.units import DEG, STANDARD_GRAVITY

SESSION = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings" / "harsh"


@pytest.fixture(scope="module")
def recording() -> Recording:
    """Two minutes out of a practice session."""
    if not SESSION.is_dir():
        pytest.skip("the practice sessions are not here (shared/data/swings)")
    whole = import_csv(
        SESSION / "forearm.csv.gz",
        SESSION / "club.csv.gz",
        SESSION / "meta.json",
        name="Tuesday",
        player="Robin Example",
        block="pressure",
    )
    return shortened(whole, 120.0)


def shortened(recording: Recording, seconds: float) -> Recording:
    """The first ``seconds`` of a recording."""
    streams = {}
    for role, was in recording.streams.items():
        keep = was.time < was.time[0] + seconds
        names = ("time", "acc", "gyr", "seq", "host_time")
        streams[role] = replace(was, **{name: getattr(was, name)[keep] for name in names})
    return make_recording(recording.manifest, streams, recording.faults)


def brought_back(folder: Path) -> Recording:
    return import_csv(folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json")


def test_export_and_import_give_the_same_recording(recording: Recording, tmp_path: Path) -> None:
    write_plain_csv(recording, tmp_path)
    again = brought_back(tmp_path)
    assert again.id == recording.id
    assert again.manifest.player == recording.manifest.player
    assert again.manifest.block == "pressure"
    for role in (FOREARM, CLUB):
        for field in ("time", "acc", "gyr", "seq", "host_time"):
            now, was = getattr(again.streams[role], field), getattr(recording.streams[role], field)
            np.testing.assert_array_equal(now, was)


def test_a_clock_finer_than_microseconds_comes_back(recording: Recording, tmp_path: Path) -> None:
    was = recording.streams[CLUB]
    time = was.time + 1e-7 * np.sin(np.arange(len(was.time)))
    assert whole_microseconds(time) is None
    finer = {**recording.streams, CLUB: replace(was, time=time)}
    odd = Recording("", recording.manifest, finer)
    write_plain_csv(odd, tmp_path)
    np.testing.assert_array_equal(brought_back(tmp_path).streams[CLUB].time, time)


def test_both_raw_layouts_lead_back_to_the_same_streams(
    recording: Recording, tmp_path: Path
) -> None:
    write_motion_bids([recording], tmp_path)
    (again,) = read_motion_bids(tmp_path)
    assert again.id == recording.id


@given(st.floats(min_value=1e-3, max_value=1e6), st.sampled_from([STANDARD_GRAVITY, DEG]))
def test_full_scales_survive_the_change_of_unit(value: float, factor: float) -> None:
    inside = value * factor
    assert math.isclose(exact_quotient(inside, factor) * factor, inside, rel_tol=3e-16)


@pytest.mark.parametrize("full_scale", [2000.0, 4000.0, 500.0, 250.0])
def test_usual_full_scales_come_back_to_the_bit(full_scale: float) -> None:
    assert exact_quotient(full_scale * DEG, DEG) == full_scale

"""A clock set back or forward, summer time, and a computer started anew in the middle: durations go
by a clock that nobody sets, and what was recorded keeps its order and its place."""

from __future__ import annotations

import json
import os
import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app.commands.record import _clock_doubt
from app.derived import VERSIONS_KEPT, keep, read_cached
from app.pairing import CODE_S, Pairing
from app.recording import RecordingDesk
from imu.moments import EARLIEST, clock_doubt, moment
from imu.recorder.folder import JournalFolder, all_folders, interrupted, new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recordings.library import Library
from imu.recordings.synchronise import align
from imu.settings import AnalysisSettings
from imu.simulate.plan import SessionPlan
from imu.simulate.session import simulate_session
from imu.types import Club, Manifest, Player, Recording

ROOT = Path(__file__).resolve().parents[2]
CODE = [ROOT / "imu", ROOT / "app"]
SUMMER, WINTER = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))
BEFORE_CHANGE = datetime(2026, 10, 25, 2, 50, tzinfo=SUMMER)
AFTER_CHANGE = datetime(2026, 10, 25, 2, 10, tzinfo=WINTER)
"""Twenty minutes later, and earlier by the clock on the wall."""


def manifest(name: str, when: datetime) -> Manifest:
    return Manifest(
        Player("Ada"), Club("7-iron", 0.94), name, recorded_at=when.isoformat(timespec="seconds")
    )


def test_nobody_measures_a_duration_by_the_clock_on_the_wall() -> None:
    """`time.time` and `datetime.now` are asked for dates and the age of files alone."""
    asked = {
        str(path.relative_to(ROOT))
        for root in CODE
        for path in root.rglob("*.py")
        if re.search(r"\btime\.time\(", path.read_text("utf-8"))
    }
    assert asked <= {"imu/recordings/atomic.py"}


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        ("2026-10-25T02:50:00+02:00", "2026-10-25T02:10:00+01:00"),
        ("2026-03-01T23:30:00+09:00", "2026-03-01T16:00:00+00:00"),
        ("2026-03-01", "2026-03-01T00:00:01+00:00"),
        ("", "0001-01-02T00:00:00"),
        ("not a date", "2026-03-01"),
        ("2026-03-01T10:00:00Z", "2026-03-01T10:00:00.5+00:00"),
    ],
)
def test_moments_are_ordered_whatever_their_offset(earlier: str, later: str) -> None:
    assert moment(earlier) < moment(later)


@pytest.mark.parametrize("text", ["", "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"])
def test_the_ends_of_the_calendar_are_no_trouble(text: str) -> None:
    assert EARLIEST <= moment(text) <= datetime.max.replace(tzinfo=UTC)


def test_the_library_and_what_was_interrupted_keep_their_order_when_summer_time_ends(
    tmp_path: Path, small_recording: Any
) -> None:
    library = Library(tmp_path / "library")
    for seed, (name, when) in enumerate((("before", BEFORE_CHANGE), ("after", AFTER_CHANGE))):
        library.add(small_recording(manifest(name, when), seed))
        new_folder(tmp_path / "journals", manifest(name, when), now=when)
    assert [entry.name for entry in library.entries()] == ["after", "before"]
    folders = interrupted(tmp_path / "journals")
    assert [folder.manifest().name for folder in folders] == ["before", "after"]
    assert [f.manifest().name for f in all_folders(tmp_path / "journals")] == ["after", "before"]


def test_a_clock_behind_the_last_recording_is_said_before_recording(
    tmp_path: Path, small_recording: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    library = Library(tmp_path / "library")
    assert _clock_doubt(str(library.path)) == ""
    library.add(small_recording(manifest("undated", EARLIEST), 1))
    library.add(small_recording(manifest("today", datetime.now(UTC)), 2))
    assert _clock_doubt(str(library.path)) == ""
    library.add(small_recording(manifest("later", datetime.now(UTC) + timedelta(days=3)), 3))
    assert "set the clock" in _clock_doubt(str(library.path))
    flat = datetime(1970, 1, 1, tzinfo=UTC)
    assert "1970-01-01 00:00" in clock_doubt(flat, datetime(2026, 5, 4, tzinfo=UTC))
    assert clock_doubt(AFTER_CHANGE, BEFORE_CHANGE) == clock_doubt(flat, EARLIEST) == ""


def test_a_clock_set_back_makes_no_name_twice(tmp_path: Path) -> None:
    now = datetime(2026, 5, 4, 17, 0, tzinfo=UTC)
    names = {new_folder(tmp_path, manifest("x", now), now=now).name for _ in range(50)}
    assert len(names) == 50


def test_how_long_a_recording_runs_is_told_whatever_the_clock_says(tmp_path: Path) -> None:
    folder = new_folder(tmp_path, manifest("x", datetime.now(UTC)))
    writer = JournalWriter(folder.next_journal("session"))
    writer.append_json(Kind.EVENT, time.monotonic_ns() - 90_000_000_000, {"type": "status"})
    writer.close()
    for hours in (-30, 0, 30):
        then = time.time() + 3600 * hours
        for path in folder.path.iterdir():
            os.utime(path, (then, then))
        with folder.hold():
            watched = RecordingDesk(tmp_path).watch()
        assert watched is not None and 90.0 <= watched.seconds < 95.0


def test_an_analysis_just_kept_stays_though_others_seem_newer(
    tmp_path: Path, make_analysis: Any
) -> None:
    """Else every page would work it out anew, for as long as the clock is behind."""
    for number in range(VERSIONS_KEPT + 2):
        other = tmp_path / "derived" / f"analysis-{number}"
        other.mkdir(parents=True)
        ahead = time.time() + 86_400 * (number + 1)
        os.utime(other, (ahead, ahead))
    settings = AnalysisSettings()
    keep(tmp_path, settings, make_analysis(3))
    assert read_cached(tmp_path, settings) is not None
    assert len(list((tmp_path / "derived").iterdir())) == VERSIONS_KEPT


def test_codes_and_sessions_run_out_by_a_clock_nobody_sets(monkeypatch: pytest.MonkeyPatch) -> None:
    now, codes = [1000.0], list[str]()
    monkeypatch.setattr(time, "time", lambda: pytest.fail("asked the clock on the wall"))
    pairing = Pairing(frozenset({"192.168.7.5"}), codes.append, lambda: now[0])
    pairing.offer()
    now[0] += CODE_S + 1
    assert pairing.pair(codes[0]) is None
    assert Pairing.__init__.__defaults__ == (time.monotonic,)


@pytest.fixture(scope="module")
def session() -> Recording:
    return simulate_session(SessionPlan(("stand", *("ball",) * 4)), "typical", 3).recording


@pytest.mark.parametrize("jump_s", [-1e6, -3600.0, -60.0, -1.0, 30.0, 3600.0, 1e6])
def test_arrival_times_that_jump_leave_the_two_sensors_tied(
    session: Recording, jump_s: float
) -> None:
    """A computer that slept, or was started anew before recording went on, counts from elsewhere;
    a logger's arrival times may follow the clock on the wall."""
    middle = np.nanmedian(session.streams["club"].host_time)
    jumped = {
        role: replace(
            stream, host_time=stream.host_time + np.where(stream.host_time > middle, jump_s, 0.0)
        )
        for role, stream in session.streams.items()
    }
    usual, after = align(session), align(replace(session, streams=jumped))
    at = np.linspace(*session.streams["forearm"].time[[0, -1]], 9)
    apart = after.clocks["forearm"].to_recording(at) - usual.clocks["forearm"].to_recording(at)
    assert np.max(np.abs(apart)) < 0.5e-3
    assert np.max(np.abs(apart)) < after.clocks["forearm"].offset_se
    assert any("the computer's clock jumped 1 time" in words for words in after.warnings)


def test_a_note_of_when_survives_as_it_was_written(tmp_path: Path) -> None:
    """Dates are labels: a wrong one is kept, shown and never mended in silence."""
    wrong = datetime(1970, 1, 1, 1, 0, tzinfo=WINTER)
    folder = new_folder(tmp_path, manifest("x", wrong), now=wrong)
    assert folder.name.startswith("1970-01-01_01-00-00")
    document = json.loads((folder.path / "session.json").read_text())
    assert document["recorded_at"] == "1970-01-01T01:00:00+01:00"
    assert isinstance(JournalFolder(folder.path).began, datetime)

"""Steps of a plan are kept beside the journals and read back by whoever looks on."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from planned_recordings import PLAN, Planned
from virtual_recordings import peripheral, record

from imu.errors import SwingspreadError
from imu.recorder.finish import finish_recording
from imu.recorder.journal import JournalWriter, Kind
from imu.recorder.live_events import club_clock_now_us, live_swings
from imu.recorder.plan_steps import begin_block, follow_plan, pass_block_over, take_step_back
from imu.recordings.library import Library
from imu.recordings.notes import NOTES_FILE, RecordingNotes, read_notes, update_notes
from imu.types import CLUB, FOREARM, Club, Manifest, Player


def test_each_step_is_on_disk_at_once(tmp_path: Path) -> None:
    one = Planned(tmp_path)
    begin_block(one.folder, 1)
    one.hit(10.0)
    pass_block_over(one.folder, 1)
    plan = read_notes(one.folder.path).plan
    assert plan is not None and plan.marks[0].until_club_clock_us == 10_500_000
    take_step_back(one.folder)
    plan = read_notes(one.folder.path).plan
    assert plan is not None and plan.marks[0].until_club_clock_us is None


def test_the_club_clock_is_carried_on_from_the_latest_swing() -> None:
    swings = [{"impact_club_clock_us": 5e6, "host_ns": 1_000_000_000}]
    assert club_clock_now_us([], 7) == 0.0
    assert club_clock_now_us(swings, 3_000_000_000) == pytest.approx(7e6)
    assert club_clock_now_us(swings, 5) == 5.5e6, "the machine was started anew in between"


def test_a_resumed_recording_counts_its_swings_on(tmp_path: Path) -> None:
    one = Planned(tmp_path)
    one.hit(10.0, 20.0)
    again = JournalWriter(one.folder.next_journal("swings"))
    for second in (20.02, 30.0):  # the follower finds the last swing once more
        event = {"type": "swing", "number": 1, "impact_club_clock_us": second * 1e6}
        again.append_json(Kind.EVENT, 1, event)
    again.close()
    swings = live_swings(one.folder)
    assert [(one["number"], one["impact_club_clock_us"] / 1e6) for one in swings] == [
        (1, 10.0),
        (2, 20.0),
        (3, 30.0),
    ]


def test_the_last_block_ends_with_its_swings_not_with_the_recording(tmp_path: Path) -> None:
    both = {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB)}
    _, folder = record(tmp_path / "journals", both, 2.0)
    follow_plan(folder, PLAN)
    begin_block(folder, 1)
    writer = JournalWriter(folder.next_journal("swings"))
    for second in (6.0, 7.0, 8.0):
        event = {"type": "swing", "kind": "ball", "impact_club_clock_us": second * 1e6}
        writer.append_json(Kind.EVENT, 1, event)
    writer.close()
    finished = finish_recording(folder, Library(tmp_path / "library"))
    assert finished is not None
    (entry,) = Library(tmp_path / "library").entries()
    assert entry == finished.entry, "with its notes"
    assert entry.plan is not None and entry.blocks == ("practice",)
    assert entry.plan.marks[0].until_club_clock_us == 7_500_000
    assert entry.manifest is not None and entry.manifest.block == "practice"
    notes = read_notes(entry.folder)
    assert notes.block_labels([6e6, 7e6, 8e6]) == ["practice", "practice", "between blocks"]


def test_notes_without_a_plan_stay_readable_by_earlier_versions(tmp_path: Path) -> None:
    update_notes(tmp_path, lambda notes: RecordingNotes(remarks="windy"))
    assert json.loads((tmp_path / NOTES_FILE).read_text())["schema_version"] == 1
    update_notes(tmp_path, lambda notes: RecordingNotes(plan=PLAN))
    assert json.loads((tmp_path / NOTES_FILE).read_text())["schema_version"] == 2
    assert read_notes(tmp_path).plan == PLAN


def test_a_damaged_plan_in_the_notes_is_named(tmp_path: Path) -> None:
    (tmp_path / NOTES_FILE).write_text('{"schema_version": 2, "plan": {"name": "x"}}')
    with pytest.raises(SwingspreadError, match="plan is damaged"):
        read_notes(tmp_path)


def test_a_label_for_the_whole_does_not_hide_its_blocks(tmp_path: Path) -> None:
    one = Planned(tmp_path)
    begin_block(one.folder, 1)
    manifest = Manifest(Player("Robin Field"), Club("7-iron", 0.94))
    notes = read_notes(one.folder.path)
    assert notes.label(manifest).block == "practice"
    assert RecordingNotes(plan=PLAN).label(manifest).block == ""

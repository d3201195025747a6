"""Many files as one archive, and a recording copied as it lies."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from random_recordings import random_recording

from imu.errors import SwingspreadError
from imu.exports.archive import copy_recording, write_archive
from imu.exports.motion_bids import write_motion_bids
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import read_notes, update_notes
from imu.recordings.store import read_recording
from imu.types import Club, Manifest, Player

FACTS = Manifest(Player("Robin Example"), Club("7-iron", 0.94), "Tuesday")


@pytest.fixture
def entry(tmp_path: Path) -> LibraryEntry:
    entry, _ = Library(tmp_path / "library").add(random_recording(FACTS, 1))
    update_notes(entry.folder, lambda notes: replace(notes, remarks="windy"))
    (entry.folder / "derived").mkdir()
    return entry


def test_a_copied_recording_is_the_same_with_its_notes(entry: LibraryEntry, tmp_path: Path) -> None:
    files = copy_recording(entry.folder, tmp_path / "copy")
    names = ["club.parquet", "forearm.parquet", "notes.json", "recording.json"]
    assert [file.name for file in files] == names
    assert sorted(file.name for file in (tmp_path / "copy").iterdir()) == names
    assert read_recording(tmp_path / "copy", verify=True).id == entry.id
    assert read_notes(tmp_path / "copy").remarks == "windy"


def test_a_recording_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(SwingspreadError, match="gone: cannot be read"):
        copy_recording(tmp_path / "gone", tmp_path / "copy")


def test_an_archive_holds_what_was_written_under_its_folders_names(
    entry: LibraryEntry, tmp_path: Path
) -> None:
    names = write_archive(
        tmp_path / "all.zip", lambda folder: copy_recording(entry.folder, folder / "a" / "b")
    )
    assert names[-1] == "a/b/recording.json"
    with zipfile.ZipFile(tmp_path / "all.zip") as packed:
        assert packed.testzip() is None
        assert packed.namelist() == names
    assert {path.name for path in tmp_path.iterdir()} == {"all.zip", "library"}


@pytest.mark.parametrize("when", ["0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"])
def test_the_ends_of_the_calendar_are_unknown_to_bids(tmp_path: Path, when: str) -> None:
    write_motion_bids([random_recording(replace(FACTS, recorded_at=when), 1)], tmp_path)
    (scans,) = tmp_path.rglob("*_scans.tsv")
    assert scans.read_text("utf-8").splitlines()[1].endswith("\tn/a")

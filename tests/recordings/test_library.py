"""The library: found by id, name or folder; never stored twice; safe with several processes."""

from __future__ import annotations

import dataclasses
import errno
import json
import multiprocessing
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from random_recordings import random_recording

from imu.errors import SwingspreadError
from imu.recordings import atomic
from imu.recordings.content import make_recording
from imu.recordings.library import Library, default_library
from imu.recordings.notes import (
    RecordingNotes,
    SwingNote,
    read_notes,
    update_notes,
)
from imu.recordings.store import write_recording
from imu.types import Club, Manifest, Player


def recording(number=0, **labels):
    facts = Manifest(Player("Ada Brook"), Club("iron7", 0.94), **labels)
    return random_recording(facts, number, samples=20)


@pytest.fixture
def library(tmp_path):
    return Library(tmp_path / "library")


def test_sensors_are_listed_in_one_order_whatever_the_order_they_came_in(library):
    """Forearm, club, then others by name."""
    came = recording()
    more = {role: dataclasses.replace(came.streams["club"], role=role) for role in ("hat", "belt")}
    streams = {**more, "club": came.streams["club"], "forearm": came.streams["forearm"]}
    library.add(make_recording(came.manifest, streams))
    (entry,) = library.entries()
    assert [*entry.samples] == [*entry.lost] == ["forearm", "club", "belt", "hat"]


def test_the_default_lies_in_the_platforms_data_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert "swingspread" in str(default_library())
    assert Library().path == default_library()
    assert Library().entries() == []


def test_a_file_is_no_library(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(SwingspreadError, match="a file, where the library"):
        Library(tmp_path / "file")


def test_a_library_in_nobodys_home_is_refused():
    with pytest.raises(SwingspreadError, match="no user of that name"):
        Library("~nobody-of-that-name/library")


def test_a_library_of_an_impossible_name_is_refused():
    with pytest.raises(SwingspreadError, match="File name too long"):
        Library("x" * 300).entries()


def test_what_is_added_is_listed_and_read(library):
    original = recording(name="Tuesday", block="practice", recorded_at="2031-05-04T17:00")
    entry, is_new = library.add(original)
    assert is_new
    assert entry.id == original.id
    (listed,) = library.entries()
    assert listed == entry
    assert (listed.name, listed.samples["club"], listed.lost["club"]) == ("Tuesday", 20, 0)
    assert listed.duration_s == pytest.approx(0.19)
    assert library.read(original.id, verify=True).manifest == original.manifest


def test_the_newest_comes_first(library):
    for day, number in (("03", 1), ("05", 2), ("04", 3)):
        library.add(recording(number, name=day, recorded_at=f"2031-05-{day}"))
    library.add(recording(4, name="undated"))
    assert [entry.name for entry in library.entries()] == ["05", "04", "03", "undated"]


def test_the_same_content_is_never_stored_twice(library):
    first, _ = library.add(recording(name="one"))
    again, is_new = library.add(recording(name="other label, same samples"))
    assert not is_new
    assert again == first
    assert len(library.entries()) == 1


DAMAGE = {
    "manifest cut off": ("recording.json", lambda file: file.write_text("{")),
    "manifest gone": ("recording.json", lambda file: file.unlink()),
    "manifest contradicts": (
        "recording.json",
        lambda file: file.write_text(file.read_text().replace('"samples": 20', '"samples": 3')),
    ),
    "samples spoilt": ("club.parquet", lambda file: file.write_bytes(b"PAR1")),
    "samples gone": ("club.parquet", lambda file: file.unlink()),
}


@pytest.mark.parametrize("kind", DAMAGE)
@pytest.mark.parametrize("folder_name", ["", "by hand"])
def test_importing_a_damaged_recording_again_puts_it_right(library, kind, folder_name):
    original = recording(name="first")
    entry, _ = library.add(original)
    folder = entry.folder
    if folder_name:
        folder = folder.rename(library.path / folder_name)
    update_notes(folder, lambda notes: dataclasses.replace(notes, remarks="windy"))
    file, damage = DAMAGE[kind]
    damage(folder / file)
    mended, is_new = library.add(recording(name="again"))
    assert is_new
    assert not mended.problem
    assert library.read(original.id, verify=True).streams["club"].acc.shape == (20, 3)
    unknown = folder_name and kind in ("manifest cut off", "manifest gone")
    assert mended.folder == (library.path / original.id if unknown else folder)
    assert read_notes(folder).remarks == "windy"
    assert mended.name == ("first" if file == "club.parquet" else "again")
    assert library.add(recording())[1] is False
    assert not list(library.path.rglob("*.part"))


def test_a_recording_that_only_a_later_version_reads_is_not_put_right(library):
    entry, _ = library.add(recording())
    path = entry.folder / "recording.json"
    later = path.read_text().replace('"schema_version": 1', '"schema_version": 2')
    path.write_text(later)
    with pytest.raises(SwingspreadError, match="written by a later version"):
        library.add(recording())
    assert path.read_text() == later


def test_a_recording_changed_by_hand_is_left_as_it_is(library):
    entry, _ = library.add(recording())
    path = entry.folder / "recording.json"
    changed = path.read_text().replace('"length_m": 0.94', '"length_m": 0.95')
    path.write_text(changed)
    assert library.add(recording())[1] is False
    assert path.read_text() == changed


def test_a_folder_that_bears_another_recordings_id_is_named(library):
    entry, _ = library.add(recording(1))
    other = recording(2)
    entry.folder.rename(library.path / other.id)
    with pytest.raises(SwingspreadError, match=f"holds recording {entry.id}.*rename the folder"):
        library.add(other)


def test_a_disk_that_refuses_says_that_the_recording_is_damaged(library, monkeypatch):
    entry, _ = library.add(recording())
    (entry.folder / "club.parquet").unlink()

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SwingspreadError, match=r"damaged and could not be put right.*No space"):
        library.add(recording())
    monkeypatch.undo()
    assert library.add(recording())[1] is True


def test_a_folder_copied_in_by_hand_is_found_and_not_stored_again(library):
    library.path.mkdir()
    copied = write_recording(recording(name="copied"), library.path / "by hand")
    assert library.resolve(copied.id).name == "by hand"
    assert library.resolve("by hand").name == "by hand"
    assert library.add(recording(name="copied"))[1] is False


def test_a_copy_of_a_recording_is_told_and_counts_once(library):
    entry, _ = library.add(recording(name="one"))
    for name in ("0 before", "z after"):
        shutil.copytree(entry.folder, library.path / name)
    listed, *copies = library.entries()
    assert listed == entry
    assert [copy.id for copy in copies] == ["0 before", "z after"]
    for copy in copies:
        assert f"a copy of the recording in {entry.id}; move one of them away" in copy.problem
    assert library.find("one").folder == entry.folder


def test_a_sound_copy_stands_for_a_damaged_recording(library):
    entry, _ = library.add(recording(name="one"))
    shutil.copytree(entry.folder, library.path / "backup")
    (entry.folder / "recording.json").write_text("{")
    sound, damaged = library.entries()
    assert (sound.name, sound.folder.name) == ("one", "backup")
    assert "not valid JSON" in damaged.problem


def test_deleting_a_recording_deletes_its_copies(library):
    entry, _ = library.add(recording(1))
    other, _ = library.add(recording(2))
    shutil.copytree(entry.folder, library.path / "backup")
    library.delete(entry)
    assert [path.name for path in library.path.iterdir()] == [other.id]


class TestFinding:
    @pytest.fixture
    def ids(self, library):
        names = ["Tuesday", "tuesday evening", "Pressure, second", "Pressure, second", "ab"]
        return [library.add(recording(n, name=name))[0].id for n, name in enumerate(names)]

    def test_by_id_and_by_a_unique_beginning(self, library, ids):
        for one in ids:
            assert library.resolve(one).name == one
            length = next(k for k in range(1, 17) if sum(i.startswith(one[:k]) for i in ids) == 1)
            assert library.resolve(one[:length].upper()).name == one

    def test_by_name_with_the_exact_one_first(self, library, ids):
        assert library.resolve("Tuesday").name == ids[0]
        assert library.resolve(" TUESDAY EVENING ").name == ids[1]

    def test_a_name_goes_before_the_beginning_of_an_id(self, library, ids):
        assert library.resolve("ab").name == ids[4]

    def test_by_folder_anywhere(self, library, ids, tmp_path, monkeypatch):
        elsewhere = tmp_path / "elsewhere" / "one"
        write_recording(recording(9, name="far"), elsewhere)
        assert library.resolve(str(elsewhere)) == elsewhere
        monkeypatch.chdir(elsewhere.parent)
        assert library.resolve("one").resolve() == elsewhere
        assert library.resolve("./one").resolve() == elsewhere
        monkeypatch.chdir(elsewhere)
        assert library.resolve(".").resolve() == elsewhere

    def test_several_that_fit_are_listed(self, library, ids):
        with pytest.raises(SwingspreadError, match="fits 2 recordings") as caught:
            library.resolve("Pressure, second")
        assert all(one in str(caught.value) for one in ids[2:4])
        assert not any(one in str(caught.value) for one in ids[:2])

    def test_none_that_fits_says_what_there_is(self, library, ids):
        with pytest.raises(SwingspreadError, match="5 recordings") as caught:
            library.resolve("Tuesdya")
        assert "did you mean" in str(caught.value)
        assert "Tuesday" in str(caught.value)

    def test_an_empty_library_and_an_empty_word(self, tmp_path):
        with pytest.raises(SwingspreadError, match="is empty; import one first"):
            Library(tmp_path / "none").resolve("x")
        with pytest.raises(SwingspreadError, match="no recording named"):
            Library(tmp_path / "none").resolve("  ")

    @pytest.mark.parametrize("text", ["~nobody-of-that-name", "~nobody-of-that-name/x", "x" * 300])
    def test_a_text_that_can_be_no_folder_is_no_trouble(self, library, ids, text):
        with pytest.raises(SwingspreadError, match="no recording"):
            library.resolve(text)
        named, _ = library.add(recording(20, name=text[:100]))
        assert library.resolve(text[:100]) == named.folder

    def test_a_folder_without_a_recording(self, library, tmp_path):
        with pytest.raises(SwingspreadError, match="a folder, but no recording in it"):
            library.resolve(str(tmp_path))


def test_a_damaged_recording_is_listed_with_the_reason_and_hides_nothing(library):
    library.add(recording(1, name="good"))
    bad, _ = library.add(recording(2, name="bad"))
    (bad.folder / "recording.json").write_text("{")
    entries = library.entries()
    assert [entry.name for entry in entries] == ["good", ""]
    assert "not valid JSON" in entries[1].problem
    assert entries[1].id == bad.id
    with pytest.raises(SwingspreadError, match="not valid JSON"):
        library.read(bad.id)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() != 0, reason="only root may become another")
def test_a_folder_that_may_not_be_looked_into_is_listed_with_the_reason():
    listing = (
        "import os, sys; from imu.recordings.library import Library; os.setuid(65534)\n"
        "for entry in Library(sys.argv[1]).entries(): print(entry.name, entry.problem)"
    )
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        library = Library(place)
        library.add(recording(1, name="good"))
        shut, _ = library.add(recording(2, name="shut"))
        shut.folder.chmod(0)
        said = subprocess.run(
            [sys.executable, "-c", listing, place], capture_output=True, text=True, check=False
        )
    assert said.stderr == ""
    good, bad = said.stdout.splitlines()
    assert good.strip() == "good"
    assert "Permission denied" in bad and shut.id in bad


@pytest.mark.parametrize("endless", [float("inf"), 10**400], ids=["infinity", "beyond a float"])
@pytest.mark.parametrize("key", ["samples", "lost_samples", "duration_s"])
def test_a_recording_with_an_endless_number_is_listed_with_the_reason(library, key, endless):
    entry, _ = library.add(recording())
    document = json.loads((entry.folder / "recording.json").read_text())
    document["streams"]["club"][key] = endless
    (entry.folder / "recording.json").write_text(json.dumps(document))
    (listed,) = library.entries()
    assert "damaged" in listed.problem


def test_hidden_and_foreign_folders_are_not_listed(library):
    library.add(recording())
    (library.path / "photos").mkdir()
    (library.path / "readme.txt").write_text("x")
    write_recording(recording(3), library.path / ".half")
    assert len(library.entries()) == 1


def test_deleting_removes_every_trace(library):
    entry, _ = library.add(recording())
    update_notes(entry.folder, lambda notes: dataclasses.replace(notes, remarks="x"))
    library.delete(entry)
    assert list(library.path.iterdir()) == []
    with pytest.raises(SwingspreadError, match="already deleted"):
        library.delete(entry)


def test_what_could_not_be_deleted_is_named(library, monkeypatch):
    entry, _ = library.add(recording())
    real = os.unlink

    def refuse(path, *arguments, **options):
        if str(path).endswith("club.parquet"):
            raise PermissionError(13, "Permission denied", str(path))
        real(path, *arguments, **options)

    monkeypatch.setattr(os, "unlink", refuse)
    with pytest.raises(SwingspreadError, match=r"Permission denied: .*\.part\).*by hand"):
        library.delete(entry)
    assert library.entries() == []
    (left,) = library.path.glob(".*.part")
    assert (left / "club.parquet").is_file()


def test_a_disk_that_cannot_sync_folders_is_written_to_all_the_same(library, monkeypatch):
    real = os.fsync

    def no_folders(handle):
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")
        real(handle)

    monkeypatch.setattr(os, "fsync", no_folders)
    entry, is_new = library.add(recording())
    assert is_new
    update_notes(entry.folder, lambda notes: dataclasses.replace(notes, remarks="x"))
    assert read_notes(entry.folder).remarks == "x"


def test_only_what_is_in_the_library_is_deleted(library, tmp_path):
    write_recording(recording(), tmp_path / "mine")
    outside = library.find(str(tmp_path / "mine"))
    with pytest.raises(SwingspreadError, match="not in the library"):
        library.delete(outside)
    assert (tmp_path / "mine" / "recording.json").is_file()


def test_leftovers_of_a_killed_process_are_swept_a_day_later(library):
    library.path.mkdir()
    names = (".1-a.part", ".999999999-b.part", f".{os.getpid()}-c.part", f".{os.getpid()}-d.part")
    fresh, stale, being_written, ancient = (library.path / name for name in names)
    for folder in (fresh, stale, being_written, ancient):
        folder.mkdir()
        (folder / "club.parquet").write_bytes(b"half")
    for folder, age in (
        (stale, 2 * atomic.LEFTOVER_AGE_S),
        (being_written, 2 * atomic.LEFTOVER_AGE_S),
        (ancient, 2 * atomic.LEFTOVER_OLDEST_S),
    ):
        os.utime(folder, (time.time() - age,) * 2)
    library.add(recording())
    assert fresh.exists()
    assert not stale.exists()
    assert being_written.exists() or os.name == "nt"
    assert not ancient.exists()
    assert len(library.entries()) == 1


def _add_all(path, start):
    start.wait()
    library = Library(path)
    for number in range(12):
        library.add(recording(number, name=f"by {os.getpid()}"))


def test_two_processes_add_the_same_recordings_at_once(tmp_path):
    context = multiprocessing.get_context("fork" if os.name != "nt" else "spawn")
    start = context.Event()
    workers = [
        context.Process(target=_add_all, args=(tmp_path / "library", start)) for _ in range(2)
    ]
    for worker in workers:
        worker.start()
    start.set()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0
    library = Library(tmp_path / "library")
    entries = library.entries()
    assert len(entries) == 12
    assert not any(entry.problem for entry in entries)
    assert all(not path.name.startswith(".") for path in library.path.iterdir())
    for entry in entries:
        library.read(entry.id, verify=True)


def test_a_folder_that_cannot_be_written_is_said(tmp_path, monkeypatch):
    def refuse(*arguments, **options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(SwingspreadError, match="Permission denied"):
        Library(tmp_path / "library").add(recording())


class TestNotes:
    @pytest.fixture
    def folder(self, library):
        return library.add(recording(name="as recorded", block="practice"))[0].folder

    def test_are_empty_at_first(self, folder):
        assert read_notes(folder) == RecordingNotes()

    def test_come_back_as_written(self, folder):
        note = SwingNote(12_000_000, direction="left", outcome="bad", left_out="ball moved")
        written = update_notes(
            folder, lambda notes: dataclasses.replace(notes, remarks="windy").with_swing(note)
        )
        assert read_notes(folder) == written
        assert written.swings == (note,)

    def test_labels_change_what_is_listed_and_not_the_recording(self, folder, library):
        before = (folder / "recording.json").read_bytes()
        update_notes(folder, lambda notes: dataclasses.replace(notes, name="Renamed", block=""))
        assert (folder / "recording.json").read_bytes() == before
        (entry,) = library.entries()
        assert (entry.name, entry.manifest.block) == ("Renamed", "")
        read = library.read("Renamed", verify=True)
        assert read.manifest.name == "Renamed"

    def test_a_swing_is_known_by_its_impact(self):
        notes = RecordingNotes().with_swing(SwingNote(5_000_000, outcome="good"))
        notes = notes.with_swing(SwingNote(9_000_000, left_out="topped"))
        assert notes.find(5_200_000).outcome == "good"
        assert notes.find(6_000_000) is None
        replaced = notes.with_swing(SwingNote(5_000_300, outcome="bad"))
        assert [note.outcome for note in replaced.swings] == ["bad", ""]
        assert len(notes.with_swing(SwingNote(5_000_000)).swings) == 1
        assert notes.find(9_000_100.0).left_out == "topped"

    def test_an_unknown_result_is_refused(self):
        with pytest.raises(SwingspreadError, match="left, straight or right"):
            RecordingNotes().with_swing(SwingNote(1, direction="up"))

    def test_a_label_with_control_characters_is_refused_and_nothing_changes(self, folder):
        update_notes(folder, lambda notes: dataclasses.replace(notes, name="kept"))
        with pytest.raises(SwingspreadError, match="control characters"):
            update_notes(folder, lambda notes: dataclasses.replace(notes, name="a\x1b[2J"))
        assert read_notes(folder).name == "kept"

    @pytest.mark.parametrize(
        "text",
        [
            "{",
            "[]",
            "{}",
            '{"schema_version": "x"}',
            '{"schema_version": 1, "swings": 3}',
            '{"schema_version": 1, "swings": [{"impact_club_clock_us": "x"}]}',
            '{"schema_version": 1, "swings": [{"impact_club_clock_us": 1, "outcome": 3}]}',
            '{"schema_version": 1, "swings": [{"impact_club_clock_us": 1' + "0" * 400 + "}]}",
            '{"schema_version": 1, "name": 3}',
            '{"schema_version": 9}',
        ],
    )
    def test_damage_is_said_and_never_overwritten(self, folder, text):
        (folder / "notes.json").write_text(text)
        with pytest.raises(SwingspreadError, match=r"notes\.json"):
            read_notes(folder)
        with pytest.raises(SwingspreadError, match=r"notes\.json"):
            update_notes(folder, lambda notes: notes)
        assert (folder / "notes.json").read_text() == text

    def test_a_failed_write_leaves_the_old_notes(self, folder, monkeypatch):
        update_notes(folder, lambda notes: dataclasses.replace(notes, remarks="old"))
        names = sorted(path.name for path in folder.iterdir())

        def full(descriptor):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(SwingspreadError, match="as they were before"):
            update_notes(folder, lambda notes: dataclasses.replace(notes, remarks="new"))
        monkeypatch.undo()
        assert read_notes(folder).remarks == "old"
        assert sorted(path.name for path in folder.iterdir()) == names

    def test_notes_that_stand_are_not_called_unwritten(self, folder, monkeypatch):
        real = os.fsync

        def folders_fail(handle):
            if stat.S_ISDIR(os.fstat(handle).st_mode):
                raise OSError(errno.EIO, "Input/output error")
            real(handle)

        monkeypatch.setattr(os, "fsync", folders_fail)
        with pytest.raises(SwingspreadError, match="output error; the new content stands") as told:
            update_notes(folder, lambda notes: dataclasses.replace(notes, block="new"))
        assert "before" not in str(told.value)
        assert read_notes(folder).block == "new"

    def test_two_writers_lose_nothing(self, folder):
        context = multiprocessing.get_context("fork" if os.name != "nt" else "spawn")
        workers = [context.Process(target=_note, args=(folder, part)) for part in range(2)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join(60)
            assert worker.exitcode == 0
        assert len(read_notes(folder).swings) == 30


def _note(folder, part):
    for number in range(15):
        note = SwingNote((2 * number + part) * 10_000_000, outcome="good")
        update_notes(folder, lambda notes, note=note: notes.with_swing(note))

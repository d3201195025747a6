"""`swingspread delete`: nothing of what was asked for stays, and nothing else goes."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest
from random_recordings import random_recording

from app.cli import main
from imu.recorder.folder import JournalFolder, new_folder
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, update_notes
from imu.recordings.saved_sets import SavedSet, read_saved_sets, update_saved_sets
from imu.types import Club, Manifest, Player
from imu.variation.selection import Selection, SwingKey


def manifest(player: str, name: str) -> Manifest:
    return Manifest(Player(player), Club("7-iron", 0.94), name, block="practice")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A library with two recordings of Ada and one of Ben, notes, sets and journals."""
    library = Library(tmp_path / "library")
    for seed, (player, name) in enumerate([("Ada", "one"), ("Ada", "two"), ("Ben", "three")]):
        entry, _ = library.add(random_recording(manifest(player, name), seed))
        update_notes(entry.folder, lambda notes: notes.with_swing(SwingNote(1, left_out="cough")))
        finished = new_folder(tmp_path / "journals", manifest(player, name))
        finished.mark_finished(entry.id)
    new_folder(tmp_path / "journals", manifest("Ada", "never finished"))
    for name, selection in (
        ("ada", Selection(players=("Ada",))),
        ("both", Selection(players=("Ada", "Ben"))),
        ("seven", Selection(clubs=("7-iron",))),
    ):
        update_saved_sets(
            library.path, lambda saved, n=name, s=selection: saved.with_set(SavedSet(n, s))
        )
    return tmp_path


def delete(place: Path, *words: str) -> int:
    where = ["--library", str(place / "library"), "--journals", str(place / "journals")]
    return main(["delete", *words, *where])


def everything(place: Path) -> bytes:
    """All bytes and names kept, to look for traces in."""
    files = [file for file in place.rglob("*") if file.is_file()]
    names = "\n".join(str(file.relative_to(place)) for file in files).encode()
    return names + b"".join(file.read_bytes() for file in files)


def test_every_trace_of_a_player_goes(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    update_saved_sets(place / "library", lambda saved: saved.without_set("both"))
    assert delete(place, "player=Ada", "--yes") == 0
    said = capsys.readouterr().out
    assert said.count("recording  ") == 2
    assert said.count("journals   ") == 3
    assert "saved set  ada" in said
    assert b"Ada" not in everything(place)
    (left,) = Library(place / "library").entries()
    assert left.name == "three"
    assert set(read_saved_sets(place / "library").sets) == {"seven"}


def test_a_set_of_several_players_stays_for_the_others(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert delete(place, "player=Ada", "--yes") == 0
    sets = read_saved_sets(place / "library").sets
    assert set(sets) == {"both", "seven"}
    assert sets["both"].selection.players == ("Ben",)
    assert "named in   saved set both" in capsys.readouterr().out
    assert b"Ada" not in everything(place)


def test_a_set_that_can_hold_nothing_more_goes_rather_than_widens(place: Path) -> None:
    """Of two recordings one swing of one was picked: without it, the set would be all of the
    other."""
    ids = {entry.name: entry.id for entry in Library(place / "library").entries()}
    picked = Selection((ids["one"], ids["two"]), picked=(SwingKey(ids["one"], 1.0),))
    both = Selection((ids["one"], ids["two"]))
    update_saved_sets(
        place / "library",
        lambda saved: saved.with_set(SavedSet("best", picked)).with_set(SavedSet("two", both)),
    )
    assert delete(place, "one", "--yes") == 0
    sets = read_saved_sets(place / "library").sets
    assert "best" not in sets
    assert sets["two"].selection == Selection((ids["two"],))


def test_a_recording_outside_the_library_keeps_all_its_traces(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    entry = Library(place / "library").find("one")
    outside = place / "elsewhere" / "one"
    shutil.copytree(entry.folder, outside)
    before = everything(place)
    assert delete(place, str(outside), "--yes") == 1
    assert "nothing was deleted" in capsys.readouterr().err
    assert everything(place) == before


def test_what_killed_processes_and_the_page_left_goes_too(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    library = Library(place / "library")
    theirs = next(
        entry
        for entry in library.entries()
        if entry.manifest and entry.manifest.player.name == "Ada"
    )
    shutil.copytree(theirs.folder, place / "library" / ".77-leftover.part")
    other = next(
        entry
        for entry in library.entries()
        if entry.manifest and entry.manifest.player.name == "Ben"
    )
    shutil.copytree(other.folder, place / "library" / ".78-leftover.part")
    (place / "journals" / "last-start.log").write_text("kept as 12ab  one  Ada\n")
    assert delete(place, "player=ada", "--yes") == 0
    assert "leftover   last-start.log" in capsys.readouterr().out
    assert b"Ada" not in everything(place)
    assert (place / "library" / ".78-leftover.part").is_dir()


def test_one_recording_goes_with_its_notes_and_journals(place: Path) -> None:
    update_saved_sets(place / "library", lambda saved: saved.without_set("both"))
    assert delete(place, "three", "--yes") == 0
    assert b"Ben" not in everything(place)
    assert {entry.name for entry in Library(place / "library").entries()} == {"one", "two"}


def test_without_a_yes_nothing_goes(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = everything(place)
    assert delete(place, "player=Ada") == 1
    assert "add --yes" in capsys.readouterr().err
    assert everything(place) == before


@pytest.mark.parametrize(
    "words",
    ["nobody", "player=Nobody", "block=nowhere", "quality=poor", "player=Ada player=Bne"],
)
def test_what_is_not_there_is_said_and_nothing_goes(
    words: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = everything(place)
    assert delete(place, *words.split(), "--yes") == 1
    assert capsys.readouterr().err.startswith("swingspread: ")
    assert everything(place) == before


@pytest.mark.parametrize("words", ["player=Adda", "block=nowhere"])
def test_where_nothing_fits_it_is_said_who_is_there(
    words: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A misspelt player must not be taken for one of whom nothing is kept."""
    assert delete(place, words, "--yes") == 1
    assert "player: Ada, Ben" in capsys.readouterr().err


def test_a_recording_being_made_is_left_alone(place: Path) -> None:
    path = sorted(path for path in (place / "journals").iterdir() if path.is_dir())[0]
    with JournalFolder(path).hold():
        before = everything(place)
        assert delete(place, "player=Ada", "player=Ben", "--yes") == 1
        assert everything(place) == before


def test_everything_of_a_player_goes_into_one_archive(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The archive holds every byte that deletion would remove, and nothing of anybody else."""
    archive = place / "all.zip"
    where = ["--library", str(place / "library"), "--journals", str(place / "journals")]
    words = ["export", "player=Ada", "--everything", "--archive", str(archive)]
    assert main([*words, *where]) == 0
    with zipfile.ZipFile(archive) as packed:
        names = packed.namelist()
        content = {packed.read(name) for name in names}
    for entry in Library(place / "library").entries():
        assert entry.manifest is not None
        if entry.manifest.player.name == "Ada":
            for file in entry.folder.glob("[!.]*"):
                assert not file.is_file() or file.read_bytes() in content
        else:
            assert not any(entry.id[:8] in name for name in names)
    assert sum(name.startswith("journals/") and "session.json" in name for name in names) == 3
    assert "sets.json" in names
    assert any(name.endswith("no-tables.txt") for name in names)  # half a second holds no swing


def test_everything_can_be_written_into_the_same_folder_again(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--library", str(place / "library"), "--journals", str(place / "journals")]
    words = ["export", "player=Ada", "--everything", "--out", str(place / "all"), *where]
    assert main(words) == 0
    first = capsys.readouterr().out
    assert "session.json" in first and "sets.json" in first
    assert main(words) == 0
    assert capsys.readouterr().out == first


def test_everything_needs_no_format(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["export", "player=Ada", "--everything", "--as", "raw", "--out", str(place / "o")]
    assert main([*words, "--library", str(place / "library")]) == 1
    assert "leave out --as" in capsys.readouterr().err


def test_a_player_known_from_an_unfinished_recording_alone_is_named(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new_folder(place / "journals", Manifest(Player("Cleo"), Club("7-iron", 0.94)))
    assert delete(place, "player=Nobody") == 1
    assert "player, in unfinished recordings alone: Cleo\n" in capsys.readouterr().err

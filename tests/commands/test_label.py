"""`swingspread label`: recordings and players are called otherwise, and nothing else changes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from random_recordings import random_recording

from app.cli import main
from imu.recorder.folder import JournalFolder, new_folder
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes, SwingNote, read_notes, update_notes
from imu.recordings.saved_sets import SavedSet, read_saved_sets, update_saved_sets
from imu.recordings.store import MANIFEST_FILE, read_recording
from imu.types import Club, Manifest, Player
from imu.variation.selection import Selection


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Two recordings of Ada with her name misspelt, one spelt right, one of Ben, and one of the
    misspelt Ada never finished."""
    library = Library(tmp_path / "library")
    spelt = [("Ada Fairwy", "one"), ("ada fairwy", "two"), ("Ada Fairway", "three"), ("Ben", "b")]
    for seed, (player, name) in enumerate(spelt):
        facts = Manifest(Player(player, "left"), Club("7-iron", 0.94), name, block="practice")
        entry, _ = library.add(random_recording(facts, seed))
        update_notes(entry.folder, lambda notes: notes.with_swing(SwingNote(1, left_out="cough")))
    for name, players in (("hers", ("Ada Fairwy", "Ben")), ("his", ("Ben",))):
        one = SavedSet(name, Selection(players=players))
        update_saved_sets(library.path, lambda saved, one=one: saved.with_set(one))
    new_folder(tmp_path / "journals", Manifest(Player("Ada Fairwy"), Club("7-iron", 0.94)))
    return tmp_path


def label(place: Path, *words: str) -> int:
    where = ["--library", str(place / "library"), "--journals", str(place / "journals")]
    return main(["label", *words, *where])


def players(place: Path) -> dict[str, str]:
    entries = Library(place / "library").entries()
    return {entry.name: entry.manifest.player.name for entry in entries if entry.manifest}


def test_a_player_is_renamed_everywhere_and_only_there(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert label(place, "player=Ada Fairwy", "--player", "Ada Fairway") == 0
    her = "Ada Fairway"
    assert players(place) == {"one": her, "two": her, "three": her, "b": "Ben"}
    sets = read_saved_sets(place / "library").sets
    assert sets["hers"].selection.players == (her, "Ben")
    assert sets["his"].selection.players == ("Ben",)
    (folder,) = (place / "journals").iterdir()
    assert read_notes(folder).player == her
    said = capsys.readouterr().out
    assert "saved set  hers" in said and "1 recording had this player's name already" in said
    entry = Library(place / "library").find("one")
    assert read_notes(entry.folder).find(1).left_out == "cough"
    assert Library(place / "library").read("one").manifest.player == Player(her, "left")


def test_the_recording_itself_stays_as_it_was_and_the_label_can_be_taken_back(place: Path) -> None:
    entry = Library(place / "library").find("one")
    before = (entry.folder / MANIFEST_FILE).read_bytes()
    words = ["--player", "Ada Fairway", "--block", "pressure", "--session", "may", "--name", "x"]
    assert label(place, "one", *words) == 0
    assert (entry.folder / MANIFEST_FILE).read_bytes() == before
    read_recording(entry.folder, verify=True)
    labelled = Library(place / "library").find("x").manifest
    assert labelled is not None
    assert (labelled.block, labelled.session) == ("pressure", "may")
    assert players(place)["two"] == "ada fairwy"
    assert label(place, "x", "--as-recorded") == 0
    assert players(place)["one"] == "Ada Fairwy"
    assert read_notes(entry.folder).swings[0].left_out == "cough"


def test_a_saved_set_keeps_a_name_that_others_still_have(place: Path) -> None:
    assert label(place, "one", "--player", "Ada Fairway") == 0
    assert read_saved_sets(place / "library").sets["hers"].selection.players[0] == "Ada Fairwy"


def test_all_of_a_renamed_player_is_deleted_by_the_new_name(place: Path) -> None:
    assert label(place, "player=Ada Fairwy", "--player", "Ida") == 0
    where = ["--library", str(place / "library"), "--journals", str(place / "journals")]
    assert main(["delete", "player=Ida", "--yes", *where]) == 0
    assert sorted(players(place)) == ["b", "three"]
    assert list((place / "journals").iterdir()) == []


def test_a_renamed_players_unfinished_recording_is_finished_under_the_new_name(
    place: Path,
) -> None:
    assert label(place, "player=Ada Fairwy", "--player", "Ida") == 0
    (path,) = (place / "journals").iterdir()
    folder = JournalFolder(path)
    assert read_notes(path).label(folder.manifest()).player.name == "Ida"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["one"], "say what to call it"),
        (["one", "--as-recorded", "--block", "x"], "say what to call it"),
        (["nothing", "--block", "x"], "nothing"),
        (["player=Nobody", "--player", "Ida"], "fits player=Nobody"),
        (["player=Nobody", "--player", "Ida"], "player: "),
        (["player=Ada Fairwy", "player=Bne", "--player", "Ida"], "fits player=Bne"),
        (["one", "--player", "a\nb"], "player"),
        (["one", "--player", "a" * 500], "player"),
    ],
)
def test_a_mistake_is_said_and_changes_nothing(
    place: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = players(place)
    assert label(place, *words) == 1
    said = capsys.readouterr().err
    assert says in said and "Traceback" not in said
    assert players(place) == before


def test_notes_with_a_players_name_are_not_read_by_programs_that_would_lose_it(
    tmp_path: Path,
) -> None:
    update_notes(tmp_path, lambda notes: notes)
    assert json.loads((tmp_path / "notes.json").read_text())["schema_version"] == 1
    update_notes(tmp_path, lambda notes: RecordingNotes(player="Ida"))
    assert json.loads((tmp_path / "notes.json").read_text())["schema_version"] == 2


def test_remarks_stand_beside_the_notes_and_stay_when_labels_are_taken_back(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    facts = Manifest(Player("Cy"), Club("7-iron", 0.94), "noted", notes="damp mat")
    entry, _ = Library(place / "library").add(random_recording(facts, 9))
    assert label(place, "noted", "--remarks", "wind from the left") == 0
    assert label(place, "noted", "--as-recorded") == 0
    assert read_recording(entry.folder).manifest.notes == "damp mat"
    capsys.readouterr()
    where = ["--library", str(place / "library")]
    assert main(["list", "wind", "damp", "--json", *where]) == 0
    (found,) = json.loads(capsys.readouterr().out)
    assert (found["name"], found["notes"]) == ("noted", "damp mat; wind from the left")
    assert main(["list", "noted", *where]) == 0
    assert "damp mat; wind from the left" in capsys.readouterr().out
    assert label(place, "noted", "--remarks", "") == 0
    assert Library(place / "library").read("noted").manifest.notes == "damp mat"


def test_remarks_that_a_terminal_cannot_show_are_refused(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert label(place, "one", "--remarks", "a\nb") == 1
    assert "remarks: take out line breaks" in capsys.readouterr().err


def test_a_player_known_from_an_unfinished_recording_alone_is_named(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new_folder(place / "journals", Manifest(Player("Cleo"), Club("7-iron", 0.94)))
    assert label(place, "player=Nobody", "--player", "X") == 1
    assert "player, in unfinished recordings alone: Cleo\n" in capsys.readouterr().err

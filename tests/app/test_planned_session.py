"""What followed a plan is found again: the session to record next, and the blocks to compare."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from kept_library import add_analysed

from app.cli import main
from app.comparing import Comparer, side_name, usual_pair
from app.planned_session import (
    blocks_recorded,
    compare_words,
    next_session,
    plan_at_hand,
    planned_sides,
    session_to_follow,
)
from app.preferences import Preferences
from app.saved_sets import block_options, block_token, options, selection_of
from app.shelf import LibraryShelf
from app.store import Store
from app.swing_sets import swing_set
from imu.errors import SwingspreadError
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import SwingNote, update_notes
from imu.recordings.saved_sets import SavedPlan, update_saved_sets
from imu.types import Club, Manifest, Player
from imu.variation.blocks import BlockMark
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan

SWINGS = 9
"""Struck balls in every recording, 15 s apart; the last lies in no block."""


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A kept plan of three sessions; nothing recorded."""
    library = Library(tmp_path / "library")
    limits = Limits(sd_ratio=1.8, set_at="2026-04-01T09:00:00+02:00")
    plan = alternating_plan(
        limits, swings_per_set=12, most_per_block=3, most_per_session=12
    ).as_dict()
    update_saved_sets(
        library.path, lambda saved: saved.with_plan(SavedPlan("april-test", limits, plan))
    )
    return library


def impacts(entry: LibraryEntry) -> list[float]:
    swings = swing_set(str(entry.folder.parent), entry.id, with_curves=False).swings
    return sorted(swings["impact_club_clock_us"].astype(float))


def record(library: Library, session: int, day: str) -> LibraryEntry:
    """A recording that followed a session of the plan: two swings a block, one in none."""
    facts = Manifest(Player("Ada"), Club("7-iron", 0.94), f"day {session}", recorded_at=day)
    entry = add_analysed(library, facts, session)
    plan = session_to_follow(library.path, [], "april-test", session)
    moments = impacts(entry)
    marks = tuple(
        BlockMark(block.number, round(moments[2 * place]) - 1, round(moments[2 * place + 1]) + 1)
        for place, block in enumerate(plan.blocks[: len(moments) // 2])
    )
    update_notes(entry.folder, lambda notes: replace(notes, plan=replace(plan, marks=marks)))
    return library.find(entry.id)


def test_the_next_session_is_the_first_not_recorded(library: Library) -> None:
    plan = library.path
    assert session_to_follow(plan, library.entries(), "april-test", None).session == 1
    record(library, 1, "2026-04-02")
    followed = session_to_follow(plan, library.entries(), "april-test", None)
    assert followed.session == 2 and {block.session for block in followed.blocks} == {2}
    assert blocks_recorded("april-test", library.entries()) == {1, 2, 3, 4}
    record(library, 2, "2026-04-03")
    with pytest.raises(SwingspreadError, match="all its 2 sessions are recorded"):
        session_to_follow(plan, library.entries(), "april-test", None)
    assert session_to_follow(plan, library.entries(), "april-test", 1).session == 1
    with pytest.raises(SwingspreadError, match="2 sessions, no session 5"):
        session_to_follow(plan, library.entries(), "april-test", 5)


def test_a_recording_in_which_no_block_was_begun_counts_as_none(library: Library) -> None:
    entry = record(library, 1, "2026-04-02")
    update_notes(entry.folder, lambda notes: replace(notes, plan=replace(notes.plan, marks=())))
    assert next_session(SavedPlan("april-test", Limits(), _layout(library)), library.entries()) == 1


def _layout(library: Library) -> dict[str, object]:
    from imu.recordings.saved_sets import read_saved_sets

    return dict(read_saved_sets(library.path).find_plan("april-test").layout)


def test_block_selections_take_the_swings_of_those_blocks(library: Library) -> None:
    entry = record(library, 1, "2026-04-02")
    practice = swing_set(str(library.path), "block=practice", with_curves=False)
    pressure = swing_set(str(library.path), "block=pressure", with_curves=False)
    between = swing_set(str(library.path), f"recording={entry.id}", with_curves=False)
    held = {one for part in (practice, pressure) for one in part.swings["swing"]}
    assert len(practice) == len(pressure) == 4
    labels = dict(zip(between.swings["swing"], between.swings["block"], strict=True))
    assert {labels[number] for number in set(labels) - held} <= {"between blocks"}
    assert set(practice.values("block")) == {"practice"}


def test_the_quick_way_labels_alike(library: Library) -> None:
    record(library, 1, "2026-04-02")
    facts = Manifest(Player("Ben"), Club("7-iron", 0.94), "plain", block="practice")
    add_analysed(library, facts, 9)
    for text in ("block=practice", "block=pressure", "player=Ada|Ben"):
        plain = swing_set(str(library.path), text, with_curves=False)
        quick = swing_set(str(library.path), text, metrics=["tempo_ratio"])
        columns = ["recording_id", "swing", "block", "tempo_ratio"]
        pd.testing.assert_frame_equal(
            quick.swings[columns], plain.swings[columns], check_dtype=False
        )


def test_sessions_of_a_plan_are_compared_together(library: Library) -> None:
    assert planned_sides("april-test", library.entries()) is None
    ids = [record(library, n, f"2026-04-0{n + 1}").id for n in (1, 2)]
    both = planned_sides("april-test", library.entries())
    assert both is not None
    for text, label in zip(both, ("practice", "pressure"), strict=True):
        found = swing_set(str(library.path), text, with_curves=False)
        assert set(found.values("recording_id")) == set(ids)
        assert found.values("block") == [label] and len(found) == 8
    words = compare_words("april-test", library)
    assert "swingspread compare" in words and "--plan april-test" in words


def test_the_command_compares_blocks_and_offers_the_limits(
    library: Library, capsys: pytest.CaptureFixture[str]
) -> None:
    record(library, 1, "2026-04-02")
    where = ["--library", str(library.path), "--no-curves"]
    assert main(["compare", "block=practice", "block=pressure", *where]) == 0
    said = capsys.readouterr().out
    assert "(4 swings) against" in said
    assert "followed the plan april-test: --plan applies" in said
    with_plan = ["--plan", "april-test"]
    assert main(["compare", "block=practice", "block=pressure", *where, *with_plan]) == 0
    said = capsys.readouterr().out
    assert "spread up to 1.8 times" in said and "followed the plan" not in said


def test_the_tables_handed_out_name_the_block_of_each_swing(
    library: Library, tmp_path: Path
) -> None:
    entry = record(library, 1, "2026-04-02")
    out = tmp_path / "out"
    assert main(["export", entry.id, "--library", str(library.path), "--out", str(out)]) == 0
    table = pd.read_csv(next(out.glob("swings.csv")), comment="#")
    assert set(table["block"]) <= {"practice", "pressure", "between blocks"}
    assert (table["block"] == "practice").sum() == 4
    meanings = pd.read_csv(out / "columns.csv", comment="#")
    (said,) = meanings[meanings["column"] == "block"].to_dict("records")
    assert said["meaning"] == "Block label."


def test_one_label_for_several_blocks_is_refused(
    library: Library, capsys: pytest.CaptureFixture[str]
) -> None:
    entry = record(library, 1, "2026-04-02")
    where = ["--library", str(library.path), "--journals", str(library.path)]
    assert main(["label", entry.id, "--block", "pressure", *where]) == 1
    assert "labelled one by one" in capsys.readouterr().err
    assert main(["label", entry.id, "--session", "windy", *where]) == 0
    assert library.find(entry.id).blocks == ("practice", "pressure")


@pytest.fixture
def store(library: Library) -> Store:
    return Store(LibraryShelf(library), Preferences())


def test_the_pages_find_the_blocks(library: Library, store: Store) -> None:
    entry = record(library, 1, "2026-04-02")
    pair = usual_pair(store.entries())
    assert pair == tuple(block_token([entry.id], label) for label in ("practice", "pressure"))
    first, second = store.tokens(pair)
    swings = store.swing_set([first]).swings
    assert list(swings["block"].unique()) == ["practice"] and len(swings) == 4
    assert side_name(store, [first], [second]) == "practice"
    comparison, a, b = Comparer(store).compare([first], [second], Limits())
    assert (len(a), len(b)) == (4, 4)
    assert comparison.design == "same session"
    labels = [item["label"] for item in block_options(store.entries())]
    assert labels == [f"{label} · Ada · 7-iron · 2026-04-02" for label in ("practice", "pressure")]
    assert [group["group"] for group in options(str(library.path), store.entries())] == [
        "Blocks",
        "Recordings",
    ]
    assert plan_at_hand(library.path, store.entries()) == "april-test"


def test_several_sessions_are_offered_together(library: Library, store: Store) -> None:
    for number in (1, 2):
        record(library, number, f"2026-04-0{number + 1}")
    items = block_options(store.entries())
    assert [item["label"] for item in items[:2]] == [
        "practice · april-test, 2 sessions",
        "pressure · april-test, 2 sessions",
    ]
    selection = selection_of(str(library.path), items[0]["value"])
    assert selection is not None and len(selection.recordings) == 2


def test_swings_left_out_stay_left_out_in_their_block(library: Library, store: Store) -> None:
    entry = record(library, 1, "2026-04-02")
    token = block_token([entry.id], "practice")
    first = store.swing_set([token]).swings.iloc[0]
    note = SwingNote(round(first["impact_club_clock_us"]), left_out="mishit")
    update_notes(entry.folder, lambda notes: notes.with_swing(note))
    shown = store.swing_set([token])
    assert len(shown.swings) == 4 and len(shown.counted().swings) == 3
    table = store.session_swings(store.entries())
    assert set(table["block"]) <= {"practice", "pressure", "between blocks"}

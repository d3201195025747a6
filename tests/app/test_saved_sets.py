"""Saved sets on the pages: what is kept is what was shown, and comes back as those swings."""

from __future__ import annotations

import contextlib
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from invented_swings import invented_analysis

from app import comparing
from app.comparing import Comparer, side_name
from app.preferences import Preferences
from app.saved_sets import (
    in_words,
    keep_set,
    kept_sets,
    options,
    remove_set,
    selection_shown,
    set_in,
    token_of,
)
from app.shelf import Entry
from app.store import Store
from imu.errors import SwingspreadError
from imu.recordings.notes import RecordingNotes
from imu.types import Analysis, Club, Manifest, Player
from imu.variation.limits import Limits

BLOCKS = ("practice", "pressure")


def invented(count: int, seed: int) -> Analysis:
    return invented_analysis(count, seed, rate_hz=100.0)


class TwoBlocks:
    """A shelf with a practice and a pressure block, and notes held in memory."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.analyses = {f"{seed:064x}": invented(12, seed) for seed in (3, 4)}
        player, club = Player("Ida Falk"), Club("driver", 1.12)
        self.listed = [
            Entry(one, Manifest(player, club, block, session="spring", block=block), 200.0)
            for one, block in zip(self.analyses, BLOCKS, strict=True)
        ]
        self.noted = {one: RecordingNotes() for one in self.analyses}

    def entries(self) -> list[Entry]:
        return self.listed

    def cached(self, recording_id: str, settings: Any) -> Analysis:
        return self.analyses[recording_id]

    def notes(self, recording_id: str) -> RecordingNotes:
        return self.noted[recording_id]

    def change_notes(self, recording_id: str, change: Any) -> None:
        self.noted[recording_id] = change(self.noted[recording_id])

    def place(self) -> str:
        return str(self.folder)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(TwoBlocks(tmp_path), Preferences())  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["spring", "best, ever", "a~b", "~1,~0", "set:set"])
def test_a_name_survives_the_address(name: str) -> None:
    assert "," not in token_of(name)
    assert set_in(token_of(name)) == name
    assert set_in("00ff") == ""


def test_ticked_swings_come_back_and_no_others(store: Store) -> None:
    practice = store.entries()[0].id
    shown = store.swing_set([practice]).swings
    wanted = selection_shown([practice], "ball", shown, ["3", "5", "8"], store.shelf.place())
    name = keep_set(store.shelf.place(), "best, ever", wanted)
    assert in_words(wanted, store.entries()) == "3 swings chosen by hand"
    back = store.swing_set([token_of(name)])
    assert back.swings["swing"].tolist() == [3, 5, 8]
    assert len(back.parts) == 1 and sorted(back.parts[0][1]["swing"]) == [3, 5, 8]
    groups = options(store.shelf.place(), store.entries())
    assert [one["group"] for one in groups] == ["Saved sets", "Recordings"]
    remove_set(store.shelf.place(), name)
    assert not kept_sets(store.shelf.place()).sets
    with pytest.raises(SwingspreadError, match="no saved set"):
        store.swing_set([token_of(name)])


def test_a_whole_recording_is_kept_as_such_and_a_name_once(store: Store) -> None:
    practice = store.entries()[0].id
    shown = store.swing_set([practice]).swings
    wanted = selection_shown([practice], "ball", shown, [], store.shelf.place())
    assert wanted.recordings == (practice,) and not wanted.picked
    keep_set(store.shelf.place(), "spring", wanted)
    with pytest.raises(SwingspreadError, match="kept already"):
        keep_set(store.shelf.place(), "spring", wanted)
    for bad in ("", "a=b"):
        with pytest.raises(SwingspreadError):
            keep_set(store.shelf.place(), bad, wanted)


def test_two_sets_of_one_recording_are_compared_unless_they_share_a_swing(store: Store) -> None:
    practice = store.entries()[0].id
    shown, place = store.swing_set([practice]).swings, store.shelf.place()
    keys = [str(key) for key in range(1, 13)]
    for name, ticked in (("first", keys[:6]), ("last", keys[6:]), ("middle", keys[3:9])):
        keep_set(place, name, selection_shown([practice], "ball", shown, ticked, place))
    comparer = Comparer(store)
    _, a, b = comparer.compare([token_of("first")], [token_of("last")], Limits())
    assert (a.name, b.name) == ("first", "last") and len(a) == len(b) == 6
    with pytest.raises(SwingspreadError, match="in both"):
        comparer.compare([token_of("first")], [token_of("middle")], Limits())
    assert side_name(store, [practice], [store.entries()[1].id]) == "practice"


def test_parts_of_a_page_that_ask_at_once_have_a_comparison_worked_out_once(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    ids = [[entry.id] for entry in store.entries()]
    comparer, met = Comparer(store), threading.Barrier(2)
    real, worked_out = comparing.compare_sets, []

    def compare_sets(*asked: Any) -> Any:
        worked_out.append(asked)
        with contextlib.suppress(threading.BrokenBarrierError):
            met.wait(0.3)  # for another who works it out too
        return real(*asked)

    monkeypatch.setattr(comparing, "compare_sets", compare_sets)
    with ThreadPoolExecutor(2) as parts:
        asked = [parts.submit(comparer.compare, *ids, Limits()) for _ in range(2)]
        first, second = (one.result() for one in asked)
    assert first is second and len(worked_out) == 1


def test_several_swings_are_left_out_at_once_and_counted_again(store: Store) -> None:
    ids = [entry.id for entry in store.entries()]
    shown = store.swing_set(ids)
    assert store.leave_out(shown, ["2", "5", "10003"], "mishit") == 3
    left = store.swing_set(ids)
    out = left.swings[left.swings["left_out"] == "mishit"]
    assert out["key"].tolist() == [2, 5, 10003]
    assert len(left.counted().swings) == len(shown.counted().swings) - 3
    store.leave_out(shown, ["5"], "")
    assert store.swing_set(ids).swings["left_out"].tolist().count("mishit") == 2
    with pytest.raises(SwingspreadError):
        store.leave_out(shown, [], "mishit")


def test_the_same_shot_result_stays_when_a_swing_is_left_out(store: Store) -> None:
    practice = store.entries()[0].id
    store.note_swing(practice, 4, outcome="bad")
    store.leave_out(store.swing_set([practice]), ["4"], "interrupted")
    row = store.swing_set([practice]).swings.set_index("swing").loc[4]
    assert (row["outcome"], row["left_out"]) == ("bad", "interrupted")

"""Saved sets and selections among recordings: the pages name each by one word in the address."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from app.shelf import Entry
from imu.errors import SwingspreadError
from imu.recordings.saved_sets import (
    SavedSet,
    SavedSets,
    check_set_name,
    read_saved_sets,
    update_saved_sets,
)
from imu.variation.selection import Selection, SwingKey, may_hold
from imu.variation.selection_words import is_selection, parse_selection, write_selection
from imu.variation.sets import SwingSet as PooledSet
from imu.variation.sets import select

PREFIX = "set:"
KINDS = {"ball": ("ball",), "practice": ("practice",), "every": ("ball", "practice")}


def token_of(name: str) -> str:
    """The word that stands for a saved set, or for a selection in one line, which no set can be
    called; recordings stand for themselves by their id."""
    return PREFIX + name.replace("~", "~0").replace(",", "~1")


def set_in(token: str) -> str:
    """Name of the set, or the selection in one line, that a word stands for; "" when it stands
    for a recording."""
    if not token.startswith(PREFIX):
        return ""
    return token[len(PREFIX) :].replace("~1", ",").replace("~0", "~")


def kept_sets(place: str) -> SavedSets:
    """The sets of the library at ``place``; none where the file cannot be read."""
    try:
        return read_saved_sets(Path(place))
    except SwingspreadError:
        return SavedSets()


def selection_of(place: str, token: str) -> Selection | None:
    """What a word asks for; None when it stands for a recording.

    Raises SwingspreadError when there is no such set, or the selection cannot be read.
    """
    name = set_in(token)
    if not name:
        return None
    if is_selection(name):
        return parse_selection(name)
    return read_saved_sets(Path(place)).find_set(name).selection


def shown_name(token: str) -> str:
    """What a word's swings are called: the set's name, or the blocks selected; "" for a
    recording."""
    name = set_in(token)
    if not is_selection(name):
        return name
    return " + ".join(parse_selection(name).blocks) or name


def block_token(ids: Sequence[str], label: str) -> str:
    """The word for the swings of one kind of block in these recordings."""
    return token_of(write_selection(Selection(tuple(ids), blocks=(label,))))


def options(place: str, entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """Choices of saved sets, blocks of planned recordings, and recordings; in groups when there
    is more than recordings."""
    recordings = [{"value": e.id, "label": e.label} for e in entries if not e.problem]
    sets = [{"value": token_of(name), "label": name} for name in kept_sets(place).sets]
    groups = [("Saved sets", sets), ("Blocks", block_options(entries)), ("Recordings", recordings)]
    there = [{"group": name, "items": items} for name, items in groups if items]
    return there if len(there) > 1 else recordings


def block_options(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """Every kind of block of the recordings that followed a plan: of all its sessions together
    where there are several, and of each."""
    planned = [entry for entry in entries if not entry.problem and entry.blocks]
    found = []
    for name in dict.fromkeys(entry.plan.name for entry in planned if entry.plan):
        held = [entry for entry in planned if entry.plan and entry.plan.name == name]
        if len(held) > 1:
            for label in dict.fromkeys(label for entry in reversed(held) for label in entry.blocks):
                words = f"{label} · {name}, {len(held)} sessions"
                found.append(
                    {"value": block_token([entry.id for entry in held], label), "label": words}
                )
        for entry in held:
            for label in entry.blocks:
                parts = (label, entry.player, entry.club, entry.day)
                words = " · ".join(part for part in parts if part)
                found.append({"value": block_token([entry.id], label), "label": words})
    return found


def fitting(selection: Selection, entries: Sequence[Entry], name: str) -> list[Entry]:
    """Recordings that can hold swings of the set. Raises SwingspreadError when none can."""
    found = [
        entry
        for entry in entries
        if not entry.problem and may_hold(selection, entry.manifest, entry.id, entry.blocks)
    ]
    if not found:
        raise SwingspreadError(f"No recording in this library fits the set {name}.")
    return found


def chosen_rows(swings: pd.DataFrame, selection: Selection, name: str) -> pd.Series:
    """For each row why it is left out of the set, "" when it counts, missing when it is not in
    the set. Raises SwingspreadError when the set asks for what is not there."""
    if selection.kinds == ("ball",) and not (swings["kind"] == "ball").any():
        selection = replace(selection, kinds=("practice",))
    chosen = select(PooledSet("all", swings), selection, name)
    said = pd.Series(None, index=swings.index, dtype=object)
    pairs = pd.MultiIndex.from_frame(swings[["recording_id", "swing"]])
    inside = pd.MultiIndex.from_frame(chosen.swings[["recording_id", "swing"]])
    said[pairs.isin(inside)] = ""
    for row in chosen.left_out.to_dict("records"):
        said[pairs.get_loc((row["recording_id"], row["swing"]))] = row["reason"]
    return said


def selection_shown(
    tokens: Sequence[str], kind: str, swings: pd.DataFrame, ticked: Sequence[str], place: str
) -> Selection:
    """What to keep under a name: the swings ticked, else everything shown.

    swings : the table shown, with ``key``. Raises SwingspreadError for nothing.
    """
    if ticked or (len(tokens) > 1 and any(set_in(token) for token in tokens)):
        rows = swings[swings["key"].astype(str).isin(ticked)] if ticked else swings
        timed = rows[rows["impact_club_clock_us"].notna()]
        if not len(timed):
            raise SwingspreadError("None of these swings has an impact to know it by.")
        return Selection(
            picked=tuple(
                SwingKey(str(recording), float(impact))
                for recording, impact in zip(
                    timed["recording_id"], timed["impact_club_clock_us"], strict=True
                )
            )
        )
    if len(tokens) == 1 and (selection := selection_of(place, tokens[0])) is not None:
        return selection
    return Selection(recordings=tuple(tokens), kinds=KINDS.get(kind, ("ball",)))


def keep_set(place: str, name: str, selection: Selection) -> str:
    """Keep the selection under a name; the name as kept. Raises SwingspreadError for a name that
    cannot be, or is taken: a set that changes unseen would be worth little."""
    label = check_set_name(name or "")
    now = datetime.datetime.now().astimezone().isoformat(timespec="seconds")

    def add(saved: SavedSets) -> SavedSets:
        if label in saved.sets:
            raise SwingspreadError(f"A set {label} is kept already. Remove it, or choose another.")
        return saved.with_set(SavedSet(label, selection, now))

    update_saved_sets(Path(place), add)
    return label


def remove_set(place: str, name: str) -> None:
    """Forget a set; its swings stay. Raises SwingspreadError when there is none of that name."""
    update_saved_sets(Path(place), lambda saved: saved.without_set(name))


def in_words(selection: Selection, entries: Sequence[Entry]) -> str:
    """The selection in a few words, recordings by their label."""
    if selection.picked:
        count = len(selection.picked)
        return f"{count} swing{'s' * (count != 1)} chosen by hand"
    if selection.recordings:
        labels = {entry.id: entry.label for entry in entries}
        return " + ".join(labels.get(one, one) for one in selection.recordings)
    return write_selection(selection) or "all swings"

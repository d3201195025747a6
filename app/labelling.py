"""Calling recordings otherwise than when they were made: a player, a session, a block, a name.

Labels are noted beside a recording, which itself never changes, so that any of them can be taken
back. A player whose last recording is called otherwise is renamed in the saved sets too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from app.deletion import whole_recordings
from app.known_labels import unfinished, with_known_labels
from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recorder.folder import JournalFolder
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.names import clean_label
from imu.recordings.notes import LABELS, RecordingNotes, update_notes
from imu.recordings.saved_sets import SavedSets, read_saved_sets, update_saved_sets
from imu.variation.selection import Selection
from imu.variation.selection_words import is_selection, parse_selection


@dataclass(frozen=True)
class Labelled:
    """What was called otherwise.

    entries : recordings, as they are labelled now. unfinished : recordings not in the library
    yet. sets : saved sets that asked for a player by the old name. joined : how many recordings
    had the player's new name already.
    """

    entries: tuple[LibraryEntry, ...]
    unfinished: tuple[JournalFolder, ...] = ()
    sets: tuple[str, ...] = ()
    joined: int = 0

    def lines(self) -> list[str]:
        """One line a thing, for people."""
        lines = [f"recording  {entry.line()}" for entry in self.entries]
        lines += [f"unfinished {folder.name}" for folder in self.unfinished]
        lines += [f"saved set  {name}" for name in self.sets]
        if self.joined:
            there = counted(self.joined, "recording")
            lines.append(f"{there} had this player's name already: they are one now")
        return lines


def label(
    library: Library, texts: Sequence[str], labels: Mapping[str, str | None], journals: Path
) -> Labelled:
    """Give recordings, or all that a selection fits, other labels or remarks.

    texts : recordings or selections. labels : by name, of `LABELS`, None for as recorded; or
    remarks.
    journals : where recordings not finished yet are looked for when a player is renamed.
    Raises SwingspreadError when a text names nothing, a label cannot be, or the disk refuses;
    doing it again then finishes it.
    """
    wanted: dict[str, Any] = {
        key: None if value is None else clean_label(value, key) for key, value in labels.items()
    }
    known = (*LABELS, "remarks")
    if not wanted or set(wanted) - set(known):
        raise SwingspreadError(f"say what to call it: {', '.join(known)}")
    chosen, not_finished = _chosen(library, texts, journals)
    _check_blocks(chosen, wanted.get("block"))
    old = {entry.manifest.player.name for entry in chosen if entry.manifest}
    new = wanted.get("player")
    joined = 0 if new is None else _named(library, new, but=chosen)

    def change(notes: RecordingNotes) -> RecordingNotes:
        return replace(notes, **wanted)

    for place in (*(entry.folder for entry in chosen), *(folder.path for folder in not_finished)):
        update_notes(place, change)
    sets: tuple[str, ...] = ()
    if new:
        gone = {name.casefold() for name in old if name and not _named(library, name)}
        sets = _rename_in_sets(library.path, gone - {new.casefold()}, new)
    now = tuple(library.find(entry.id) for entry in chosen)
    return Labelled(now, tuple(not_finished), sets, joined)


def _check_blocks(entries: Sequence[LibraryEntry], block: str | None) -> None:
    """Raises SwingspreadError when one block's label is given to a recording that has several."""
    for entry in entries:
        if entry.blocks and entry.manifest and block not in (None, entry.manifest.block):
            raise SwingspreadError(
                f"{entry.name or entry.id}: its blocks were labelled one by one as it followed a "
                "plan; leave its block as it is"
            )


def _chosen(
    library: Library, texts: Sequence[str], journals: Path
) -> tuple[list[LibraryEntry], list[JournalFolder]]:
    entries: dict[str, LibraryEntry] = {}
    not_finished: dict[Path, JournalFolder] = {}
    for text in texts:
        if not is_selection(text):
            entry = library.find(text)
            entries[entry.id] = entry
            continue
        selection = parse_selection(text)
        fitting = whole_recordings(library, selection)
        entries |= {entry.id: entry for entry in fitting}
        begun: list[JournalFolder] = []
        if selection == Selection(players=selection.players):
            asked = {one.casefold() for one in selection.players}
            begun = [folder for folder, name in unfinished(journals) if name.casefold() in asked]
        not_finished |= {folder.path: folder for folder in begun}
        if not fitting and not begun:
            said = f"no recording in {library.path} fits {text}"
            raise SwingspreadError(with_known_labels(said, library.entries(), journals))
    return list(entries.values()), list(not_finished.values())


def _named(library: Library, player: str, but: Sequence[LibraryEntry] = ()) -> int:
    """How many recordings have this player's name, beside those of ``but``."""
    ids = {entry.id for entry in but}
    return sum(
        entry.manifest.player.name.casefold() == player.casefold()
        for entry in library.entries()
        if entry.manifest is not None and entry.id not in ids
    )


def _rename_in_sets(library: Path, gone: set[str], new: str) -> tuple[str, ...]:
    """Saved sets that ask for a player of these names ask for the new name; which they are."""
    touched = [
        name
        for name, one in read_saved_sets(library).sets.items()
        if gone & {player.casefold() for player in one.selection.players}
    ]

    def change(saved: SavedSets) -> SavedSets:
        for name in touched:
            if name in saved.sets:
                one = saved.sets[name]
                players = [
                    new if player.casefold() in gone else player for player in one.selection.players
                ]
                asked = replace(one.selection, players=tuple(dict.fromkeys(players)))
                saved = saved.with_set(replace(one, selection=asked))
        return saved

    if touched:
        update_saved_sets(library, change)
    return tuple(touched)

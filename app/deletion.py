"""What is kept of recordings and players, and its removal for good."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder, all_folders
from imu.recordings.library import Library, LibraryEntry
from imu.recordings.saved_sets import SavedSets, read_saved_sets, update_saved_sets
from imu.variation.selection import Selection, may_hold
from imu.variation.selection_words import is_selection, parse_selection

WHOLE_RECORDINGS = frozenset(
    {"recordings", "players", "clubs", "sessions", "blocks", "since", "until"}
)
"""Fields of a selection that whole recordings answer to; by others nothing is deleted."""


@dataclass(frozen=True)
class Traces:
    """Everything kept of what is to be deleted.

    entries : recordings of the library, each with its notes and results. journals : folders
    they were recorded in. sets : names of saved sets that ask for nothing else.
    """

    entries: tuple[LibraryEntry, ...]
    journals: tuple[JournalFolder, ...]
    sets: tuple[str, ...]

    def lines(self) -> list[str]:
        """One line a thing, for people."""
        return [
            *(f"recording  {entry.line()}" for entry in self.entries),
            *(f"journals   {folder.name}" for folder in self.journals),
            *(f"saved set  {name}" for name in self.sets),
        ]


def find_traces(library: Library, texts: Sequence[str], journals: Path) -> Traces:
    """Everything kept of the recordings and selections named.

    A selection by player alone also finds what was recorded of that player and never finished.
    Raises SwingspreadError when a text names nothing, or a selection is not of whole recordings.
    """
    entries: dict[str, LibraryEntry] = {}
    players: set[str] = set()
    for text in texts:
        if is_selection(text):
            selection = parse_selection(text)
            _check_whole(selection, text)
            found = _fitting(library, selection)
            if set(_asked(selection)) == {"players"}:
                players |= {name.casefold() for name in selection.players}
        else:
            found, selection = [library.find(text)], Selection()
        entries |= {entry.id: entry for entry in found}
        if not found and not set(_asked(selection)) == {"players"}:
            raise SwingspreadError(f"no recording in {library.path} fits {text}")
    folders = [one for one in all_folders(journals) if _belongs(one, set(entries), players)]
    sets = _sets_of(read_saved_sets(library.path), set(entries), players)
    traces = Traces(tuple(entries.values()), tuple(folders), tuple(sets))
    if not traces.lines():
        raise SwingspreadError(f"nothing is kept of {', '.join(texts)} in {library.path}")
    return traces


def erase(library: Library, traces: Traces) -> None:
    """Delete the traces: saved sets first, recordings last, so that a failure can be repeated.

    Raises SwingspreadError when a recording is being made just now or the disk refuses.
    """
    for folder in traces.journals:
        if folder.held:
            raise SwingspreadError(f"{folder.name}: is being recorded just now; stop it first")
    if traces.sets:
        update_saved_sets(library.path, lambda saved: _without(saved, traces.sets))
    for folder in traces.journals:
        try:
            shutil.rmtree(folder.path)
        except OSError as problem:
            raise SwingspreadError(
                f"{folder.path}: could not be deleted ({problem.strerror})"
            ) from problem
    for entry in traces.entries:
        library.delete(entry)


def _without(saved: SavedSets, names: Sequence[str]) -> SavedSets:
    for name in names:
        if name in saved.sets:
            saved = saved.without_set(name)
    return saved


def _asked(selection: Selection) -> list[str]:
    plain = Selection()
    return [
        name for name, value in vars(selection).items() if value and value != getattr(plain, name)
    ]


def _check_whole(selection: Selection, text: str) -> None:
    parts = [name for name in _asked(selection) if name not in WHOLE_RECORDINGS]
    if parts:
        raise SwingspreadError(
            f"{text}: whole recordings are deleted, so choose by recording, player, club, session, "
            "block or date only"
        )


def _fitting(library: Library, selection: Selection) -> list[LibraryEntry]:
    return [
        entry
        for entry in library.entries()
        if entry.manifest is not None and may_hold(selection, entry.manifest, entry.id)
    ]


def _belongs(folder: JournalFolder, ids: set[str], players: set[str]) -> bool:
    if folder.finished_id in ids:
        return True
    try:
        return folder.manifest().player.name.casefold() in players
    except SwingspreadError:
        return False


def _sets_of(saved: SavedSets, ids: set[str], players: set[str]) -> list[str]:
    """Saved sets that ask for nothing but these recordings or players."""
    found = []
    for name, one in saved.sets.items():
        asked = one.selection
        named = {player.casefold() for player in asked.players}
        recordings = {*asked.recordings, *(key.recording_id for key in asked.picked)}
        if (named and named <= players) or (recordings and recordings <= ids):
            found.append(name)
    return found

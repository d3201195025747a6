"""What is kept of recordings and players, and its removal for good."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from app.known_labels import with_known_labels
from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder, all_folders
from imu.recordings.atomic import PART
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import read_notes
from imu.recordings.saved_sets import SavedSet, SavedSets, read_saved_sets, update_saved_sets
from imu.recordings.store import MANIFEST_FILE
from imu.variation.selection import Selection, may_hold
from imu.variation.selection_words import is_selection, parse_selection

START_LOG = "last-start.log"
"""In the journals' folder: what the recording started last from the page printed."""

WHOLE_RECORDINGS = frozenset(
    {"recordings", "players", "clubs", "sessions", "blocks", "since", "until"}
)
"""Fields of a selection that whole recordings answer to; by others nothing is deleted."""


@dataclass(frozen=True)
class Traces:
    """Everything kept of what is to be deleted.

    entries : recordings of the library, each with its notes and results. journals : folders
    they were recorded in. sets : names of saved sets that ask for nothing else. narrowed : saved
    sets that ask for others too, as they will be. leftovers : what killed processes left of it.
    """

    entries: tuple[LibraryEntry, ...]
    journals: tuple[JournalFolder, ...]
    sets: tuple[str, ...]
    narrowed: tuple[SavedSet, ...] = ()
    leftovers: tuple[Path, ...] = ()

    def lines(self) -> list[str]:
        """One line a thing, for people."""
        return [
            *(f"recording  {entry.line()}" for entry in self.entries),
            *(f"journals   {folder.name}" for folder in self.journals),
            *(f"saved set  {name}" for name in self.sets),
            *(
                f"named in   saved set {one.name}, which stays for the rest"
                for one in self.narrowed
            ),
            *(f"leftover   {path.name}" for path in self.leftovers),
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
            fitting = whole_recordings(library, selection)
            if set(_asked(selection)) == {"players"}:
                players |= {name.casefold() for name in selection.players}
        else:
            fitting, selection = [library.find(text)], Selection()
        entries |= {entry.id: entry for entry in fitting}
        if not fitting and set(_asked(selection)) != {"players"}:
            said = f"no recording in {library.path} fits {text}"
            raise SwingspreadError(with_known_labels(said, library.entries(), journals))
        if not fitting and len(texts) > 1:
            find_traces(library, [text], journals)  # of each player something must be kept
    folders = [one for one in all_folders(journals) if _belongs(one, set(entries), players)]
    ids, saved = set(entries), read_saved_sets(library.path)
    sets = _sets_of(saved, ids, players)
    narrowed = _narrowed(saved, sets, ids, players)
    leftovers = _leftovers(library.path, journals, ids, players)
    found = tuple(entries.values())
    traces = Traces(found, tuple(folders), tuple(sets), tuple(narrowed), tuple(leftovers))
    if not traces.lines():
        said = f"nothing is kept of {', '.join(texts)} in {library.path}"
        raise SwingspreadError(with_known_labels(said, library.entries(), journals))
    return traces


def erase(library: Library, traces: Traces) -> None:
    """Delete the traces: saved sets first, recordings last, so that a failure can be repeated.

    Raises SwingspreadError when a recording is being made just now or lies outside the library,
    with nothing deleted, and when the disk refuses.
    """
    for entry in traces.entries:
        if entry.folder.resolve().parent != library.path.resolve():
            raise SwingspreadError(
                f"{entry.folder}: not in the library {library.path}; nothing was deleted"
            )
    _check_free(traces.journals)
    if traces.sets or traces.narrowed:
        update_saved_sets(library.path, lambda saved: _without(saved, traces))
    erase_journals(traces.journals)
    for path in traces.leftovers:
        try:
            shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
        except OSError as problem:
            raise SwingspreadError(
                f"{path}: could not be deleted ({problem.strerror})"
            ) from problem
    for entry in traces.entries:
        library.delete(entry)


def erase_journals(folders: Sequence[JournalFolder]) -> None:
    """Delete what was written while recording. Raises SwingspreadError when that goes on just now,
    with nothing deleted, and when the disk refuses."""
    _check_free(folders)
    for folder in folders:
        try:
            shutil.rmtree(folder.path)
        except OSError as problem:
            raise SwingspreadError(
                f"{folder.path}: could not be deleted ({problem.strerror})"
            ) from problem


def _check_free(folders: Sequence[JournalFolder]) -> None:
    for folder in folders:
        if folder.held:
            raise SwingspreadError(f"{folder.name}: is being recorded just now; stop it first")


def _without(saved: SavedSets, traces: Traces) -> SavedSets:
    for name in traces.sets:
        if name in saved.sets:
            saved = saved.without_set(name)
    for one in traces.narrowed:
        if one.name in saved.sets:
            saved = saved.with_set(one)
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
            f"{text}: only whole recordings can be meant here, so choose by recording, player, "
            "club, session, block or date"
        )


def whole_recordings(library: Library, selection: Selection) -> list[LibraryEntry]:
    """Recordings that a selection asks for as a whole; by the label of a block within it, none."""
    return [
        entry
        for entry in library.entries()
        if entry.manifest is not None and may_hold(selection, entry.manifest, entry.id)
    ]


def _belongs(folder: JournalFolder, ids: set[str], players: set[str]) -> bool:
    if folder.finished_id in ids:
        return True
    try:
        as_noted = read_notes(folder.path).label(folder.manifest())
        return as_noted.player.name.casefold() in players
    except SwingspreadError:
        return False


def _sets_of(saved: SavedSets, ids: set[str], players: set[str]) -> list[str]:
    """Saved sets that can hold nothing but what is of these recordings or players."""
    found = []
    for name, one in saved.sets.items():
        asked = one.selection
        named = {player.casefold() for player in asked.players}
        picked = {key.recording_id for key in asked.picked}
        if any(
            wanted and wanted <= gone
            for wanted, gone in ((named, players), ({*asked.recordings}, ids), (picked, ids))
        ):
            found.append(name)
    return found


def _narrowed(
    saved: SavedSets, gone: Sequence[str], ids: set[str], players: set[str]
) -> list[SavedSet]:
    """Saved sets that stay, without the players and recordings that go."""
    found = []
    for name, one in saved.sets.items():
        asked = one.selection
        left = replace(
            asked,
            players=tuple(label for label in asked.players if label.casefold() not in players),
            recordings=tuple(label for label in asked.recordings if label not in ids),
            picked=tuple(key for key in asked.picked if key.recording_id not in ids),
            left_out=tuple(item for item in asked.left_out if item.swing.recording_id not in ids),
        )
        if name not in gone and left != asked:
            found.append(replace(one, selection=left))
    return found


def _leftovers(library: Path, journals: Path, ids: set[str], players: set[str]) -> list[Path]:
    """Parts that a killed process left, and what the last recording printed, where they tell of
    what is to go."""
    found = []
    for part in sorted(library.glob(f".*{PART}")) if library.is_dir() else ():
        try:
            document = json.loads((part / MANIFEST_FILE).read_bytes())
            name = str(document["player"]["name"]).casefold()
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            continue
        if name in players or document.get("id") in ids:
            found.append(part)
    log = journals / START_LOG
    try:
        printed = log.read_text("utf-8", "replace").casefold()
    except OSError:
        return found
    return [*found, log] if any(word in printed for word in (*players, *ids) if word) else found

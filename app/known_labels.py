"""What the library holds to choose from, said where a choice fits nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder, all_folders
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import read_notes

MOST_SHOWN = 10
"""Labels of one kind that are named."""


def known_labels(entries: Sequence[LibraryEntry]) -> list[str]:
    """One indented line a kind: the players, clubs, sessions and blocks of these recordings."""
    held = [entry.manifest for entry in entries if entry.manifest is not None]
    lines = []
    for word, labels in (
        ("player", {facts.player.name for facts in held}),
        ("club", {facts.club.name for facts in held}),
        ("session", {facts.session for facts in held}),
        ("block", {label for one in entries for label in _blocks(one)}),
    ):
        if shown := _shown(labels):
            lines.append(f"  {word}: {shown}")
    return lines


def unfinished(journals: Path) -> list[tuple[JournalFolder, str]]:
    """Recordings not in the library yet, each with its player's name as last noted; those that
    do not tell it are left out."""
    found = []
    for folder in all_folders(journals):
        try:
            name = read_notes(folder.path).label(folder.manifest()).player.name
        except SwingspreadError:
            continue
        if not folder.finished_id:
            found.append((folder, name))
    return found


def with_known_labels(
    said: str, entries: Sequence[LibraryEntry], journals: Path | None = None
) -> str:
    """The sentence, and below it what there is; alone where there is nothing.

    journals : where recordings not finished are looked for, whose players may be meant too.
    """
    lines = known_labels(entries)
    if journals is not None:
        held = {one.manifest.player.name.casefold() for one in entries if one.manifest}
        names = {name for _, name in unfinished(journals) if name.casefold() not in held}
        if shown := _shown(names):
            lines.append(f"  player, in unfinished recordings alone: {shown}")
    return "\n".join([f"{said}; there are:", *lines]) if lines else said


def _shown(labels: Iterable[str]) -> str:
    known = sorted(label for label in labels if label)
    return ", ".join(known[:MOST_SHOWN]) + (", …" if len(known) > MOST_SHOWN else "")


def _blocks(entry: LibraryEntry) -> tuple[str, ...]:
    return entry.blocks or ((entry.manifest.block,) if entry.manifest is not None else ())

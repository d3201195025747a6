"""`swingspread list`: what the library holds."""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from app.arguments import add_library

if TYPE_CHECKING:
    from imu.recordings.library_entry import LibraryEntry

HELP = "list the recordings in the library"
EXAMPLES = """\
  swingspread list
  swingspread list driver
  swingspread list --library lessons --json
"""
HEADINGS = (
    "id",
    "name",
    "player",
    "club",
    "session",
    "block",
    "date",
    "length",
    "sensors",
    "lost",
    "notes",
)
LONGEST_NOTES = 40
"""Letters of the notes in the table; JSON has them whole."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread list`."""
    parser.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="show only recordings with these words in an id, name, player, club, label or notes",
    )
    add_library(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")


def run(arguments: argparse.Namespace) -> int:
    """Print one line a recording; damaged ones are named with the reason on stderr."""
    from imu.number_words import counted
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    library = Library(arguments.library)
    held = library.entries()
    entries = [entry for entry in held if fits(entry, arguments.words)]
    if arguments.json:
        json.dump([as_json(entry) for entry in entries], sys.stdout, indent=2, ensure_ascii=False)
        print()
    elif entries:
        print_table([cells(entry) for entry in entries if entry.manifest is not None])
    elif held:
        print(
            f"no recording has these words; {library.path} holds {counted(len(held), 'recording')}"
        )
    else:
        print(f"no recordings in {library.path}; bring one in with `swingspread import`")
    for entry in entries:
        if entry.problem:
            print(f"! {printable(entry.problem)}", file=sys.stderr)
    return 0


def labels(entry: LibraryEntry) -> list[str]:
    """Id, name, player, club, session, block and date; "" where unknown."""
    facts = entry.manifest
    if facts is None:
        return [entry.id]
    names = [facts.name, facts.player.name, facts.club.name, facts.session, facts.block]
    return [entry.id, *names, facts.recorded_at[:16].replace("T", " ")]


def fits(entry: LibraryEntry, words: Sequence[str]) -> bool:
    """True when every word is part of some label, whatever its case."""
    text = "\n".join([*labels(entry), _notes(entry)]).casefold()
    return all(word.casefold() in text for word in words)


def cells(entry: LibraryEntry) -> list[str]:
    """One row of the table as shown."""
    from imu.recordings.names import printable

    minutes, seconds = divmod(round(entry.duration_s), 60)
    lost = sum(entry.lost.values())
    part = lost / max(sum(entry.samples.values()) + lost, 1)
    shown = [*labels(entry), f"{minutes}:{seconds:02d}", " ".join(entry.samples)]
    notes = textwrap.shorten(_notes(entry), LONGEST_NOTES, placeholder=" …")
    return [printable(cell) for cell in [*shown, f"{100 * part:.2g} %" if lost else "", notes]]


def _notes(entry: LibraryEntry) -> str:
    return entry.manifest.notes if entry.manifest else ""


def print_table(rows: Sequence[Sequence[str]]) -> None:
    """Columns in line, those that are empty throughout left out."""
    table = [list(HEADINGS), *rows]
    used = [column for column in zip(*table, strict=True) if any(column[1:])]
    widths = [max(len(cell) for cell in column) for column in used]
    for row in zip(*used, strict=True):
        line = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        print(line.rstrip())


def as_json(entry: LibraryEntry) -> dict[str, Any]:
    """One recording as plain values, units in the key names."""
    from imu.recordings.manifest import manifest_to_json

    facts = manifest_to_json(entry.manifest) if entry.manifest else {}
    return {
        "id": entry.id,
        "folder": str(entry.folder),
        **facts,
        "duration_s": entry.duration_s,
        "samples": dict(entry.samples),
        "lost_samples": dict(entry.lost),
        **({"problem": entry.problem} if entry.problem else {}),
    }

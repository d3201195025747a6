"""`swingspread recover`: recordings that were cut short, put into the library."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from app.arguments import add_journals, add_library, journals_meant

if TYPE_CHECKING:
    from imu.recorder.folder import JournalFolder

HELP = "list recordings that were interrupted and finish them into the library"
EXAMPLES = """\
  swingspread recover
  swingspread recover --list
  swingspread recover --remove-empty
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread recover`."""
    parser.add_argument("--list", action="store_true", help="only list them")
    parser.add_argument(
        "--remove-empty",
        action="store_true",
        help="delete those that hold no sample of any sensor, once they are listed and you agree",
    )
    parser.add_argument("--yes", action="store_true", help="delete them without asking")
    add_journals(parser)
    add_library(parser, "add to")


def run(arguments: argparse.Namespace) -> int:
    """List what was interrupted, finish it, say what was kept."""
    import sys

    from imu.recorder.finish import NO_SAMPLE, finish_all
    from imu.recorder.folder import all_folders, interrupted
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    root = journals_meant(arguments)
    folders = interrupted(root)
    for busy in (folder for folder in all_folders(root) if folder.held):
        print(f"{busy.name}: being recorded just now; left alone")
    if not folders:
        print(f"nothing was interrupted in {root}")
        return 0
    if arguments.list:
        for folder in folders:
            print(described(folder))
        return 0
    problems: list[JournalFolder] = []
    empty: list[JournalFolder] = []

    def told(folder: JournalFolder, problem: str) -> None:
        (empty if problem == NO_SAMPLE else problems).append(folder)
        print(printable(f"{folder.path}: {problem}"), file=sys.stderr)

    for done in finish_all(folders, Library(arguments.library), told):
        print(f"{done.folder.name}: kept as {printable(done.entry.line())}")
        for fault in done.faults:
            print(f"  {printable(fault)}")
    if empty and not _removed(empty, arguments.remove_empty, arguments.yes):
        problems += empty
    return 1 if problems else 0


def _removed(empty: list[JournalFolder], wanted: bool, yes: bool) -> bool:
    """Whether recordings without a sample are gone; only if that is wanted and agreed to."""
    from app.deletion import erase_journals
    from app.terminal import agreed
    from imu.number_words import counted

    if not wanted:
        print("nothing can be made of that; `swingspread recover --remove-empty` deletes it")
        return False
    for folder in empty:
        print(described(folder))
    if not yes and not agreed():
        print("nothing was deleted")
        return False
    erase_journals(empty)
    print(f"deleted {counted(len(empty), 'recording')} without any sample")
    return True


def described(folder: JournalFolder) -> str:
    """One line on an interrupted recording."""
    from imu.errors import SwingspreadError
    from imu.recordings.names import printable, roles_in_order

    size = sum(path.stat().st_size for paths in folder.journals().values() for path in paths)
    try:
        manifest = folder.manifest()
        labels = [manifest.player.name, manifest.club.name, manifest.session, manifest.block]
    except SwingspreadError as problem:
        labels = [str(problem)]
    roles = " and ".join(roles_in_order(folder.journals())) or "no sensor"
    words = printable(", ".join(label for label in labels if label))
    return f"{folder.name}  {words}  ({roles}, {size / 1e6:.1f} MB)"

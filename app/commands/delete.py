"""`swingspread delete`: recordings, or all of a player, for good."""

from __future__ import annotations

import argparse
import sys

HELP = "delete recordings, or everything kept of a player, for good"
EXAMPLES = """\
  swingspread delete tuesday
  swingspread delete 3fa9 77b1 --yes
  swingspread delete "player=Ada Fairway"
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread delete`."""
    parser.add_argument(
        "recordings",
        nargs="+",
        metavar="RECORDING",
        help="id, unique beginning of an id, or name of a recording, or a selection such as "
        "player=Ada for everything kept of that player",
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to delete from")
    parser.add_argument("--journals", metavar="FOLDER", help="where recordings were made")
    parser.add_argument("--yes", action="store_true", help="delete without asking")


def run(arguments: argparse.Namespace) -> int:
    """Say what would go, ask, delete, and say what went."""
    from pathlib import Path

    from app.deletion import erase, find_traces
    from imu.errors import SwingspreadError
    from imu.recorder.folder import default_journals
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    library = Library(arguments.library)
    journals = Path(arguments.journals) if arguments.journals else default_journals()
    traces = find_traces(library, arguments.recordings, journals)
    for line in traces.lines():
        print(printable(line))
    if not arguments.yes:
        if not sys.stdin.isatty():
            raise SwingspreadError("nothing was deleted; add --yes to delete without being asked")
        if input("Delete all of this for good? Type yes: ").strip().lower() != "yes":
            print("nothing was deleted")
            return 0
    erase(library, traces)
    print(f"deleted from {library.path}; copies exported elsewhere are not touched")
    return 0

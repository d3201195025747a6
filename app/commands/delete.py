"""`swingspread delete`: recordings, or all of a player, for good."""

from __future__ import annotations

import argparse

from app.arguments import add_journals, add_library, add_recordings, journals_meant

HELP = "delete recordings, or everything kept of a player, for good"
EXAMPLES = """\
  swingspread delete tuesday
  swingspread delete 3fa9 77b1 --yes
  swingspread delete "player=Ada Fairway"
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread delete`."""
    add_recordings(parser, "everything kept of that player")
    add_library(parser, "delete from")
    add_journals(parser)
    parser.add_argument("--yes", action="store_true", help="delete without asking")


def run(arguments: argparse.Namespace) -> int:
    """Say what would go, ask, delete, and say what went."""
    from app.deletion import erase, find_traces
    from app.terminal import agreed
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    library = Library(arguments.library)
    traces = find_traces(library, arguments.recordings, journals_meant(arguments))
    for line in traces.lines():
        print(printable(line))
    if not arguments.yes and not agreed():
        print("nothing was deleted")
        return 0
    erase(library, traces)
    print(f"deleted from {library.path}; copies exported elsewhere are not touched")
    return 0

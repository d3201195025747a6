"""`swingspread label`: call recordings, or a player, otherwise than when they were made."""

from __future__ import annotations

import argparse

from app.arguments import add_journals, add_library, add_recordings, journals_meant

HELP = "rename a player; call recordings, sessions or blocks otherwise, or remark on them"
EXAMPLES = """\
  swingspread label "player=Ada Fairwy" --player "Ada Fairway"
  swingspread label tuesday --block pressure --name "tuesday, wind"
  swingspread label "player=Ada Fairway,since=2026-05-01" --session "new grip"
  swingspread label tuesday --remarks "new grip, wind from the left"
  swingspread label tuesday --as-recorded
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread label`."""
    add_recordings(parser, "every recording it fits")
    parser.add_argument("--player", metavar="NAME", help="the player's name, in saved sets too")
    parser.add_argument("--session", metavar="LABEL", help="the session")
    parser.add_argument("--block", metavar="LABEL", help="the block")
    parser.add_argument("--name", metavar="NAME", help="the recording's own name")
    parser.add_argument(
        "--remarks",
        metavar="TEXT",
        help='free text, shown beside the notes it was recorded with; "" takes it away',
    )
    parser.add_argument(
        "--as-recorded", action="store_true", help="take back every label given since"
    )
    add_library(parser, "change")
    add_journals(parser)


def run(arguments: argparse.Namespace) -> int:
    """Label, and say what is called otherwise now."""
    from app.labelling import label
    from imu.errors import SwingspreadError
    from imu.recordings.library import Library
    from imu.recordings.names import printable
    from imu.recordings.notes import LABELS

    keys = (*LABELS, "remarks")
    given = {key: value for key in keys if (value := getattr(arguments, key)) is not None}
    if bool(given) == arguments.as_recorded:
        raise SwingspreadError(
            "say what to call it with --player, --session, --block or --name, what there is to say "
            "with --remarks, or take all labels back with --as-recorded"
        )
    labels: dict[str, str | None] = dict.fromkeys(LABELS) if arguments.as_recorded else {**given}
    done = label(
        Library(arguments.library), arguments.recordings, labels, journals_meant(arguments)
    )
    for line in done.lines():
        print(printable(line))
    return 0

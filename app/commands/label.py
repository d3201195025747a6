"""`swingspread label`: call recordings, or a player, otherwise than when they were made."""

from __future__ import annotations

import argparse

HELP = "rename a player; call recordings, sessions or blocks otherwise"
EXAMPLES = """\
  swingspread label "player=Ada Fairwy" --player "Ada Fairway"
  swingspread label tuesday --block pressure --name "tuesday, wind"
  swingspread label "player=Ada Fairway,since=2026-05-01" --session "new grip"
  swingspread label tuesday --as-recorded
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread label`."""
    parser.add_argument(
        "recordings",
        nargs="+",
        metavar="RECORDING",
        help="id, unique beginning of an id, or name of a recording, or a selection such as "
        "player=Ada for every recording it fits",
    )
    parser.add_argument("--player", metavar="NAME", help="the player's name, in saved sets too")
    parser.add_argument("--session", metavar="LABEL", help="the session")
    parser.add_argument("--block", metavar="LABEL", help="the block")
    parser.add_argument("--name", metavar="NAME", help="the recording's own name")
    parser.add_argument(
        "--as-recorded", action="store_true", help="take back every label given since"
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to change")
    parser.add_argument("--journals", metavar="FOLDER", help="where recordings were made")


def run(arguments: argparse.Namespace) -> int:
    """Label, and say what is called otherwise now."""
    from pathlib import Path

    from app.labelling import label
    from imu.errors import SwingspreadError
    from imu.recorder.folder import default_journals
    from imu.recordings.library import Library
    from imu.recordings.names import printable
    from imu.recordings.notes import LABELS

    given = {key: value for key in LABELS if (value := getattr(arguments, key)) is not None}
    if bool(given) == arguments.as_recorded:
        raise SwingspreadError(
            "say what to call it with --player, --session, --block or --name, or take all of it "
            "back with --as-recorded"
        )
    labels: dict[str, str | None] = dict.fromkeys(LABELS) if arguments.as_recorded else {**given}
    journals = Path(arguments.journals) if arguments.journals else default_journals()
    done = label(Library(arguments.library), arguments.recordings, labels, journals)
    for line in done.lines():
        print(printable(line))
    return 0

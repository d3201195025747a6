"""`swingspread export`: recordings and results as open files."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from app.arguments import add_journals, add_library, add_recordings, journals_meant
from app.handing_out import FORMATS, write_all

HELP = "write recordings and results as open files: tables, spreadsheet, raw streams, pictures"
EXAMPLES = """\
  swingspread export tuesday --out for-the-lab
  swingspread export tuesday --as spreadsheet --as pictures --out for-the-player
  swingspread export tuesday thursday --as motion-bids --out dataset
  swingspread export "player=Ada Fairway" --everything --archive all-of-ada.zip
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread export`."""
    add_recordings(parser, "all that fit")
    add_library(parser)
    add_journals(parser)
    place = parser.add_mutually_exclusive_group(required=True)
    place.add_argument("--out", metavar="FOLDER", help="folder to write into")
    place.add_argument("--archive", metavar="FILE.zip", help="one archive of everything instead")
    parser.add_argument(
        "--as",
        dest="formats",
        action="append",
        choices=list(FORMATS),
        metavar="FORMAT",
        help="what to write, may be repeated (default: tables and spreadsheet): "
        + "; ".join(f"{name}: {text}" for name, text in FORMATS.items()),
    )
    parser.add_argument(
        "--everything",
        action="store_true",
        help="all that is kept of them: every format, unfinished recordings, saved sets",
    )


def run(arguments: argparse.Namespace) -> int:
    """Write each format for each recording; several recordings get a folder each."""
    from imu.errors import SwingspreadError
    from imu.exports.archive import write_archive
    from imu.number_words import counted

    if arguments.everything:
        from app.everything import everything_of
        from imu.recordings.library import Library

        if arguments.formats:
            raise SwingspreadError("--everything: every format is written; leave out --as")
        library = Library(arguments.library)
        recordings, fill = everything_of(library, arguments.recordings, journals_meant(arguments))
    else:
        formats = list(dict.fromkeys(arguments.formats or ("tables", "spreadsheet")))
        recordings = folders_meant(arguments.library, arguments.recordings)

        def fill(out: Path) -> list[Path]:
            return write_all(arguments.library, recordings, formats, out)

    if arguments.archive:
        names = write_archive(Path(arguments.archive), fill)
        files, held = counted(len(names), "file"), counted(len(recordings), "recording")
        print(f"{arguments.archive}: {files} of {held}")
    else:
        for file in fill(Path(arguments.out)):
            print(file)
    return 0


def folders_meant(library: str | None, texts: Sequence[str]) -> list[Path]:
    """Folders of the recordings named, each once; a selection stands for all that fit it.

    Raises SwingspreadError when one of them names nothing.
    """
    from app.swing_sets import what_is_meant
    from imu.recordings.library import Library

    shelf = Library(library)
    found: list[Path] = []
    for text in texts:
        found += [entry.folder for entry in what_is_meant(shelf, text)[2]]
    return list(dict.fromkeys(found))

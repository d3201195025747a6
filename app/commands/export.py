"""`swingspread export`: recordings and results as open files."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

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
    parser.add_argument(
        "recordings",
        nargs="+",
        metavar="RECORDING",
        help="id, unique beginning of an id, name, or folder of a recording, or a selection such "
        "as player=Ada for all that fit; several may be given",
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to look in")
    parser.add_argument("--journals", metavar="FOLDER", help="where recordings were made")
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

    if arguments.everything:
        from app.everything import everything_of
        from imu.recorder.folder import default_journals
        from imu.recordings.library import Library

        if arguments.formats:
            raise SwingspreadError("--everything: every format is written; leave out --as")
        library = Library(arguments.library)
        journals = Path(arguments.journals) if arguments.journals else default_journals()
        recordings, fill = everything_of(library, arguments.recordings, journals)
    else:
        formats = list(dict.fromkeys(arguments.formats or ("tables", "spreadsheet")))
        recordings = folders_meant(arguments.library, arguments.recordings)

        def fill(out: Path) -> list[Path]:
            return write_all(arguments.library, recordings, formats, out)

    if arguments.archive:
        names = write_archive(Path(arguments.archive), fill)
        print(f"{arguments.archive}: {len(names)} files of {len(recordings)} recording(s)")
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

"""`swingspread export`: recordings and results as open files."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.chosen import Analysed

HELP = "write recordings and results as open files: tables, spreadsheet, raw streams, pictures"
EXAMPLES = """\
  swingspread export tuesday --out for-the-lab
  swingspread export tuesday --as spreadsheet --as pictures --out for-the-player
  swingspread export tuesday thursday --as motion-bids --out dataset
  swingspread export "player=Ada Fairway" --everything --archive all-of-ada.zip
"""

FORMATS = {
    "tables": "swings, spread and curves as CSV and Parquet, with the meaning of every column",
    "spreadsheet": "swings, spread and meanings as one XLSX file",
    "pictures": "overlay and spread of hinge, club rate and arm rate as SVG",
    "raw": "the samples as plain CSV with their meta file, as the importer takes them",
    "motion-bids": "the samples in the open Motion-BIDS layout, players numbered, not named",
    "recording": "the recording folder as it lies in the library, with the notes on it",
}
FROM_ANALYSIS = ("tables", "spreadsheet", "pictures")


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


def write_all(
    library: str | None, recordings: Sequence[Path], formats: Sequence[str], out: Path
) -> list[Path]:
    """Every format of every recording; returns the files."""
    from app.chosen import analysed, read_labelled
    from imu.exports.archive import copy_recording
    from imu.exports.motion_bids import write_motion_bids
    from imu.exports.plain_csv import write_plain_csv
    from imu.recordings.names import file_name

    files: list[Path] = []
    dataset = []
    for folder in recordings:
        _, recording = read_labelled(library, str(folder))
        name = f"{file_name(recording.manifest.name)}-{recording.id[:8]}"
        place = out if len(recordings) == 1 else out / name
        if "raw" in formats:
            files += write_plain_csv(recording, place)
        if "recording" in formats:
            files += copy_recording(folder, place / "recording" if len(formats) > 1 else place)
        if set(FROM_ANALYSIS) & set(formats):
            files += write_results(analysed(library, str(folder)), formats, place)
        if "motion-bids" in formats:
            dataset.append(recording)
    if dataset:
        files += write_motion_bids(dataset, out / "motion-bids" if len(formats) > 1 else out)
    return files


def write_results(done: Analysed, formats: Sequence[str], folder: Path) -> list[Path]:
    """The analysed formats of one recording."""
    from imu.exports.folder import write_analysis, write_spreadsheet
    from imu.exports.pictures import write_pictures
    from imu.exports.tables import write_csv
    from imu.variation.spread import spread_table

    counted = done.counted()
    spread = spread_table(counted.swings) if len(counted) else None
    files: list[Path] = []
    if "tables" in formats:
        files += write_analysis(done.labelled(), folder)
        if spread is not None:
            files.append(write_csv(spread, folder / "spread.csv"))
    if "spreadsheet" in formats:
        facts = done.manifest
        about = {
            "name": facts.name,
            "player": facts.player.name,
            "club": facts.club.name,
            "session": facts.session,
            "block": facts.block,
            "recorded at": facts.recorded_at,
            "swings that count": str(len(counted)),
        }
        files.append(write_spreadsheet(done.labelled(), spread, about, folder / "swings.xlsx"))
    if "pictures" in formats and len(counted):
        files += write_pictures(counted.curves, counted.swings, folder)
    return files

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
"""

FORMATS = {
    "tables": "swings, spread and curves as CSV and Parquet, with the meaning of every column",
    "spreadsheet": "swings, spread and meanings as one XLSX file",
    "pictures": "overlay and spread of the hinge as SVG",
    "raw": "the samples as plain CSV with their meta file, as the importer takes them",
    "motion-bids": "the samples in the open Motion-BIDS layout, players numbered, not named",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread export`."""
    parser.add_argument(
        "recordings",
        nargs="+",
        metavar="RECORDING",
        help="id, unique beginning of an id, name, or folder of a recording; several may be given",
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to look in")
    parser.add_argument("--out", metavar="FOLDER", required=True, help="folder to write into")
    parser.add_argument(
        "--as",
        dest="formats",
        action="append",
        choices=list(FORMATS),
        metavar="FORMAT",
        help="what to write, may be repeated (default: tables and spreadsheet): "
        + "; ".join(f"{name}: {text}" for name, text in FORMATS.items()),
    )


def run(arguments: argparse.Namespace) -> int:
    """Write each format for each recording; several recordings get a folder each."""
    from app.chosen import analysed, read_labelled
    from imu.exports.motion_bids import write_motion_bids
    from imu.exports.plain_csv import write_plain_csv

    formats = list(dict.fromkeys(arguments.formats or ("tables", "spreadsheet")))
    out = Path(arguments.out)
    files: list[Path] = []
    raw = []
    for text in arguments.recordings:
        if {"raw", "motion-bids"} & set(formats):
            _, recording = read_labelled(arguments.library, text)
            raw.append(recording)
            if "raw" in formats:
                place = own_folder(out, arguments.recordings, recording.manifest.name, recording.id)
                files += write_plain_csv(recording, place)
        if {"tables", "spreadsheet", "pictures"} & set(formats):
            done = analysed(arguments.library, text)
            name, identity = done.manifest.name, done.analysis.recording_id
            place = own_folder(out, arguments.recordings, name, identity)
            files += write_results(done, formats, place)
    if "motion-bids" in formats:
        files += write_motion_bids(raw, out / "motion-bids" if len(formats) > 1 else out)
    for file in files:
        print(file)
    return 0


def own_folder(out: Path, recordings: Sequence[str], name: str, identity: str) -> Path:
    """``out`` itself for one recording, a folder in it for each of several."""
    from imu.recordings.names import file_name

    return out if len(recordings) == 1 else out / f"{file_name(name)}-{identity[:8]}"


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
        files += write_analysis(done.analysis, folder)
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
        files.append(write_spreadsheet(done.analysis, spread, about, folder / "swings.xlsx"))
    if "pictures" in formats and len(counted):
        files += write_pictures(counted.curves, counted.swings, folder)
    return files

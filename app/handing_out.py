"""The formats in which recordings and results are handed out, and what writes each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.chosen import Analysed

FORMATS = {
    "tables": "swings, spread and curves as CSV and Parquet, with the meaning of every column",
    "spreadsheet": "swings, spread and meanings as one XLSX file",
    "pictures": "overlay and spread of hinge, club rate and arm rate as SVG",
    "raw": "the samples as plain CSV with their meta file, as the importer takes them",
    "motion-bids": "the samples in the open Motion-BIDS layout, players numbered, not named",
    "recording": "the recording folder as it lies in the library, with the notes on it",
}
FROM_ANALYSIS = ("tables", "spreadsheet", "pictures")


def write_all(
    library: str | None, recordings: Sequence[Path], formats: Sequence[str], out: Path
) -> list[Path]:
    """Every format of every recording; returns the files."""
    from app.chosen import analysed, read_labelled
    from imu.exports.archive import copy_recording
    from imu.exports.motion_bids import write_motion_bids
    from imu.exports.plain_csv import write_plain_csv
    from imu.recordings.names import recording_file_name

    files: list[Path] = []
    dataset = []
    for folder in recordings:
        _, recording = read_labelled(library, str(folder))
        name = recording_file_name(recording.manifest.name, recording.id)
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

"""One analysis as a folder of open files, for whoever takes the numbers further."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from imu.exports.curves import write_curves
from imu.exports.dictionary import describe_swing_columns
from imu.exports.tables import (
    analysis_document,
    swing_columns,
    write_csv,
    write_dictionary,
    write_json,
    write_parquet,
    write_workbook,
)
from imu.types import Analysis


def write_analysis(analysis: Analysis, folder: Path) -> list[Path]:
    """Write swings.csv, swings.parquet, curves.parquet, analysis.json and columns.csv.

    The folder is made if missing; each file is replaced in one step, analysis.json last.
    Returns the files. Raises SwingspreadError when the disk refuses.
    """
    swings = swing_columns(analysis.swings)
    meaning = describe_swing_columns([str(name) for name in swings.columns])
    return [
        write_csv(swings, folder / "swings.csv"),
        write_parquet(swings, meaning, folder / "swings.parquet"),
        write_curves(analysis.curves, folder / "curves.parquet"),
        write_dictionary(analysis, folder / "columns.csv"),
        write_json(analysis_document(analysis), folder / "analysis.json"),
    ]


def write_spreadsheet(
    analysis: Analysis, statistics: pd.DataFrame | None, about: Mapping[str, Any], target: Path
) -> Path:
    """The swings, their statistics and the meaning of all columns as one spreadsheet.

    about : what a reader should know of the session (player, club, block, date).
    """
    facts = {
        **about,
        "recording": analysis.recording_id,
        "version": analysis.version,
        "handedness": analysis.handedness,
        "settings": analysis.settings,
        "warnings": "; ".join(analysis.warnings),
    }
    return write_workbook(analysis.swings, statistics, facts, target)

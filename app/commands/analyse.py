"""`swingspread analyse`: one recording to swings, curves and a one-screen summary."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from imu.types import Analysis, Manifest

HELP = "find the swings of a recording, measure them, and write tables and curves"
EXAMPLES = """\
  swingspread analyse lesson-12
  swingspread analyse 3fa9 --out results
  swingspread analyse ~/recordings/tuesday --json
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread analyse`."""
    parser.add_argument(
        "recording",
        metavar="RECORDING",
        help="id, unique beginning of an id, name, or folder of a recording",
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to look in")
    parser.add_argument(
        "--out",
        metavar="FOLDER",
        help="where to write (default: a folder named after the recording, in the current one)",
    )
    parser.add_argument(
        "--json", action="store_true", help="print the summary as JSON instead of a table"
    )
    parser.add_argument(
        "--release-threshold",
        type=float,
        metavar="DEGREES",
        help="hinge opening that counts as release (default: 10)",
    )
    parser.add_argument(
        "--line-tolerance",
        type=float,
        metavar="CM",
        help="half-open distance that counts as near the target line (default: 2)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse, write the files, print the summary."""
    from imu.pipeline import analyse

    from app.terminal import progress_bar
    from imu.exports.folder import write_analysis
    from imu.recordings.library import Library

    settings = chosen_settings(arguments.release_threshold, arguments.line_tolerance)
    recording = Library(arguments.library).read(arguments.recording)
    with progress_bar("analysing") as progress:
        analysis = analyse(recording, settings, progress)
    folder = Path(arguments.out) if arguments.out else default_folder(recording.manifest, analysis)
    files = write_analysis(analysis, folder)
    if arguments.json:
        document = summary_document(analysis, recording.manifest)
        document["files"] = [str(file) for file in files]
        json.dump(document, sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
        print()
    else:
        print_summary(analysis, recording.manifest)
        print(f"written to {folder}: {', '.join(file.name for file in files)}")
    return 0


def chosen_settings(release_threshold_deg: float | None, line_tolerance_cm: float | None) -> Any:
    """Analysis settings with what the user changed. Raises SwingspreadError for nonsense."""
    from dataclasses import replace

    from imu.errors import SwingspreadError
    from imu.settings import AnalysisSettings
    from imu.units import DEG

    settings = AnalysisSettings()
    if release_threshold_deg is not None:
        if not 0.5 <= release_threshold_deg <= 45.0:
            raise SwingspreadError("--release-threshold: give degrees from 0.5 to 45, as 10")
        settings = replace(settings, release_threshold=release_threshold_deg * DEG)
    if line_tolerance_cm is not None:
        if not 0.1 <= line_tolerance_cm <= 30.0:
            raise SwingspreadError("--line-tolerance: give centimetres from 0.1 to 30, as 2")
        settings = replace(settings, near_line_tolerance=line_tolerance_cm / 100.0)
    return settings


def default_folder(manifest: Manifest, analysis: Analysis) -> Path:
    """A folder in the current one, named after the recording, with the start of its id."""
    from imu.recordings.names import file_name

    return Path(f"{file_name(manifest.name)}-{analysis.recording_id[:8]}")


def summary_document(analysis: Analysis, manifest: Manifest) -> dict[str, Any]:
    """The summary as plain JSON values."""
    from imu.columns import headline_metrics
    from imu.exports.statistics import counted_swings, statistics_table
    from imu.exports.tables import analysis_document
    from imu.recordings.content import plain_json

    counted = counted_swings(analysis.swings)
    document = analysis_document(analysis)
    statistics = statistics_table(counted, headline_metrics())
    plain: dict[str, Any] = plain_json(
        {
            "recording": document["recording"],
            "name": manifest.name,
            "version": document["version"],
            "swings": document["swings"],
            "counted": len(counted),
            "rejected": len(analysis.rejected),
            "statistics": statistics.to_dict("records"),
            "warnings": document["warnings"],
        }
    )
    return plain


def print_summary(analysis: Analysis, manifest: Manifest) -> None:
    """One screen: who, how many swings, level and spread of each headline metric, warnings."""
    from rich.console import Console
    from rich.markup import escape

    from imu.columns import headline_metrics
    from imu.exports.statistics import counted_swings, statistics_table

    console = Console(highlight=False, soft_wrap=not sys.stdout.isatty())
    who = [manifest.name, manifest.player.name, manifest.club.name, manifest.block]
    title = ", ".join(part for part in who if part) or analysis.recording_id
    console.print(f"[bold]{escape(title)}[/bold]")
    console.print(escape(_counts(analysis)))
    counted = counted_swings(analysis.swings)
    if len(counted):
        console.print(_table(statistics_table(counted, headline_metrics())))
    else:
        console.print("No swing that can be counted: see the warnings and the file swings.csv.")
    for warning in analysis.warnings:
        console.print(f"[bold]![/bold] {escape(warning)}")


def _counts(analysis: Analysis) -> str:
    kinds = analysis.swings["kind"].value_counts().to_dict()
    ball, practice = int(kinds.get("ball", 0)), int(kinds.get("practice", 0))
    parts = [f"{ball} with a ball", f"{practice} practice"]
    poor = int((analysis.swings["quality"] == "poor").sum())
    if poor:
        parts.append(f"{poor} of poor quality not counted")
    reasons = analysis.rejected["reason"].astype(str).str.split(":").str[0].value_counts()
    other = ", ".join(f"{count} {reason}" for reason, count in reasons.items())
    text = f"{len(analysis.swings)} swings: {', '.join(parts)}."
    rejected = len(analysis.rejected)
    return f"{text} Other movements, not counted: {rejected}{f' ({other})' if other else ''}."


def _table(statistics: pd.DataFrame) -> Any:
    from rich import box
    from rich.table import Table

    from imu.variation.wording import decimals, number, with_unit

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("")
    for name in ("n", "mean", "SD", "95 % of the SD", "sensors' part"):
        table.add_column(name, justify="right")
    for row in statistics.to_dict("records"):
        places = decimals(float(row["sd"]))
        unit = str(row["unit"])
        table.add_row(
            str(row["label"]),
            str(row["n"]),
            with_unit(number(row["mean"], places), unit),
            number(row["sd"], places),
            f"{number(row['sd_low'], places)} to {number(row['sd_high'], places)}",
            number(row["noise_sd"], places),
        )
    return table

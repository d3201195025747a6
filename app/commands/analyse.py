"""`swingspread analyse`: one recording to swings, curves and a one-screen summary."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.arguments import RECORDING_HELP, add_library, number

if TYPE_CHECKING:
    import pandas as pd

    from app.chosen import Analysed
    from imu.settings import AnalysisSettings
    from imu.types import Analysis

HELP = "find the swings of a recording, measure them, and write tables and curves"
EXAMPLES = """\
  swingspread analyse tuesday
  swingspread analyse 3fa9 --out results
  swingspread analyse recordings/tuesday --release-threshold 5 --json
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread analyse`."""
    parser.add_argument("recording", metavar="RECORDING", help=RECORDING_HELP)
    add_library(parser)
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
        type=number,
        metavar="DEGREES",
        help="hinge opening that counts as release (default: as on the Settings page, at first 10)",
    )
    parser.add_argument(
        "--line-tolerance",
        type=number,
        metavar="CM",
        help="half the width of the strip that counts as near the target line (default: as on the "
        "Settings page, at first 2)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse, write the files, print the summary."""
    from app.chosen import analysed
    from imu.exports.folder import write_analysis

    settings = chosen_settings(arguments.release_threshold, arguments.line_tolerance)
    done = analysed(arguments.library, arguments.recording, settings, afresh=True)
    folder = Path(arguments.out) if arguments.out else default_folder(done)
    files = write_analysis(done.labelled(), folder)
    if arguments.json:
        document = {**summary_document(done), "files": [str(file) for file in files]}
        json.dump(document, sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
        print()
    else:
        print_summary(done)
        print(f"written to {folder}: {', '.join(file.name for file in files)}")
    return 0


def chosen_settings(
    release_threshold_deg: float | None, line_tolerance_cm: float | None
) -> AnalysisSettings:
    """The settings of the Settings page with what the command line changes of them.

    Raises SwingspreadError for what cannot be.
    """
    from dataclasses import replace

    from app.preferences import read_preferences
    from imu.errors import SwingspreadError
    from imu.units import DEG

    settings = read_preferences().analysis_settings()
    if release_threshold_deg is not None:
        if not 0.5 <= release_threshold_deg <= 45.0:
            raise SwingspreadError("--release-threshold: give degrees from 0.5 to 45, as 10")
        settings = replace(settings, release_threshold=release_threshold_deg * DEG)
    if line_tolerance_cm is not None:
        if not 0.1 <= line_tolerance_cm <= 30.0:
            raise SwingspreadError("--line-tolerance: give centimetres from 0.1 to 30, as 2")
        settings = replace(settings, near_line_tolerance=line_tolerance_cm / 100.0)
    return settings


def default_folder(done: Analysed) -> Path:
    """A folder in the current one, named after the recording, with the start of its id."""
    from imu.recordings.names import recording_file_name

    return Path(recording_file_name(done.manifest.name, done.analysis.recording_id))


def headline_spread(swings: pd.DataFrame) -> pd.DataFrame:
    """Spread of the headline metrics; without rows when there are no swings."""
    import pandas as pd

    from imu.columns import headline_metrics
    from imu.variation.spread import SPREAD_COLUMNS, spread_table

    if not len(swings):
        return pd.DataFrame(columns=list(SPREAD_COLUMNS))
    return spread_table(swings, [metric.name for metric in headline_metrics()])


def summary_document(done: Analysed) -> dict[str, Any]:
    """The summary as plain JSON values."""
    from imu.exports.tables import analysis_document
    from imu.recordings.content import plain_json

    counted = done.counted()
    document = analysis_document(done.analysis)
    plain: dict[str, Any] = plain_json(
        {
            "recording": document["recording"],
            "name": done.manifest.name,
            "version": document["version"],
            "swings": document["swings"],
            "counted": len(counted),
            "rejected": len(done.analysis.rejected),
            "spread": headline_spread(counted.swings).to_dict("records"),
            "warnings": document["warnings"],
        }
    )
    return plain


def print_summary(done: Analysed) -> None:
    """One screen: who, how many swings, level and spread of each headline metric, warnings."""
    from rich.console import Console
    from rich.markup import escape

    from app.preferences import read_preferences
    from imu.recordings.names import printable
    from imu.variation.as_shown import table_as_shown
    from imu.variation.spread import far_out_words

    terminal = sys.stdout.isatty()
    console = Console(highlight=False, soft_wrap=not terminal, width=None if terminal else 100)
    facts, counted = done.manifest, done.counted()
    who = [facts.name, facts.player.name, facts.club.name, facts.block]
    title = ", ".join(printable(part) for part in who if part) or done.analysis.recording_id
    console.print(f"[bold]{escape(title)}[/bold]")
    console.print(escape(counts(done.analysis, len(counted.left_out))))
    if len(counted):
        spread = headline_spread(counted.swings)
        shown = table_as_shown(spread, read_preferences().units)
        console.print(spread_lines(shown))
        for row in shown.to_dict("records"):
            if said := far_out_words(row):
                console.print(f"{row['label']}: {said}")
    else:
        console.print("No swing counts: the reasons stand in swings.csv, column notes.")
    for warning in done.analysis.warnings:
        console.print(f"[bold]![/bold] {escape(printable(warning))}")


def counts(analysis: Analysis, left_out: int) -> str:
    """How many swings of each kind, and what else was seen."""
    kinds = analysis.swings["kind"].value_counts().to_dict()
    ball, practice = int(kinds.get("ball", 0)), int(kinds.get("practice", 0))
    parts = [f"{ball} with a ball", f"{practice} practice"]
    if left_out:
        parts.append(f"{left_out} left out")
    total = len(analysis.swings)
    text = f"{total} swing{'s' * (total != 1)}: {', '.join(parts)}."
    reasons = analysis.rejected["reason"].astype(str).str.split(":").str[0].value_counts()
    other = ", ".join(f"{count} {reason}" for reason, count in reasons.items())
    rejected = len(analysis.rejected)
    return f"{text} Other movements, not counted: {rejected}{f' ({other})' if other else ''}."


def spread_lines(spread: pd.DataFrame) -> Any:
    """The table of level and spread as printed, one line a metric."""
    from rich import box
    from rich.table import Table

    from app.findings_table import sensors_part
    from imu.number_words import decimals, number, with_unit

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("")
    for name in ("n", "mean", "SD", "95 % of SD", "sensors' part"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in spread.to_dict("records"):
        places = decimals(float(row["sd"]))
        low, high = row["sd_low"], row["sd_high"]
        table.add_row(
            str(row["label"]),
            str(row["swings"]),
            with_unit(number(row["mean"], places), str(row["unit"])),
            number(row["sd"], places),
            f"{number(low, places)} to {number(high, places)}",
            sensors_part(row, "noise_sd"),
        )
    return table

"""The printable report of one set of swings, alone or against another."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd

from imu.cautions import CAUTIONS, NOT_SEEN
from imu.columns import METRIC_BY_NAME, headline_metrics
from imu.errors import SwingspreadError
from imu.exports.pictures import metric_picture, overlay_picture, spread_picture
from imu.exports.report_page import Figure, ReportContent, Table, render
from imu.exports.report_words import (
    comparison_findings,
    headline_findings,
    metric_rows,
    next_time,
    overlay_caption,
    spread_caption,
)
from imu.exports.writing import write_export
from imu.figures.alignment import align_curves
from imu.types import Manifest
from imu.variation.compare import Comparison
from imu.variation.sets import SwingSet
from imu.variation.spread import spread_table

SWING_BY_SWING = ("release_ms", "tempo_ratio", "lag_at_parallel_deg", "hinge_at_impact_deg")
"""Metrics drawn swing by swing."""


def compose_report(
    chosen: SwingSet,
    manifest: Manifest,
    version: str,
    comparison: Comparison | None = None,
) -> ReportContent:
    """Everything that stands on the report of ``chosen``.

    chosen : the swings that count, with their curves. manifest : of their recording.
    comparison : findings of this set against another, put first when given.
    Raises SwingspreadError when there is no swing to report on.
    """
    if not len(chosen):
        raise SwingspreadError(
            f"{chosen.name}: no swing that counts, so there is nothing to report; "
            "`swingspread analyse` says why each was left out"
        )
    statistics = spread_table(chosen.swings)
    rows = {str(row["metric"]): row for row in statistics.to_dict("records")}
    headline = [metric.name for metric in headline_metrics()]
    aligned = align_curves([(chosen.curves, chosen.swings)], ["hinge_deg"])
    figures = (
        Figure(
            "The hinge of every swing",
            overlay_picture(aligned, "hinge_deg", "Hinge", "°"),
            overlay_caption(aligned),
        ),
        Figure(
            "Where in the swing it varies",
            spread_picture(aligned, "hinge_deg", "Hinge", "°"),
            spread_caption(aligned),
        ),
    )
    small = tuple(
        Figure(
            "",
            metric_picture(
                chosen.swings, METRIC_BY_NAME[name], float(rows[name]["mean"]), rows[name]["sd"]
            ),
            "",
        )
        for name in SWING_BY_SWING
    )
    findings = headline_findings(rows)
    verdicts: tuple[Table, ...] = ()
    if comparison is not None:
        findings = comparison_findings(comparison)
        verdicts = (_comparison_table(comparison),)
    return ReportContent(
        title=manifest.player.name or manifest.name or "Swing report",
        subtitle="What repeats from swing to swing, and what does not",
        facts=_facts(chosen, manifest),
        findings=findings,
        first_tables=verdicts,
        figures=figures,
        small=small,
        tables=(_table(statistics[statistics["metric"].isin(headline)]),),
        next_time=next_time(len(chosen), manifest.block, comparison),
        cautions=CAUTIONS,
        small_print=_small_print(chosen, version),
    )


def write_report(content: ReportContent, target: Path) -> Path:
    """Write the report as one HTML file. Raises SwingspreadError when the disk refuses."""
    return write_export(target, render(content))


def _facts(chosen: SwingSet, manifest: Manifest) -> tuple[tuple[str, str], ...]:
    left_out = f"{len(chosen.left_out)}" if len(chosen.left_out) else ""
    return (
        ("Club", manifest.club.name),
        ("Session", manifest.session),
        ("Block", manifest.block),
        ("Recorded", _day(manifest.recorded_at)),
        ("Swings", str(len(chosen))),
        ("Left out", left_out),
    )


def _day(moment: str) -> str:
    try:
        when = datetime.fromisoformat(moment)
    except ValueError:
        return ""
    return f"{when.day} {when:%B %Y, %H:%M}"


def _table(statistics: pd.DataFrame) -> Table:
    return Table(
        "The numbers",
        ("", "n", "mean", "SD", "95 % of the SD", "sensors’ part"),
        metric_rows(statistics),
        "SD: how far a usual swing lies from the mean. The sensors’ part is their own error within "
        "that SD. A model value leans on a model of the arm and shows change within a player, not "
        "a true figure.",
        numeric=5,
    )


def _comparison_table(comparison: Comparison) -> Table:
    rows = tuple(
        (one.label, one.verdict.word, f"{one.shift_sentence} {one.spread_sentence}")
        for one in comparison.findings
    )
    said = " ".join((comparison.headline, *comparison.refusals, *comparison.warnings))
    heading = f"{comparison.name_b} against {comparison.name_a}"
    return Table(heading, ("", "verdict", "what was found"), rows, said)


def _small_print(chosen: SwingSet, version: str) -> tuple[str, ...]:
    recordings = ", ".join(chosen.values("recording_id"))
    left_out = "; ".join(
        f"swing {row['swing']}: {row['reason']}" for row in chosen.left_out.to_dict("records")
    )
    paragraphs = [
        NOT_SEEN,
        "Hinge is the angle between forearm and shaft, seen through the grip. Release is the "
        "moment, before impact, at which the hinge has opened by 10° (unless set otherwise) from "
        "its greatest value in the downswing.",
        f"Made by swingspread {version} from recording {recordings}.",
    ]
    if left_out:
        paragraphs.insert(2, f"Left out: {left_out}.")
    return tuple(paragraphs)

"""The printable report of one set of swings, alone or against another."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd

from imu.cautions import CAUTIONS, NOT_SEEN
from imu.columns import headline_metrics
from imu.errors import SwingspreadError
from imu.exports.pictures import (
    align_set,
    metric_picture,
    overlay_picture,
    spread_picture,
    two_sets_picture,
)
from imu.exports.report_page import Figure, ReportContent, Table, render
from imu.exports.report_words import (
    comparison_findings,
    comparison_rows,
    headline_findings,
    metric_rows,
    next_time,
    overlay_caption,
    spread_caption,
)
from imu.exports.writing import write_export
from imu.shown_units import SI, ShownUnits
from imu.types import Club, Manifest, Player
from imu.variation.as_shown import comparison_as_shown, table_as_shown
from imu.variation.compare import Comparison
from imu.variation.sets import SwingSet
from imu.variation.spread import far_out_words, spread_table

SWING_BY_SWING = ("release_ms", "tempo_ratio", "lag_at_parallel_deg", "hinge_at_impact_deg")
"""Metrics drawn swing by swing."""


def compose_report(
    chosen: SwingSet,
    manifest: Manifest,
    version: str,
    against: SwingSet | None = None,
    comparison: Comparison | None = None,
    units: ShownUnits = SI,
) -> ReportContent:
    """Everything that stands on the report of ``chosen``.

    chosen : the swings that count, with their curves. manifest : of their recording.
    against, comparison : another set and what was found between the two, put first when given.
    units : those the reader wants; everything given is in SI.
    Raises SwingspreadError when there is no swing to report on.
    """
    if not len(chosen):
        raise SwingspreadError(
            f"{chosen.name}: no swing that counts, so there is nothing to report; "
            "`swingspread analyse` says why each was left out"
        )
    statistics = table_as_shown(spread_table(chosen.swings), units)
    rows = {str(row["metric"]): row for row in statistics.to_dict("records")}
    headline = [metric.name for metric in headline_metrics()]
    aligned = align_set(chosen.curves, chosen.swings, ["hinge_deg"])
    figures = [
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
    ]
    each = units.swings(chosen.swings, SWING_BY_SWING)
    small = tuple(
        Figure(
            "",
            metric_picture(each, units.metric(name), float(rows[name]["mean"]), rows[name]["sd"]),
            "",
        )
        for name in SWING_BY_SWING
    )
    findings = headline_findings(rows)
    verdicts: tuple[Table, ...] = ()
    if comparison is not None and against is not None:
        comparison = comparison_as_shown(comparison, units)
        findings = comparison_findings(comparison) or findings
        verdicts = (_comparison_table(comparison),)
        figures = [_both(against, chosen), *figures[1:]]
    return ReportContent(
        title=manifest.player.name or manifest.name or "Swing report",
        subtitle="What repeats from swing to swing, and what does not",
        facts=_facts(chosen, manifest),
        findings=findings,
        figures=tuple(figures),
        verdicts=verdicts,
        small=small,
        tables=(_table(statistics[statistics["metric"].isin(headline)]),),
        next_time=next_time(len(chosen), chosen.values("block"), comparison),
        cautions=CAUTIONS,
        small_print=_small_print(chosen, version),
    )


def write_report(content: ReportContent, target: Path) -> Path:
    """Write the report as one HTML file. Raises SwingspreadError when the disk refuses."""
    return write_export(target, render(content))


def set_manifest(chosen: SwingSet) -> Manifest:
    """What a set's swings have in common, as the manifest of a report on them."""
    return Manifest(
        player=Player(", ".join(chosen.values("player"))),
        club=Club(", ".join(chosen.values("club")), 1.0),
        name=chosen.name,
        session=chosen.only("session"),
        block=chosen.only("block"),
        recorded_at=chosen.only("recorded_at"),
    )


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
    said = {row["label"]: far_out_words(row) for row in statistics.to_dict("records")}
    return Table(
        "The numbers",
        ("", "n", "mean", "SD", "95 % of the SD", "sensors’ part"),
        metric_rows(statistics),
        "SD: how far a usual swing lies from the mean. The sensors’ part is their own error within "
        "that SD. A model value leans on a model of the arm and shows change within a player, not "
        "a true figure." + "".join(f" {label}: {words}" for label, words in said.items() if words),
        numeric=5,
    )


def _both(against: SwingSet, chosen: SwingSet) -> Figure:
    sets = [
        (one.name, align_set(one.curves, one.swings, ["hinge_deg"])) for one in (against, chosen)
    ]
    return Figure(
        "Both sets, lined up at impact",
        two_sets_picture(sets, "hinge_deg", "Hinge", "°"),
        "Lines are medians; bands hold the middle 80 in 100 of each set.",
    )


def _comparison_table(comparison: Comparison) -> Table:
    heading = f"{comparison.name_b} against {comparison.name_a}"
    return Table(
        f"{heading[0].upper()}{heading[1:]}",
        ("", "verdict", "mean moves (95 %)", "spread grows (95 %)", "more swings"),
        comparison_rows(comparison),
        " ".join((comparison.headline, *comparison.refusals, *comparison.warnings)),
        numeric=3,
    )


def _small_print(chosen: SwingSet, version: str) -> tuple[str, ...]:
    identities = chosen.values("recording_id")
    left_out = _left_out_words(chosen)
    paragraphs = [
        NOT_SEEN,
        "Hinge is the angle between forearm and shaft, seen through the grip. Release is the "
        "moment, before impact, at which the hinge has opened by 10° (unless set otherwise) from "
        "its greatest value in the downswing.",
        f"Made by swingspread {version} from recording{'s' * (len(identities) != 1)} "
        f"{', '.join(identities)}.",
    ]
    if left_out:
        paragraphs.insert(2, f"Left out: {left_out}.")
    return tuple(paragraphs)


def _left_out_words(chosen: SwingSet) -> str:
    """Every swing left out with the reason; of which recording, where there are several."""
    columns = ["recording_id", "recording"]
    told = pd.concat([chosen.swings[columns], chosen.left_out[columns]]).drop_duplicates()
    names = told["recording"].tolist()
    which = {
        str(identity): f"{name}, " if names.count(name) == 1 else f"{name} ({identity}), "
        for identity, name in told.itertuples(index=False)
    }
    if len(which) < 2:
        which = dict.fromkeys(which, "")
    return "; ".join(
        f"{which[row['recording_id']]}swing {row['swing']}: {row['reason']}"
        for row in chosen.left_out.to_dict("records")
    )

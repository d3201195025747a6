"""The numbers of one swing with their error, beside the session they belong to."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from dash import html

from app.components.numbers import plain, with_unit
from app.components.tiles import about, name_of
from app.preferences import Preferences
from app.store import SwingSet
from app.summary import levels
from imu.columns import metrics_in
from imu.number_words import decimals_for


def swing_numbers(shown: SwingSet, row: pd.Series, preferences: Preferences) -> Any:
    """Each measure of one swing with its error, the session's level, and where it sits in it."""
    same = shown.counted().only(shown.counted().swings["kind"] == row["kind"])
    metrics = metrics_in(shown.swings.columns)
    usual = levels(same.swings, [metric.name for metric in metrics], preferences)
    hand = shown.entries[0].manifest.player.handedness
    lines = []
    for metric, level in zip(metrics, usual, strict=True):
        unit, factor = preferences.units.of(metric.unit)
        value, error = float(row[metric.name]) * factor, float(row[metric.se_name]) * factor
        places = decimals_for(error, value)
        places = 0 if metric.kind == "count" else places
        known = math.isfinite(error) and float(f"{error:.{places}f}") > 0
        spread = f"{level.mean_text} (SD {level.sd_text})" if math.isfinite(level.sd) else "–"
        away = (value - level.mean) / level.sd if level.sd > 0 else math.nan
        lines.append(
            html.Tr(
                [
                    html.Th(
                        about(metric, name_of(metric, metric.label), preferences, hand),
                        scope="row",
                    ),
                    html.Td(with_unit(plain(value, places), unit), className="number big"),
                    html.Td(
                        f"± {plain(error, places)}" if known else "–",
                        className="number",
                    ),
                    html.Td(spread, className="number"),
                    html.Td(_away(away), className="away"),
                ]
            )
        )
    heads = ("", "This swing", "Error", "Session", "Against the session")
    return html.Div(
        className="table-scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": "Numbers of this swing, scrolls sideways"},
        children=html.Table(
            className="numbers",
            children=[
                html.Thead(html.Tr([html.Th(words, scope="col") for words in heads])),
                html.Tbody(lines),
            ],
        ),
    )


def _away(away: float) -> Any:
    """Where the swing sits, from three SDs below to three above the mean."""
    if not math.isfinite(away):
        return "–"
    place = 50.0 + 50.0 * max(-3.0, min(3.0, away)) / 3.0
    return html.Span(
        [
            html.Span(
                html.Span(className="dot", style={"left": f"{place:.0f}%"}), className="rail"
            ),
            html.Span(f"{plain(away, 1)} SD", className="away-words"),
        ],
        className="away-box",
    )

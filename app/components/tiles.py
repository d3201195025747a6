"""Headline numbers, large enough to read across a hitting bay, each with its explanation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from dash import html

from app.preferences import Preferences
from app.summary import Level
from imu.columns import Metric
from imu.variation.wording import plain_name


def explanation(metric: Metric, preferences: Preferences, hand: str) -> list[Any]:
    """What a metric is, how it is measured, what it cannot say, and where it comes from."""
    parts: list[Any] = [html.P(preferences.spoken(metric.definition, hand))]
    if metric.model:
        parts.append(html.P("A model value: a simple body stands between sensor and number."))
    if metric.caution:
        parts.append(html.P(metric.caution))
    parts.append(html.P(f"Source: {metric.source}.", className="quiet"))
    return parts


def name_of(metric: Metric, words: str) -> list[Any]:
    """``words`` for a metric, and that it is a model value where it is one."""
    model = [html.Span(" model", className="model")] if metric.model else []
    return [words, *model]


def about(
    metric: Metric,
    words: str | list[Any],
    preferences: Preferences | None = None,
    hand: str = "",
    further: str = "",
) -> Any:
    """``words``, which open to the explanation of ``metric``; hand : the player's.

    further : a sentence on the numbers shown, after the explanation.
    """
    said = explanation(metric, preferences or Preferences(), hand)
    if further:
        said.append(html.P(further))
    return html.Details(
        [
            html.Summary(words),
            html.Div([html.Strong(metric.label), *said], className="about-text"),
        ],
        className="about",
    )


def tile(level: Level, preferences: Preferences, hand: str) -> Any:
    """One headline number: label, mean, SD with its interval and the sensors' part of it."""
    spread: list[Any] = (
        ["SD ", html.Strong(level.sd_text), html.Span(f" ({level.interval_text})")]
        if math.isfinite(level.sd)
        else ["SD needs 3 swings"]
    )
    words = name_of(level.metric, plain_name(level.metric))
    return html.Div(
        className="tile",
        children=[
            html.Div(
                about(level.metric, words, preferences, hand, level.about_text),
                className="tile-label",
            ),
            html.Div(level.mean_text, className="tile-number"),
            html.Div(spread, className="tile-spread"),
            *([html.Div(level.far_out_text, className="tile-spread")] if level.far_out else []),
            *(
                [html.Div(f"sensors’ part {level.noise_text}", className="tile-spread")]
                if math.isfinite(level.noise_sd)
                else []
            ),
        ],
    )


def tiles(levels: Sequence[Level], preferences: Preferences, hand: str = "") -> Any:
    """A row of headline numbers."""
    return html.Div([tile(one, preferences, hand) for one in levels], className="tiles")

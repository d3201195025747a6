"""What a comparison found: the headline, and one row a measure with its verdict and ratio."""

from __future__ import annotations

import math
from typing import Any

from dash import html

from app.components.tiles import about
from imu.columns import METRIC_BY_NAME
from imu.variation.compare import Comparison, Finding
from imu.variation.verdict import CANNOT_TELL, DOES_NOT_HOLD, HOLDS
from imu.variation.wording import plain_name

SIGNS = {HOLDS: ("✓", "holds"), DOES_NOT_HOLD: ("✕", "fails"), CANNOT_TELL: ("?", "open")}
WIDEST_RATIO = 4.0


def words(comparison: Comparison) -> list[Any]:
    """The headline and what must be known to read it."""
    told = [one for one in comparison.findings if one.verdict.word == DOES_NOT_HOLD]
    lead = [one.sentence for one in told[:3]]
    notes = [*comparison.refusals, *comparison.warnings]
    return [
        html.P(comparison.headline, className="sentence"),
        *(html.P(sentence, className="sentence second") for sentence in lead),
        *(html.P(note, className="note") for note in notes),
    ]


def finding_row(finding: Finding, limit: float) -> Any:
    """One measure: verdict, SDs, the ratio with its interval, and the words."""
    sign, name = SIGNS.get(finding.verdict.word, ("–", "open"))
    metric = METRIC_BY_NAME[finding.metric]
    return html.Div(
        className="finding",
        children=[
            html.Div(
                className="finding-head",
                children=[
                    html.Span(
                        [html.Span(sign, **{"aria-hidden": "true"}), f" {finding.verdict.word}"],
                        className=f"verdict {name}",
                    ),
                    html.Strong(about(metric, plain_name(metric))),
                    _rail(finding, limit),
                ],
            ),
            html.P(finding.sentence),
            html.P(finding.verdict_sentence, className="caption"),
        ],
    )


def _rail(finding: Finding, limit: float) -> Any:
    """The ratio of SDs with its interval on a scale from a quarter to four times."""
    ratio = finding.spread.ratio
    if not ratio.known:
        return html.Span("–", className="quiet")

    def place(value: float) -> float:
        share = math.log(max(value, 1e-9)) / math.log(WIDEST_RATIO)
        return 50.0 + 50.0 * max(-1.0, min(1.0, share))

    low, high = place(ratio.low), place(ratio.high)
    return html.Span(
        className="rail wide",
        role="img",
        **{
            "aria-label": f"Spread of B over A {ratio.value:.2f} times, 95 % {ratio.low:.2f} to "
            f"{ratio.high:.2f}, limit {limit:.2f}"
        },
        children=[
            html.Span(className="rail-limit", style={"left": f"{place(limit):.1f}%"}),
            html.Span(
                className="rail-bar", style={"left": f"{low:.1f}%", "width": f"{high - low:.1f}%"}
            ),
            html.Span(className="dot", style={"left": f"{place(ratio.value):.1f}%"}),
        ],
    )

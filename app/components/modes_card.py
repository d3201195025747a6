"""How the hinge curve varies: the ways in which swings differ most, and a picture of the first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from app.comparing import counted_set
from app.components.graph import BLANK, graph, picture_buttons
from app.store import SwingSet
from imu.errors import SwingspreadError
from imu.figures.modes import mode_figure
from imu.variation.curve_alignment import align
from imu.variation.modes import principal_modes

CURVE = "hinge_deg"


def modes_card() -> Any:
    """The card, empty until ``modes_shown`` fills it."""
    return html.Section(
        className="card figure-card",
        **{"aria-labelledby": "session-modes-heading"},
        children=[
            html.H2("How the hinge curve varies", id="session-modes-heading"),
            html.Ul(id="session-modes-words", className="said"),
            html.Div(
                id="session-modes-picture",
                children=[
                    graph(
                        "session-modes", 380, "What the largest way of varying does to the hinge"
                    ),
                    html.P(
                        "Lined up at impact. Mode 1 is the one change of the whole curve that "
                        "accounts for most of what differs between swings. Solid: the mean. Dashed "
                        "and dotted: where a swing lies that has much of it, one way or the other.",
                        className="caption",
                    ),
                    picture_buttons("session-modes", "hinge-mode-1"),
                ],
            ),
        ],
    )


def modes_shown(subset: SwingSet, theme: str) -> tuple[Sequence[Any], bool, Any]:
    """Sentences, whether to hide the picture, and the figure, for the swings that count."""
    swings = counted_set(subset, "")
    if not len(swings):
        return [html.Li("No swing counts yet.")], True, BLANK
    try:
        modes = principal_modes(align(swings, (CURVE,)), CURVE, swings.swings)
    except SwingspreadError as problem:
        said = str(problem)
        return [html.Li(f"{said[:1].upper()}{said[1:]}.")], True, BLANK
    figure = mode_figure(modes.time, modes.mean, modes.shapes[0], CURVE, theme)
    return [html.Li(sentence) for sentence in modes.sentences], False, figure

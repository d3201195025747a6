"""What a page shows while it cannot show its subject: progress, or a problem and the way on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html


def waiting(ids: Sequence[str]) -> Any:
    """Progress of the analyses ``ids``, with a button to stop them, and the ways on once they have
    ended without a result."""
    return html.Section(
        className="card narrow",
        children=[
            html.H1("Working out the swings"),
            html.P("Waiting", id="wait-text", role="status", className="lead"),
            dmc.Progress(
                id="wait-bar", value=0, size="xl", **{"aria-label": "Part of the work done"}
            ),
            dmc.Button("Stop", id="wait-stop", variant="default", size="md", mt="lg"),
            html.Div(
                html.Div(
                    [
                        dmc.Button("Analyse again", id="wait-again", size="md", n_clicks=0),
                        dcc.Link("Other recordings", href="/", className="button-link"),
                    ],
                    className="files flush",
                ),
                id="wait-ways-on",
                hidden=True,
            ),
            dcc.Interval(id="wait-tick", interval=250),
            dcc.Store(id="wait-ids", data=list(ids)),
        ],
    )


def problem(message: str, way_on: str, href: str) -> Any:
    """A plain message and a link onward."""
    return html.Section(
        className="card narrow",
        role="alert",
        children=[
            html.H1("That cannot be shown"),
            html.P(message, className="lead"),
            dcc.Link(way_on, href=href, className="button-link"),
        ],
    )

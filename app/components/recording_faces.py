"""The two faces of the record page: setting up, and looking on. No callbacks here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from app.components.choices import DIRECTIONS, OUTCOMES, REASONS, segmented
from app.components.recording_blocks import blocks_box
from app.components.swing_context import (
    block_field,
    club_fields,
    hand_field,
    player_field,
    session_field,
)
from app.shelf import Entry
from imu.cautions import BEFORE_SWINGING, YOUNG_PLAYERS


def setup_face(entries: Sequence[Entry], plan: Sequence[Any]) -> Any:
    """Who, what, which sensors; and what to mind before swinging. plan : columns to choose it."""
    return html.Div(
        className="split even",
        children=[
            html.Section(
                className="card",
                children=[
                    html.H1("Record"),
                    dmc.Grid(
                        gutter="sm",
                        mt="md",
                        children=[
                            player_field("record", entries),
                            hand_field("record"),
                            *club_fields("record"),
                            block_field("record"),
                            session_field("record"),
                            *plan,
                        ],
                    ),
                    html.H2("Sensors", className="record-heading"),
                    html.Div(
                        className="record-shot",
                        children=[
                            dmc.Button(
                                "Look for sensors", id="record-look", variant="default", size="md"
                            ),
                            dmc.Select(id="record-forearm", label="On the forearm", data=[], w=170),
                            dmc.Select(id="record-shaft", label="On the shaft", data=[], w=170),
                            dmc.Select(
                                id="record-belt",
                                label="On the belt, if any",
                                data=[],
                                clearable=True,
                                w=170,
                            ),
                        ],
                    ),
                    html.Div(id="record-found", role="status", **{"aria-live": "polite"}),
                    dmc.Switch(
                        id="record-virtual",
                        label="Try without sensors: two virtual ones on a simulated player",
                        mt="md",
                    ),
                    html.Div(
                        dmc.Switch(
                            id="record-virtual-belt",
                            label="And a third virtual one on the belt",
                            mt="sm",
                        ),
                        id="record-virtual-more",
                        className="record-hidden",
                    ),
                    html.Button("Start", id="record-start", className="record-go", n_clicks=0),
                    html.Div(id="record-trouble", role="alert"),
                    html.Div(id="record-interrupted"),
                ],
            ),
            html.Section(
                className="card cautions",
                children=[
                    html.H2("Before you swing"),
                    html.Ul([html.Li(text) for text in (*BEFORE_SWINGING, YOUNG_PLAYERS)]),
                    html.H2("Put the sensors on"),
                    html.Ul(
                        [
                            html.Li("Lead forearm, on its back, two fingers above the wrist."),
                            html.Li("Shaft, below the grip, clamped so that it cannot turn."),
                            html.Li(
                                "An edge of each box along arm and shaft; any way round. Arrows "
                                "towards elbow and butt show at a look whether one has turned."
                            ),
                            html.Li("Strap snug; one finger fits under."),
                        ]
                    ),
                ],
            ),
        ],
    )


def live_face() -> Any:
    """State, calibration, the last swing and all so far; filled while recording."""
    return html.Div(
        className="stack",
        children=[
            html.Section(
                className="card record-bar",
                children=[
                    html.Div(
                        [
                            html.H1(id="record-title"),
                            html.Ul(id="record-sensors", className="record-sensors"),
                        ]
                    ),
                    html.Div(
                        className="record-shot",
                        children=[
                            dmc.Switch(
                                id="record-mute", label="Mute the tick", persistence=True, size="md"
                            ),
                            html.Button(
                                "Stop", id="record-stop", className="record-halt", n_clicks=0
                            ),
                        ],
                    ),
                ],
            ),
            html.P(id="record-stop-trouble", role="alert", className="bad"),
            html.Div(id="record-note", role="status", **{"aria-live": "polite"}),
            blocks_box(),
            html.Section(
                id="record-calibration", className="card record-calibration", role="status"
            ),
            html.Section(
                id="record-card-box",
                className="card",
                **{"aria-label": "Last swing"},
                children=[
                    html.Div(id="record-card", **{"aria-live": "polite"}),
                    html.Div(
                        id="record-shot",
                        className="record-shot",
                        children=[
                            segmented("record-direction", "Ball went", DIRECTIONS, ""),
                            segmented("record-outcome", "Shot", OUTCOMES, ""),
                            dmc.Autocomplete(
                                id="record-reason",
                                label="Leave out, because",
                                data=list(REASONS),
                                w=230,
                            ),
                            dmc.Button("Leave out", id="record-leave", variant="default"),
                        ],
                    ),
                ],
            ),
            html.Section(
                id="record-strip-box",
                className="card",
                children=[
                    html.H2("So far"),
                    html.Div(id="record-strip", className="record-strip"),
                    html.P(
                        "Tempo ratio and release of every swing, newest first.", className="caption"
                    ),
                ],
            ),
        ],
    )

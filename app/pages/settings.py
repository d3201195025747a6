"""Settings: units, words, thresholds, theme, and where the library is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, html

import imu
from app.components.choices import segmented
from app.preferences import Preferences, keep_preferences
from app.store import Store
from imu.errors import SwingspreadError
from imu.shown_units import SPEED_UNITS

PATH = "/settings"
NAME = "Settings"

THEMES = (("light", "Light"), ("dark", "Dark"))
WORDS = (("lead", "Lead arm"), ("side", "Left and right"))


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The choices as they stand."""
    chosen = store.preferences
    return html.Div(
        className="page form-page",
        children=[
            html.H1("Settings"),
            html.Section(
                className="card",
                children=[
                    html.H2("How things are shown"),
                    html.Div(
                        className="choices tall",
                        children=[
                            segmented("settings-theme", "Theme", THEMES, "light"),
                            segmented(
                                "settings-speed",
                                "Speed in",
                                [(unit, unit) for unit in SPEED_UNITS],
                                chosen.speed_unit,
                            ),
                            segmented("settings-words", "Arms called", WORDS, chosen.arm_words),
                        ],
                    ),
                ],
            ),
            html.Section(
                className="card",
                children=[
                    html.H2("How things are measured"),
                    html.P(
                        "Changing these works every recording out again. The values travel with "
                        "each result.",
                        className="caption",
                    ),
                    html.Div(
                        className="choices tall",
                        children=[
                            dmc.NumberInput(
                                id="settings-release",
                                label="Release: hinge opened by",
                                description="A larger angle is reached later.",
                                value=chosen.release_threshold_deg,
                                min=0.5,
                                max=45,
                                step=1,
                                suffix="°",
                                size="md",
                                w=300,
                            ),
                            dmc.NumberInput(
                                id="settings-line",
                                label="Near the target line: within",
                                description="Half the width of the strip along the line.",
                                value=chosen.near_line_cm,
                                min=0.1,
                                max=30,
                                step=0.5,
                                suffix=" cm",
                                size="md",
                                w=300,
                            ),
                        ],
                    ),
                    dmc.Button("Keep", id="settings-keep", size="md", mt="md"),
                    html.P(id="settings-kept", role="status", className="caption"),
                ],
            ),
            html.Section(
                className="card",
                children=[
                    html.H2("Where things are"),
                    html.P(["Recordings are kept in ", html.Code(store.shelf.place()), "."]),
                    html.P(
                        [
                            "Another folder: start with ",
                            html.Code("swingspread serve --library FOLDER"),
                            ". Nothing leaves this machine.",
                        ]
                    ),
                    html.P(f"Swingspread {imu.__version__}", className="caption"),
                ],
            ),
        ],
    )


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""

    @app.callback(
        Output("settings-kept", "children"),
        Input("settings-keep", "n_clicks"),
        Input("settings-speed", "value"),
        Input("settings-words", "value"),
        State("settings-release", "value"),
        State("settings-line", "value"),
        prevent_initial_call=True,
    )
    def keep(_clicks: int, speed: str, words: str, release: Any, line: Any) -> str:
        try:
            chosen = Preferences(
                speed, words, _number(release, "release"), _number(line, "target line")
            )
            keep_preferences(chosen)
        except SwingspreadError as mistake:
            return str(mistake)
        if chosen == store.preferences:
            return "Kept as it was."
        store.prefer(chosen)
        return "Kept."

    app.clientside_callback(
        ClientsideFunction("shell", "chooseTheme"),
        Output("theme", "data", allow_duplicate=True),
        Input("settings-theme", "value"),
        State("shown-theme", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("shell", "themeChosen"),
        Output("settings-theme", "value"),
        Input("shown-theme", "data"),
        Input("settings-theme", "id"),
    )


def _number(value: Any, name: str) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        raise SwingspreadError(f"Not kept: the number for the {name} is missing.") from None

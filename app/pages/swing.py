"""Swing: one swing in full: curves with every event, arm and club in space, numbers with error."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
import numpy as np
import pandas as pd
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.components.choices import DIRECTIONS, OUTCOMES, REASONS, segmented
from app.components.graph import graph, picture_buttons
from app.components.numbers import plain, with_unit
from app.components.swing_numbers import swing_numbers
from app.store import Store, SwingSet
from app.summary import levels
from imu.columns import EVENTS
from imu.errors import SwingspreadError
from imu.figures.curve_names import curves_in
from imu.figures.stick_figure import StickFrames, stick_frames
from imu.figures.swing_curves import EVENT_MARKS, swing_figure

PATH = "/swing"
NAME = "Swing"

VIEWS = (("face", "Face on"), ("line", "Down the line"), ("above", "From above"))
SPEEDS = (("1", "Full"), ("0.25", "Quarter"), ("0.1", "Tenth"))


def recordings(store: Store, query: Mapping[str, str]) -> tuple[str, ...]:
    """The recording the swing is in; without one, the first of the library."""
    wanted = query.get("recording", "")
    if not wanted:
        return tuple(entry.id for entry in store.entries() if not entry.problem)[:1]
    return (store.resolve([wanted])[0].id,)


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The page for one swing."""
    ids = recordings(store, query)
    if not ids:
        raise SwingspreadError("There is no recording yet. Bring one in on the start page.")
    shown = store.swing_set(ids)
    row = swing_row(shown, query.get("swing", ""))
    number = int(row["swing"])
    numbers = shown.swings["swing"].astype(int).tolist()
    at = numbers.index(number)
    entry = shown.entries[0]
    return html.Div(
        className="page",
        children=[
            dcc.Store(id="swing-which", data={"recording": ids[0], "swing": number}),
            dcc.Store(id="swing-frames", data=frames_for_browser(shown, row)),
            dcc.Store(id="swing-ready"),
            html.Div(
                className="page-head",
                children=[
                    html.Div(
                        [
                            html.H1(f"Swing {number}"),
                            html.P(
                                [
                                    entry.label + " · ",
                                    dcc.Link(
                                        "the whole session",
                                        href=_session_with(ids[0], row),
                                    ),
                                ],
                                className="quiet",
                            ),
                        ]
                    ),
                    html.Nav(
                        className="files flush",
                        **{"aria-label": "Other swings"},
                        children=[
                            _step("‹ Previous", ids[0], numbers[at - 1] if at > 0 else None),
                            dmc.Select(
                                id="swing-choose",
                                value=str(number),
                                data=[
                                    {"value": str(n), "label": f"Swing {n}, {kind}"}
                                    for n, kind in zip(numbers, shown.swings["kind"], strict=True)
                                ],
                                allowDeselect=False,
                                size="md",
                                w=210,
                                **{"aria-label": "Swing shown"},
                            ),
                            _step(
                                "Next ›", ids[0], numbers[at + 1] if at + 1 < len(numbers) else None
                            ),
                        ],
                    ),
                ],
            ),
            html.P(swing_sentence(shown, row), className="sentence"),
            *remarks(row),
            html.Div(
                className="split even-halves",
                children=[
                    html.Section(
                        className="card figure-card",
                        **{"aria-label": "Curves"},
                        children=[
                            graph("swing-figure", 560, "Curves of this swing with its events"),
                            html.Div(_key(row), className="event-key"),
                            picture_buttons("swing-figure", f"swing-{number}"),
                            html.P(
                                "Grey: the middle 80 % of the session. Around the hinge: twice "
                                "its standard error.",
                                className="caption",
                            ),
                        ],
                    ),
                    html.Section(
                        className="card figure-card",
                        **{"aria-label": "Arm and club in space"},
                        children=[
                            segmented("swing-view", "Seen", VIEWS, "face"),
                            html.Canvas(
                                id="swing-space",
                                className="space",
                                tabIndex=0,
                                role="img",
                                **{
                                    "aria-label": "Lead arm and club in space at the moment of "
                                    "the slider. Arrow keys turn the view."
                                },
                            ),
                            html.P(
                                store.preferences.spoken(
                                    "The lead arm drawn straight about a fixed shoulder: a "
                                    "model. The body is not seen.",
                                    entry.manifest.player.handedness,
                                ),
                                className="caption",
                            ),
                        ],
                    ),
                ],
            ),
            html.Section(
                className="card player-bar",
                **{"aria-label": "Moment shown"},
                children=[
                    dmc.Button("Play", id="swing-play", size="md", n_clicks=0, w=110),
                    html.Div(id="swing-scrub", className="scrub-box"),
                    html.Output(id="swing-clock", className="clock"),
                    segmented("swing-speed", "Speed", SPEEDS, "0.25"),
                ],
            ),
            html.Section(
                className="card",
                **{"aria-label": "Numbers"},
                children=[
                    html.H2("Numbers of this swing"),
                    swing_numbers(shown, row, store.preferences),
                ],
            ),
            _notes_card(row),
        ],
    )


def _session_with(recording: str, row: pd.Series) -> str:
    """Where the session is shown with this swing highlighted."""
    practice = {"kind": "practice"} if row["kind"] == "practice" else {}
    return f"/session?{urlencode({'recordings': recording, 'pick': int(row['swing']), **practice})}"


def swing_row(shown: SwingSet, wanted: str) -> pd.Series:
    """The row of the swing asked for; the first ball swing without a wish."""
    swings = shown.swings
    if not len(swings):
        raise SwingspreadError("No swing was found in this recording.")
    if not wanted:
        struck = swings[swings["kind"] == "ball"]
        return (struck if len(struck) else swings).iloc[0]
    rows = swings[swings["swing"].astype(int).astype(str) == wanted]
    if not len(rows):
        raise SwingspreadError(f"There is no swing {wanted} in this recording.")
    return rows.iloc[0]


def frames_for_browser(shown: SwingSet, row: pd.Series) -> dict[str, Any]:
    """Positions to draw, rounded to the millimetre, with the events to step between."""
    entry, analysis = shown.entries[0], shown.analyses[0]
    curves = analysis.curves[analysis.curves["swing"] == row["swing"]]
    manifest = entry.manifest
    frames: StickFrames = stick_frames(
        curves, row, manifest.player.arm_length, manifest.club, manifest.player.handedness
    )
    return {
        "time": np.round(frames.time, 4).tolist(),
        "wrist": np.round(frames.wrist, 3).tolist(),
        "grip": np.round(frames.grip, 3).tolist(),
        "head": np.round(frames.head, 3).tolist(),
        "plane": np.round(frames.plane, 3).tolist(),
        "ground": round(frames.ground, 3),
        "target": frames.target,
        "events": {
            event: round(float(row[f"{event}_s"] - row["impact_s"]), 4)
            for event in EVENTS
            if math.isfinite(row[f"{event}_s"])
        },
        "words": {event: words for event, (words, _) in EVENT_MARKS.items()},
    }


def swing_sentence(shown: SwingSet, row: pd.Series) -> str:
    """How this swing sits within its session, in one sentence."""
    same = shown.counted().only(shown.counted().swings["kind"] == row["kind"])
    (release,) = levels(same.swings, ["release_ms"])
    value = float(row["release_ms"])
    if not math.isfinite(value):
        return "The release of this swing could not be read; the notes say why."
    text = f"Release {with_unit(plain(value, 0), 'ms')} before impact"
    if release.count < 5 or not release.sd > 0:
        return f"{text}, tempo {plain(float(row['tempo_ratio']), 1)}."
    away = value - release.mean
    if abs(away) < 0.5 * release.sd:
        return f"{text}: about usual for this session ({release.mean_text})."
    size = with_unit(plain(abs(away), 0), "ms")
    word = "earlier" if away > 0 else "later"
    far = " Further out than nearly all others." if abs(away) > 2 * release.sd else ""
    return f"{text}: {size} {word} than usual for this session ({release.mean_text}).{far}"


def remarks(row: pd.Series) -> list[Any]:
    """Why the swing is left out, what its quality suffers from, and why numbers are missing."""
    parts = []
    if row["left_out"]:
        parts.append(html.P(f"Left out of the statistics: {row['left_out']}.", className="note"))
    said = row["notes"] if isinstance(row["notes"], str) else ""
    if said and row["quality"] != "good":
        parts.append(html.P(f"Quality {row['quality']}: {said}", className="note"))
    elif said:  # why a number is missing, or how one was found
        parts.append(html.P(f"{said[0].upper()}{said[1:]}.", className="quiet"))
    return parts


def _step(words: str, recording: str, number: int | None) -> Any:
    if number is None:
        return html.Span(words, className="button-link off")
    return dcc.Link(
        words, href=f"{PATH}?recording={recording}&swing={number}", className="button-link"
    )


def _key(row: pd.Series) -> list[Any]:
    """Every event as a button that moves the slider there."""
    signs = {
        "takeaway": "○",
        "arm_top": "△",
        "club_top": "▲",
        "release": "◆",
        "shaft_parallel": "□",
        "impact": "✕",
        "finish": "■",
    }
    return [
        html.Button(
            [html.Span(signs[event], **{"aria-hidden": "true"}), f" {EVENT_MARKS[event][0]}"],
            className="chip event",
            id={"kind": "swing-event", "event": event},
            n_clicks=0,
        )
        for event in EVENTS
        if math.isfinite(row[f"{event}_s"])
    ]


def _notes_card(row: pd.Series) -> Any:
    return html.Section(
        className="card",
        **{"aria-label": "Notes on this swing"},
        children=[
            html.H2("Notes on this swing"),
            html.Div(
                className="choices",
                children=[
                    segmented("swing-direction", "Ball went", DIRECTIONS, str(row["direction"])),
                    segmented("swing-outcome", "Shot", OUTCOMES, str(row["outcome"])),
                    dmc.Autocomplete(
                        id="swing-left-out",
                        label="Leave out, because",
                        data=list(REASONS),
                        value=str(row["left_out"]),
                        size="md",
                        w=260,
                        placeholder="counts",
                    ),
                    dmc.Button("Keep notes", id="swing-keep", size="md", className="at-foot"),
                ],
            ),
            html.P(id="swing-kept", role="status", className="caption"),
        ],
    )


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""

    @app.callback(
        Output("swing-figure", "figure"),
        Input("shown-theme", "data"),
        State("swing-which", "data"),
    )
    def draw(theme: str, which: dict[str, Any]) -> Any:
        shown = store.swing_set([which["recording"]])
        row = swing_row(shown, str(which["swing"]))
        analysis = shown.analyses[0]
        curves = analysis.curves[analysis.curves["swing"] == row["swing"]]
        same = shown.counted().only(shown.counted().swings["kind"] == row["kind"])
        keys = tuple(same.swings["key"].astype(int))
        impact = float(row["impact_s"])
        columns = curves_in(curves.columns)
        return swing_figure(
            curves["t_s"].to_numpy(float) - impact,
            {column: curves[column].to_numpy(float) for column in columns},
            {event: float(row[f"{event}_s"]) - impact for event in EVENTS},
            store.aligned(shown.ids, keys, columns, "impact"),
            columns,
            theme=theme or "light",
            height=560,
            errors=curves["hinge_se_deg"].to_numpy(float),
        )

    @app.callback(
        Output("address", "href", allow_duplicate=True),
        Input("swing-choose", "value"),
        State("swing-which", "data"),
        prevent_initial_call=True,
    )
    def choose(wanted: str, which: dict[str, Any]) -> Any:
        if not wanted or int(wanted) == which["swing"]:
            return no_update
        return f"{PATH}?recording={which['recording']}&swing={wanted}"

    @app.callback(
        Output("swing-kept", "children"),
        Input("swing-keep", "n_clicks"),
        State("swing-which", "data"),
        State("swing-direction", "value"),
        State("swing-outcome", "value"),
        State("swing-left-out", "value"),
        prevent_initial_call=True,
    )
    def note(
        _clicks: int, which: dict[str, Any], direction: str, outcome: str, left_out: str
    ) -> str:
        try:
            store.note_swing(
                which["recording"],
                int(which["swing"]),
                direction=direction,
                outcome=outcome,
                left_out=left_out or "",
            )
        except SwingspreadError as mistake:
            return str(mistake)
        return "Kept. " + ("This swing no longer counts." if left_out else "This swing counts.")

    app.clientside_callback(
        ClientsideFunction("swing", "begin"),
        Output("swing-ready", "data"),
        Input("swing-frames", "data"),
        Input("swing-figure", "figure"),
        Input("shown-theme", "data"),
    )
    app.clientside_callback(
        ClientsideFunction("swing", "look"),
        Output("swing-space", "title"),
        Input("swing-view", "value"),
        Input("swing-speed", "value"),
    )

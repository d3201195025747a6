"""Start: whose recordings there are, bringing in new ones, and the cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html

from app.components.swing_context import (
    HALF,
    block_field,
    club_fields,
    hand_field,
    player_field,
    register_club,
    session_field,
)
from app.components.tending import register_tending, tend_box
from app.imports import bring_in, dropped_files, sort_out
from app.shelf import Entry
from app.store import Store
from imu.cautions import BEFORE_SWINGING, READING_NUMBERS, YOUNG_PLAYERS
from imu.errors import SwingspreadError

PATH = "/"
NAME = "Start"

MANY, MOST = 30, 60
"""Recordings from which on they can be searched, and the most shown at once."""

UNITS = {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"}


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The library on the left, bringing in and cautions on the right."""
    entries = store.entries()
    own = [entry for entry in entries if not entry.sample]
    return html.Div(
        className="page",
        children=[
            html.Div(
                className="hero",
                children=[
                    html.H1("Does it repeat?"),
                    html.P(
                        "Release, hinge and tempo of every swing, and how far they spread.",
                        className="sentence",
                    ),
                ],
            ),
            html.Div(
                className="split even",
                children=[
                    html.Div(
                        className="stack",
                        children=[
                            dcc.Store(id="start-tended", data=0),
                            *([_find()] if len(entries) >= MANY else []),
                            html.Div(shelves(store, ""), id="start-shelves", className="stack"),
                            *([tend_box(own)] if own else []),
                        ],
                    ),
                    html.Div(className="stack", children=[_bring_in(entries), _cautions()]),
                ],
            ),
        ],
    )


def _find() -> Any:
    return dmc.TextInput(
        id="start-find",
        label="Find",
        description="A player, club, session, block or day",
        size="md",
        debounce=250,
    )


def shelves(store: Store, wanted: str) -> list[Any]:
    """The recordings whose labels hold every word of ``wanted``; the first ``MOST`` of many."""
    words = wanted.casefold().split()
    fitting = [entry for entry in store.entries() if all(word in _labels(entry) for word in words)]
    shown = fitting[:MOST] if len(fitting) > MOST else fitting
    own = [entry for entry in shown if not entry.sample]
    samples = [entry for entry in shown if entry.sample]
    more = len(fitting) - len(shown)
    if words and not fitting:
        return [html.P(f"No recording fits “{wanted}”.", className="card", role="status")]
    return [
        _shelf("Your recordings", own, store.shelf.place()) if own or not words else None,
        html.P(f"{more} older ones are not shown; find them above.", role="status")
        if more
        else None,
        _shelf("Sample session", samples, "") if samples else None,
    ]


def _labels(entry: Entry) -> str:
    parts = (entry.label, entry.session, entry.name, entry.id)
    return " ".join(parts).casefold()


def _shelf(heading: str, entries: Sequence[Entry], place: str) -> Any:
    if not entries:
        body: list[Any] = [
            html.P("Nothing here yet. Bring in a recording, or look at the sample session.")
        ]
    else:
        body = []
        ordered = sorted(entries, key=lambda entry: (entry.player, entry.club))
        for player, group in groupby(ordered, key=lambda entry: entry.player):
            body.append(_player(player, list(group)))
    return html.Section(
        className="card",
        children=[
            html.H2(heading),
            *body,
            *([html.P(["Kept in ", html.Code(place)], className="caption")] if place else []),
        ],
    )


def _player(player: str, entries: Sequence[Entry]) -> Any:
    rows = []
    key = _session_key
    ordered = sorted(sorted(entries, key=key), key=lambda entry: entry.day, reverse=True)
    for (session, day, club), group in groupby(ordered, key=key):
        rows.append(_session(session, day, club, list(group)))
    return html.Div(
        className="player", children=[html.H3(player or "No player named"), html.Ul(rows)]
    )


def _session_key(entry: Entry) -> tuple[str, str, str]:
    return (entry.session or entry.day or entry.name, entry.day, entry.club)


def _session(session: str, day: str, club: str, entries: Sequence[Entry]) -> Any:
    sound = [entry for entry in entries if not entry.problem]
    links = [
        dcc.Link(
            entry.block or entry.name,
            href=f"/session?recordings={entry.id}",
            className="button-link",
            title=f"{entry.name}, {_minutes(entry.duration_s)}",
        )
        for entry in sound
    ]
    if len(sound) > 1:
        ids = ",".join(entry.id for entry in sound)
        together = dcc.Link("Together", href=f"/session?recordings={ids}", className="button-link")
        links.append(together)
    broken = [html.P(entry.problem, className="bad") for entry in entries if entry.problem]
    words = " · ".join(part for part in (session, club, day) if part)
    words = " · ".join(dict.fromkeys(words.split(" · ")))
    return html.Li(className="session-row", children=[html.Span(words), html.Div(links), *broken])


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"


def _cautions() -> Any:
    return html.Section(
        className="card cautions",
        children=[
            html.H2("Before you swing"),
            html.Ul([html.Li(text) for text in BEFORE_SWINGING]),
            html.H2("Before you trust a number"),
            html.Ul([html.Li(text) for text in (*READING_NUMBERS, YOUNG_PLAYERS)]),
        ],
    )


def _bring_in(entries: Sequence[Entry]) -> Any:
    return html.Section(
        className="card",
        children=[
            html.H2("Bring in a recording"),
            dcc.Upload(
                id="start-drop",
                multiple=True,
                className="drop",
                className_active="drop drop-over",
                children=html.Div(
                    [
                        html.Strong("Drop the forearm file and the club file here"),
                        html.Span("CSV, plain or .gz, with the meta file if there is one"),
                    ]
                ),
            ),
            html.Div(id="start-files", role="status"),
            dmc.Grid(
                gutter="sm",
                children=[
                    player_field("start", entries),
                    block_field("start"),
                    session_field("start"),
                    dmc.GridCol(dmc.TextInput(id="start-name", label="Name"), span=HALF),
                ],
            ),
            html.Details(
                [
                    html.Summary("No meta file? Say it here"),
                    dmc.Grid(
                        gutter="sm",
                        mt="xs",
                        children=[
                            hand_field("start"),
                            *club_fields("start"),
                            dmc.GridCol(
                                dmc.NumberInput(
                                    id="start-rate",
                                    label="Samples a second",
                                    value=1000,
                                    min=10,
                                    max=20000,
                                ),
                                span=HALF,
                            ),
                        ],
                    ),
                ]
            ),
            dmc.Button("Bring in", id="start-import", size="md", mt="md", disabled=True),
            html.Div(id="start-result", role="status", **{"aria-live": "polite"}),
        ],
    )


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""
    register_tending(app, store)

    @app.callback(
        Output("start-shelves", "children"),
        Input("start-find", "value", allow_optional=True),
        Input("start-tended", "data"),
        Input("start-result", "children"),
        prevent_initial_call=True,
    )
    def listed(wanted: str | None, _tended: int, _brought: Any) -> list[Any]:
        return shelves(store, wanted or "")

    app.clientside_callback(
        ClientsideFunction("shell", "nameUpload"),
        Output("start-drop", "className"),
        Input("start-drop", "id"),
    )

    @app.callback(
        Output("start-files", "children"),
        Output("start-import", "disabled"),
        Input("start-drop", "filename"),
        State("start-drop", "contents"),
        prevent_initial_call=True,
    )
    def dropped(names: list[str] | None, contents: list[str] | None) -> tuple[Any, bool]:
        if not names or not contents:
            return [], True
        try:
            found = sort_out(dropped_files(names, contents))
        except SwingspreadError as mistake:
            return html.P(str(mistake), className="bad", role="alert"), True
        lines = [
            html.Li([html.Strong(role), f" {file.name}, {len(file.content) / 1e6:.1f} MB"])
            for role, file in found.items()
        ]
        return html.Ul(lines, className="files-found"), False

    register_club(app, "start")

    @app.callback(
        Output("start-result", "children"),
        Input("start-import", "n_clicks"),
        State("start-drop", "filename"),
        State("start-drop", "contents"),
        State("start-name", "value"),
        State("start-player", "value"),
        State("start-session", "value"),
        State("start-block", "value"),
        State("start-hand", "value"),
        State("start-club", "value"),
        State("start-length", "value"),
        State("start-rate", "value"),
        prevent_initial_call=True,
        running=[(Output("start-import", "loading"), True, False)],
    )
    def import_them(
        _clicks: int,
        names: list[str],
        contents: list[str],
        name: str,
        player: str,
        session: str,
        block: str,
        hand: str,
        club: str,
        length_cm: float | str,
        rate: float,
    ) -> Any:
        length_m = length_cm / 100 if isinstance(length_cm, int | float) else None
        answers = {
            "format": 1,
            "handedness": hand,
            "club": {"type": club or "", "length_m": length_m},
            "units": UNITS,
            "forearm_sensor": {"rate_hz": rate},
            "club_sensor": {"rate_hz": rate},
        }
        labels = {"name": name, "player": player, "session": session, "block": block}
        try:
            files = dropped_files(names, contents)
            brought = bring_in(store.shelf, files, answers, labels)
        except SwingspreadError as mistake:
            return html.Div(
                [html.Strong("Not brought in"), html.P(str(mistake))], className="note bad"
            )
        words = "Brought in." if brought.new else "It was in the library already."
        return html.Div(
            className="note good",
            children=[
                html.Strong(words),
                *(html.P(remark, className="caption") for remark in brought.remarks),
                dcc.Link(
                    "Open it", href=f"/session?recordings={brought.id}", className="button-link"
                ),
            ],
        )

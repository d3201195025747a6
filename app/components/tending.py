"""Tending the library: other labels for a recording or a player, and deleting either for good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from app.components.swing_context import HALF
from app.deletion import Traces, erase, find_traces
from app.labelling import label
from app.shelf import Entry, own_library
from app.store import Store
from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recorder.folder import default_journals
from imu.variation.selection import Selection
from imu.variation.selection_words import write_selection


def tend_box(own: Sequence[Entry]) -> Any:
    """Folded away until wanted; only the person's own recordings can be changed."""
    return html.Details(
        className="card tend",
        children=[
            html.Summary("Rename or delete"),
            dcc.Store(id="tend-wanted"),
            dmc.Select(
                id="tend-which",
                label="Recording",
                data=tend_options(own),
                searchable=True,
                size="md",
                placeholder="choose one",
                nothingFoundMessage="none fits",
            ),
            dmc.Grid(
                gutter="sm",
                mt="xs",
                children=[
                    dmc.GridCol(dmc.TextInput(id=f"tend-{name}", label=words), span=HALF)
                    for name, words in (
                        ("name", "Name"),
                        ("session", "Session"),
                        ("block", "Block"),
                        ("who", "Player"),
                    )
                ],
            ),
            html.Div(
                className="files flush tend-actions",
                children=[
                    html.Button("Rename", id="tend-keep", className="button-link", n_clicks=0),
                    html.Button(
                        "Rename the player everywhere",
                        id="tend-everywhere",
                        className="button-link",
                        n_clicks=0,
                    ),
                    html.A(
                        "Save all of this player",
                        id="tend-save",
                        className="button-link off",
                        download="",
                    ),
                    html.Button(
                        "Delete this recording", id="tend-one", className="button-link", n_clicks=0
                    ),
                    html.Button(
                        "Delete all of this player",
                        id="tend-player",
                        className="button-link",
                        n_clicks=0,
                    ),
                ],
            ),
            html.Div(id="tend-traces"),
            html.Div(
                id="tend-sure",
                className="files flush gone",
                children=[
                    html.Button(
                        "Delete all of this for good",
                        id="tend-delete",
                        className="button-link danger",
                        n_clicks=0,
                    ),
                    html.Button("Keep it", id="tend-leave", className="button-link", n_clicks=0),
                ],
            ),
            html.P(id="tend-told", role="status", className="told"),
        ],
    )


def tend_options(own: Sequence[Entry]) -> list[dict[str, str]]:
    """Recordings by label; the name tells apart those with the same."""
    return [
        {"value": entry.id, "label": " · ".join(dict.fromkeys((entry.label, entry.name)))}
        for entry in own
    ]


def own_entries(store: Store) -> list[Entry]:
    """The person's recordings, without the samples."""
    return [entry for entry in store.entries() if not entry.sample]


def _traces(store: Store, wanted: Sequence[str]) -> Traces:
    return find_traces(own_library(store.shelf), list(wanted), default_journals())


def _asked(store: Store, recording: str, player: bool) -> list[str]:
    if not recording:
        raise SwingspreadError("Choose a recording first.")
    (entry,) = store.resolve([recording])
    if not player:
        return [entry.id]
    if not entry.player:
        raise SwingspreadError("This recording names no player; delete it by itself.")
    return [write_selection(Selection(players=(entry.player,)))]


def register_tending(app: Dash, store: Store) -> None:
    """Callbacks of the box; ``start-tended`` changes when the library did."""

    @app.callback(
        Output("tend-name", "value"),
        Output("tend-session", "value"),
        Output("tend-block", "value"),
        Output("tend-who", "value"),
        Output("tend-save", "href"),
        Output("tend-save", "className"),
        Input("tend-which", "value"),
        Input("start-tended", "data"),
        prevent_initial_call=True,
    )
    def chosen(recording: str | None, _tended: int) -> tuple[Any, ...]:
        found = [entry for entry in store.entries() if entry.id == recording]
        if not found or found[0].problem:
            return "", "", "", "", None, "button-link off"
        one = found[0]
        where = f"/files/everything.zip?{urlencode({'player': one.player})}" if one.player else None
        look = "button-link" if where else "button-link off"
        return one.manifest.name, one.session, one.block, one.player, where, look

    @app.callback(
        Output("tend-told", "children"),
        Output("tend-traces", "children"),
        Output("tend-sure", "className"),
        Output("tend-wanted", "data"),
        Output("tend-which", "data"),
        Output("tend-which", "value"),
        Output("start-tended", "data"),
        Input("tend-keep", "n_clicks"),
        Input("tend-everywhere", "n_clicks"),
        Input("tend-one", "n_clicks"),
        Input("tend-player", "n_clicks"),
        Input("tend-delete", "n_clicks"),
        Input("tend-leave", "n_clicks"),
        State("tend-which", "value"),
        State("tend-name", "value"),
        State("tend-session", "value"),
        State("tend-block", "value"),
        State("tend-who", "value"),
        State("tend-wanted", "data"),
        State("start-tended", "data"),
        prevent_initial_call=True,
    )
    def tend(
        _keep: int, _everywhere: int, _one: int, _player: int, _delete: int, _leave: int,
        recording: str, name: str, session: str, block: str, who: str,
        wanted: list[str] | None, tended: int,
    ) -> tuple[Any, ...]:  # fmt: skip
        shut, same = "files flush gone", no_update
        try:
            match ctx.triggered_id:
                case "tend-keep":
                    labels = {"name": name, "session": session, "block": block, "player": who}
                    said = _rename(store, _asked(store, recording, False), labels)
                    return said, "", shut, None, _listed(store), same, tended + 1
                case "tend-everywhere":
                    said = _rename(store, _asked(store, recording, True), {"player": who})
                    return said, "", shut, None, _listed(store), same, tended + 1
                case "tend-one" | "tend-player":
                    asked = _asked(store, recording, ctx.triggered_id == "tend-player")
                    lines = [html.Li(line) for line in _traces(store, asked).lines()]
                    shown = [html.P("This would go, and cannot be brought back:"), html.Ul(lines)]
                    return "", shown, "files flush", asked, same, same, same
                case "tend-delete":
                    erase(own_library(store.shelf), _traces(store, wanted or []))
                    said = "Deleted. Copies exported elsewhere are not touched."
                    return said, "", shut, None, _listed(store), None, tended + 1
                case _:
                    return "Nothing was deleted.", "", shut, None, same, same, same
        except SwingspreadError as mistake:
            said = html.Span(str(mistake), className="bad")
            return said, "", shut, None, same, same, same


def _listed(store: Store) -> list[dict[str, str]]:
    return tend_options(own_entries(store))


def _rename(store: Store, texts: Sequence[str], labels: Mapping[str, str | None]) -> str:
    """Other labels for recordings, which themselves never change; what was done, in words."""
    given = {key: value or "" for key, value in labels.items()}
    if "player" in given and not given["player"].strip() and len(given) == 1:
        raise SwingspreadError("Give the player a name first.")
    done = label(own_library(store.shelf), texts, given, default_journals())
    parts = [counted(len(done.entries), "recording")]
    if done.sets:
        parts.append(counted(len(done.sets), "saved set"))
    joined = f" {counted(done.joined, 'recording')} had this player's name already."
    return f"Renamed in {' and '.join(parts)}.{joined if done.joined else ''}"

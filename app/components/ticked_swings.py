"""What can be done with the swings ticked in the table: leave out, count again, keep as a set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from app.components.choices import REASONS
from app.saved_sets import (
    in_words,
    keep_set,
    kept_sets,
    options,
    remove_set,
    selection_shown,
    token_of,
)
from app.store import Store
from imu.errors import SwingspreadError


def ticked_bar() -> Any:
    """A bar under the table, there only while swings are ticked."""
    return html.Div(
        id="session-ticked",
        className="ticked off",
        children=[
            dmc.Autocomplete(
                id="session-reason",
                label=html.Span(id="session-ticked-count"),
                data=list(REASONS),
                size="md",
                className="reason",
            ),
            html.Button(
                "Leave out", id="session-leave-out", className="button-link at-foot", n_clicks=0
            ),
            html.Button(
                "Count again", id="session-count", className="button-link at-foot", n_clicks=0
            ),
        ],
    )


def sets_box(store: Store) -> Any:
    """Keeping what is shown, or ticked, under a name; and the sets kept already."""
    return html.Div(
        className="sets-box",
        children=[
            html.P(id="session-told", role="status", className="told"),
            html.Details(
                [
                    html.Summary("Sets of swings"),
                    html.Div(
                        className="ticked flush",
                        children=[
                            dmc.TextInput(
                                id="session-set-name",
                                label="Keep as a set, called",
                                size="md",
                                className="reason",
                            ),
                            html.Button(
                                "Keep all shown",
                                id="session-keep-set",
                                className="button-link at-foot",
                                n_clicks=0,
                            ),
                        ],
                    ),
                    html.Div(set_list(store), id="session-sets"),
                ]
            ),
        ],
    )


def set_list(store: Store) -> Any:
    """The sets kept: open one, or forget it."""
    saved = kept_sets(store.shelf.place()).sets
    entries = store.entries()
    if not saved:
        return html.P("None kept yet.", className="caption")
    return html.Ul(
        [
            html.Li(
                [
                    html.Div(
                        [
                            dcc.Link(name, href=f"/session?recordings={token_of(name)}"),
                            html.Span(in_words(one.selection, entries), className="caption"),
                        ]
                    ),
                    html.Button(
                        "Remove",
                        id={"kind": "remove-set", "name": name},
                        className="button-link",
                        n_clicks=0,
                        **{"aria-label": f"Remove the set {name}"},
                    ),
                ]
            )
            for name, one in saved.items()
        ],
        className="set-list",
    )


def keys_of(selected: Any) -> list[str]:
    """Keys of the rows ticked, whichever way the grid tells them."""
    if isinstance(selected, dict):
        return [str(key) for key in selected.get("ids", [])]
    return [str(row["key"]) for row in selected or []]


def register_ticked(app: Dash, store: Store) -> None:
    """Callbacks of the bar and the sets."""

    app.clientside_callback(
        ClientsideFunction("session", "ticked"),
        Output("session-ticked", "className"),
        Output("session-ticked-count", "children"),
        Output("session-keep-set", "children"),
        Input("session-grid", "selectedRows"),
    )

    @app.callback(
        Output("session-told", "children"),
        Output("session-noted", "data"),
        Input("session-leave-out", "n_clicks"),
        Input("session-count", "n_clicks"),
        State("session-reason", "value"),
        State("session-grid", "selectedRows"),
        State("session-ids", "data"),
        State("session-noted", "data"),
        prevent_initial_call=True,
    )
    def leave_out(
        _out: int, _again: int, reason: str, selected: Any, ids: Sequence[str], noted: int
    ) -> tuple[Any, Any]:
        leaving = ctx.triggered_id == "session-leave-out"
        said = (reason or "").strip()
        if leaving and not said:
            return html.Span("Say why they are left out.", className="bad"), no_update
        try:
            shown = store.swing_set(ids)
            count = store.leave_out(shown, keys_of(selected), said if leaving else "")
        except SwingspreadError as mistake:
            return html.Span(str(mistake), className="bad"), no_update
        swings = f"{count} swing{'s' * (count != 1)}"
        if leaving:
            return f"{swings} left out: {said}.", noted + 1
        return f"{swings} count{'s' * (count == 1)} again.", noted + 1

    @app.callback(
        Output("session-told", "children", allow_duplicate=True),
        Output("session-sets", "children"),
        Output("session-choose", "data"),
        Output("session-set-name", "value"),
        Input("session-keep-set", "n_clicks"),
        Input({"kind": "remove-set", "name": ALL}, "n_clicks"),
        State("session-set-name", "value"),
        State("session-grid", "selectedRows"),
        State("session-kind", "value"),
        State("session-ids", "data"),
        prevent_initial_call=True,
    )
    def sets(
        _keep: int, _remove: list[int], name: str, selected: Any, kind: str, ids: Sequence[str]
    ) -> tuple[Any, ...]:
        place = store.shelf.place()
        if not ctx.triggered or not ctx.triggered[0]["value"]:
            return (no_update,) * 4
        try:
            if isinstance(ctx.triggered_id, dict):
                gone = str(ctx.triggered_id["name"])
                remove_set(place, gone)
                told = f"The set {gone} is forgotten; its swings stay."
            else:
                shown = store.swing_set(ids).swings
                rows = shown if kind == "every" else shown[shown["kind"] == kind]
                wanted = selection_shown(ids, kind, rows, keys_of(selected), place)
                kept = keep_set(place, name, wanted)
                told = f"Kept as {kept}. Choose it above, or on the compare page."
        except SwingspreadError as mistake:
            return html.Span(str(mistake), className="bad"), no_update, no_update, no_update
        return told, set_list(store), options(place, store.entries()), ""

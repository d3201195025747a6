"""Session: every swing over the others, what spreads, and the table that chooses among them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.components.choices import ALIGN, choose_sets, segmented
from app.components.graph import graph, picture_buttons
from app.components.measured import how_measured, warnings_of
from app.components.modes_card import modes_card, modes_shown
from app.components.swing_grid import rows_of, swing_grid
from app.components.ticked_swings import register_ticked, sets_box, ticked_bar
from app.components.tiles import tiles
from app.saved_sets import options, shown_name
from app.shelf import Entry
from app.store import Store, SwingSet
from app.summary import levels, session_sentence
from imu.figures.curve_names import CURVES, EVERY_CURVE, curves_in
from imu.figures.overlay import OverlayChoices, overlay_figure

PATH = "/session"
NAME = "Session"

TILE_METRICS = (
    "tempo_ratio",
    "downswing_ms",
    "release_ms",
    "hinge_max_deg",
    "hinge_at_impact_deg",
    "clubhead_speed_m_s",
)
TABLE_METRICS = (
    "tempo_ratio",
    "release_ms",
    "hinge_max_deg",
    "hinge_at_impact_deg",
    "downswing_ms",
    "backswing_ms",
    "overlap_ms",
    "lag_at_parallel_deg",
    "wrist_share",
    "plane_shift_deg",
    "clubhead_speed_m_s",
)
KINDS = (("ball", "With ball"), ("practice", "Practice"), ("every", "All"))


def recordings(store: Store, query: Mapping[str, str]) -> tuple[str, ...]:
    """Ids the address asks for; without any, the newest recording."""
    return tuple(entry.id for entry in store.resolve(_tokens(store, query)))


def _tokens(store: Store, query: Mapping[str, str]) -> list[str]:
    """Recordings and saved sets the address asks for; without any, the newest recording."""
    wanted = [one for one in query.get("recordings", "").split(",") if one]
    if not wanted:
        wanted = [entry.id for entry in store.entries()[:1]]
    return store.tokens(wanted)


def chosen_kind(swings: pd.DataFrame, kind: str) -> pd.Series:
    """Rows to show."""
    return pd.Series(True, swings.index) if kind == "every" else swings["kind"] == kind


def title_of(entries: Sequence[Entry], sets: Sequence[str] = ()) -> tuple[str, str]:
    """Heading and the line under it; saved sets lead with their name."""
    who = [", ".join(part for part in (e.player or e.name, e.club) if part) for e in entries]
    heading = " + ".join(dict.fromkeys(who))
    if sets and all(sets):
        several = f" · {len(entries)} recordings" if len(entries) > 1 else ""
        return " + ".join(sets), f"{heading}{several}"
    sessions = list(dict.fromkeys(entry.session for entry in entries if entry.session))
    session = f"{len(sessions)} sessions" if len(sessions) > 1 else "".join(sessions)
    blocks = " + ".join(dict.fromkeys(entry.block for entry in entries if entry.block))
    days = sorted({entry.day for entry in entries if entry.day})
    day = " to ".join(dict.fromkeys((days[0], days[-1]))) if days else ""
    return heading, " · ".join(part for part in (session, blocks, day) if part)


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The page for the recordings in the address."""
    ids = _tokens(store, query)
    if not ids:
        return html.Section(
            className="card narrow",
            children=[html.H1("No recordings yet"), dcc.Link("Bring one in", href="/")],
        )
    shown = store.swing_set(ids)
    kinds = [choice for choice in KINDS if choice[0] == "every" or _has(shown, choice[0])]
    asked = query.get("kind", "ball")
    kind = asked if asked in dict(kinds) else kinds[0][0]
    subset = shown.only(chosen_kind(shown.swings, kind))
    keys = set(subset.swings["key"].astype(str))
    picks = [key for key in query.get("pick", "").split(",") if key in keys]
    heading, under = title_of(shown.entries, [shown_name(token) for token in ids])
    return html.Div(
        className="page",
        children=[
            dcc.Store(id="session-ids", data=list(ids)),
            dcc.Store(id="session-recordings", data=list(shown.ids)),
            dcc.Store(id="session-noted", data=0),
            dcc.Store(id="session-picks", data=picks),
            dcc.Store(id="session-clicked"),
            html.Div(
                className="page-head",
                children=[
                    html.Div([html.H1(heading), html.P(under, className="quiet")]),
                    choose_sets(
                        "session-choose",
                        "Recordings or sets shown",
                        options(store.shelf.place(), store.entries()),
                        ids,
                    ),
                ],
            ),
            html.P(id="session-sentence", className="sentence", role="status"),
            *warnings_of(shown),
            html.Div(id="session-tiles"),
            html.Div(
                className="split",
                children=[
                    html.Section(
                        className="card figure-card",
                        **{"aria-label": "Overlay of the swings"},
                        children=[
                            html.Div(
                                className="choices",
                                children=[
                                    segmented(
                                        "session-align",
                                        "Line up at",
                                        ALIGN,
                                        query.get("align", "impact"),
                                    ),
                                    segmented(
                                        "session-curves",
                                        "Curves",
                                        curve_choices(shown),
                                        query.get("curves", "all"),
                                    ),
                                ],
                            ),
                            html.Div(id="session-chips", className="chips", role="status"),
                            graph(
                                "session-figure", 760, "Every swing of the session over the others"
                            ),
                            html.P(
                                "Thick line: median. Shaded: the middle 80 % of swings. "
                                "Thin lines: every swing. Tick up to five in the table. "
                                "Drag to zoom, double-click for all.",
                                className="caption",
                            ),
                            picture_buttons("session-figure", "swings"),
                        ],
                    ),
                    html.Section(
                        className="card table-card",
                        **{"aria-label": "Swings"},
                        children=[
                            html.Div(
                                className="table-head",
                                children=[
                                    html.H2("Swings"),
                                    segmented(
                                        "session-kind", "Which swings", kinds, kind, "sm", True
                                    ),
                                ],
                            ),
                            html.Div(
                                swing_grid(
                                    "session-grid",
                                    subset.swings,
                                    TABLE_METRICS,
                                    picks,
                                    store.preferences,
                                ),
                                className="grid-box",
                            ),
                            ticked_bar(),
                            html.Div(id="session-files", className="files"),
                            sets_box(store),
                        ],
                    ),
                ],
            ),
            modes_card(),
            how_measured(shown),
        ],
    )


def curves_of(shown: SwingSet) -> tuple[str, ...]:
    """Curves that one of the recordings at least has."""
    return curves_in(column for curves, _ in shown.parts for column in curves.columns)


def curve_choices(shown: SwingSet) -> list[tuple[str, str]]:
    """All curves at once, or one of them."""
    columns = curves_of(shown)
    every = "All three" if len(columns) == len(CURVES) else "All"
    return [("all", every), *((column, EVERY_CURVE[column][0]) for column in columns)]


def _has(shown: SwingSet, kind: str) -> bool:
    return bool((shown.swings["kind"] == kind).any())


def _left_out(subset: SwingSet, counted: SwingSet) -> str:
    count = len(subset.swings) - len(counted.swings)
    if not count:
        return ""
    return f" {count} more {'is' if count == 1 else 'are'} left out; the table says why."


def files(ids: Sequence[str]) -> list[Any]:
    """Links that save what is shown."""
    where = urlencode({"recordings": ",".join(ids)}, safe=",:~")
    return [
        html.Span("Save", className="quiet"),
        html.A(
            "Spreadsheet", href=f"/files/swings.xlsx?{where}", download="", className="button-link"
        ),
        html.A("CSV", href=f"/files/swings.csv?{where}", download="", className="button-link"),
        html.A(
            "Parquet", href=f"/files/swings.parquet?{where}", download="", className="button-link"
        ),
        html.A(
            "Curves", href=f"/files/curves.parquet?{where}", download="", className="button-link"
        ),
    ]


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""

    @app.callback(
        Output("session-figure", "figure"),
        Input("session-align", "value"),
        Input("session-curves", "value"),
        Input("session-kind", "value"),
        Input("shown-theme", "data"),
        Input("session-noted", "data"),
        State("session-ids", "data"),
        State("session-picks", "data"),
    )
    def draw(
        align: str,
        curves: str,
        kind: str,
        theme: str,
        _noted: int,
        ids: list[str],
        picks: list[str],
    ) -> Any:
        shown = store.swing_set(ids)
        counted = shown.counted().swings
        keys = tuple(counted.loc[chosen_kind(counted, kind), "key"].astype(int))
        every = curves_of(shown)
        columns = every if curves not in every else (curves,)
        aligned = store.aligned(shown.ids, keys, every, align)
        names = dict(zip(shown.swings["key"].astype(str), shown.swings["name"], strict=True))
        choices = OverlayChoices(
            columns=columns,
            highlighted=tuple(picks),
            theme=theme or "light",
            names=names,
            height=760,
        )
        return overlay_figure(aligned, choices)

    @app.callback(
        Output("session-sentence", "children"),
        Output("session-tiles", "children"),
        Output("session-grid", "rowData"),
        Output("session-files", "children"),
        Input("session-kind", "value"),
        Input("session-noted", "data"),
        State("session-ids", "data"),
    )
    def numbers(kind: str, _noted: int, ids: list[str]) -> tuple[Any, ...]:
        shown = store.swing_set(ids)
        subset = shown.only(chosen_kind(shown.swings, kind))
        counted = subset.counted()
        keys = tuple(counted.swings["key"].astype(int))
        aligned = store.aligned(shown.ids, keys, curves_of(shown), "impact")
        return (
            session_sentence(counted.swings, aligned) + _left_out(subset, counted),
            tiles(
                levels(counted.swings, TILE_METRICS, store.preferences),
                store.preferences,
                shown.entries[0].manifest.player.handedness,
            ),
            rows_of(subset.swings, TABLE_METRICS, store.preferences),
            files(ids),
        )

    @app.callback(
        Output("session-modes-words", "children"),
        Output("session-modes-picture", "hidden"),
        Output("session-modes", "figure"),
        Input("session-kind", "value"),
        Input("shown-theme", "data"),
        Input("session-noted", "data"),
        State("session-ids", "data"),
    )
    def ways(kind: str, theme: str, _noted: int, ids: list[str]) -> tuple[Any, ...]:
        shown = store.swing_set(ids)
        return modes_shown(shown.only(chosen_kind(shown.swings, kind)), theme or "light")

    @app.callback(
        Output("address", "href"),
        Input("session-choose", "value"),
        State("session-ids", "data"),
        prevent_initial_call=True,
    )
    def choose(wanted: list[str], ids: list[str]) -> Any:
        if not wanted or wanted == ids:
            return no_update
        return f"{PATH}?{urlencode({'recordings': ','.join(wanted)}, safe=',:~')}"

    app.clientside_callback(
        ClientsideFunction("session", "pick"),
        Output("session-picks", "data"),
        Output("session-chips", "children"),
        Input("session-grid", "selectedRows"),
        Input("session-figure", "figure"),
        State("session-recordings", "data"),
    )
    app.clientside_callback(
        ClientsideFunction("session", "click"),
        Output("session-grid", "selectedRows"),
        Input("session-clicked", "data"),
        State("session-grid", "selectedRows"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("session", "remember"),
        Output("session-figure", "className"),
        Input("session-align", "value"),
        Input("session-curves", "value"),
        Input("session-kind", "value"),
        Input("session-picks", "data"),
        State("session-ids", "data"),
    )
    register_ticked(app, store)

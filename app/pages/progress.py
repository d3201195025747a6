"""Progress: months of sessions of one player with one club; the session is the unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
import pandas as pd
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.components.choices import USUAL_METRIC, choose_metric, page_head
from app.components.graph import graph, picture_buttons
from app.components.numbers import plain
from app.shelf import Entry
from app.store import Store
from imu.errors import SwingspreadError
from imu.figures.trend import trend_figure
from imu.number_words import decimals_for
from imu.shown_units import SI, ShownUnits
from imu.variation.as_shown import progress_as_shown
from imu.variation.progress import Progress, progress
from imu.variation.session_table import far_out_sessions
from imu.variation.wording import plain_name

PATH = "/progress"
NAME = "Progress"


def pairs(store: Store) -> dict[str, list[Entry]]:
    """Recordings by "player · club", for every pair in the library."""
    found: dict[str, list[Entry]] = {}
    for entry in store.entries():
        if not entry.problem:
            name = " · ".join(part for part in (entry.player or "No name", entry.club) if part)
            found.setdefault(name, []).append(entry)
    return found


def _chosen(found: Mapping[str, Sequence[Entry]], query: Mapping[str, str]) -> str:
    if not found:
        raise SwingspreadError("There is no recording yet. Bring one in on the start page.")
    wanted = query.get("who", "")
    return wanted if wanted in found else next(iter(found))


def recordings(store: Store, query: Mapping[str, str]) -> tuple[str, ...]:
    """All recordings of the player and club shown."""
    found = pairs(store)
    return tuple(entry.id for entry in found[_chosen(found, query)])


def at_hand(store: Store, recording_id: str) -> bool:
    """The swing table is all that sessions need."""
    return store.swings_of(recording_id) is not None


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The player and club of the address, or the first of the library."""
    known = pairs(store)
    who = _chosen(known, query)
    return html.Div(
        className="page",
        children=[
            dcc.Store(id="progress-who", data=who),
            page_head(
                "Over the months",
                [
                    dmc.Select(
                        id="progress-choose",
                        label="Player and club",
                        data=list(known),
                        value=who,
                        allowDeselect=False,
                        size="md",
                        w=320,
                    ),
                    choose_metric("progress-metric", "Measure", query.get("metric", USUAL_METRIC)),
                ],
            ),
            html.Div(id="progress-words", role="status"),
            html.Div(
                className="split",
                children=[
                    html.Section(
                        [
                            graph("progress-figure", 560, "Mean and spread of every session"),
                            picture_buttons("progress-figure", "progress"),
                        ],
                        className="card figure-card",
                        **{"aria-label": "Sessions over time"},
                    ),
                    html.Section(
                        className="card",
                        **{"aria-label": "Sessions"},
                        children=[
                            html.H2("Sessions"),
                            html.Div(
                                id="progress-table",
                                className="long-table",
                                tabIndex=0,
                                role="region",
                                **{"aria-label": "Sessions, scrolls"},
                            ),
                        ],
                    ),
                ],
            ),
        ],
    )


class Follower:
    """Trends over the struck swings that count, remembered by what they were made of."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._follow = lru_cache(maxsize=8)(self._work)

    def follow(self, who: str) -> Progress:
        """Raises SwingspreadError when nothing is there to follow."""
        entries = pairs(self.store).get(who)
        if not entries:
            raise SwingspreadError(f"There is no recording of {who} any more.")
        notes = tuple(self.store.shelf.notes(entry.id) for entry in entries)
        named = tuple((entry.id, entry.session, entry.day) for entry in entries)
        return self._follow(who, named, notes, self.store.settings)

    def _work(self, who: str, _named: object, _notes: object, _settings: object) -> Progress:
        swings = self.store.session_swings(pairs(self.store)[who])
        counts = (swings["left_out"] == "") & (swings["quality"] != "poor")
        struck = swings[counts & (swings["kind"] == "ball")]
        return progress(struck.reset_index(drop=True))


def words(found: Progress, metric: str) -> list[Any]:
    """The sentences on the measure shown, then what is wrong with the data, and
    with the SDs."""
    trend = next((one for one in found.trends if one.metric == metric), None)
    wild = far_out_sessions(found.sessions[found.sessions["metric"] == metric])
    said = [trend.level_sentence, trend.spread_sentence] if trend and not found.warnings else []
    return [
        *(html.P(one, className="sentence second") for one in said),
        *(html.P(one, className="note") for one in (*found.warnings, wild) if one),
    ]


def session_rows(sessions: pd.DataFrame, metric: str, units: ShownUnits = SI) -> Any:
    """The numbers of the figure as a table; sessions : in these units already."""
    chosen = units.metric(metric)
    unit = f", {chosen.unit}" if chosen.unit else ""
    lines = []
    for row in sessions.to_dict("records"):
        error = (row["mean_high"] - row["mean_low"]) / 4.0
        places = decimals_for(error, row["mean"])
        spread = decimals_for((row["sd_high"] - row["sd_low"]) / 4.0, row["sd"])
        lines.append(
            html.Tr(
                [
                    html.Th(row["date"] or row["session"] or "undated", scope="row"),
                    html.Td(str(row["swings"]), className="number"),
                    html.Td(plain(row["mean"], places), className="number"),
                    html.Td(plain(row["sd"], spread), className="number"),
                ]
            )
        )
    heads = ("", "Swings", f"Mean{unit}", f"SD{unit}")
    caption = html.Caption(plain_name(chosen), className="heard")
    head = html.Thead(html.Tr([html.Th(one, scope="col", className="number") for one in heads]))
    return html.Table([caption, head, html.Tbody(lines)], className="numbers plain")


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""
    follower = Follower(store)

    @app.callback(
        Output("progress-figure", "figure"),
        Output("progress-words", "children"),
        Output("progress-table", "children"),
        Input("progress-metric", "value"),
        Input("shown-theme", "data"),
        State("progress-who", "data"),
    )
    def draw(metric: str, theme: str, who: str) -> tuple[Any, Any, Any]:
        try:
            found = progress_as_shown(follower.follow(who), store.preferences.units)
        except SwingspreadError as mistake:
            return no_update, html.P(str(mistake), className="note bad", role="alert"), ""
        sessions = found.sessions[found.sessions["metric"] == metric]
        units = store.preferences.units
        figure = trend_figure(sessions, units.metric(metric), theme or "light")
        return figure, words(found, metric), session_rows(sessions, metric, units)

    @app.callback(
        Output("address", "href", allow_duplicate=True),
        Input("progress-choose", "value"),
        State("progress-who", "data"),
        State("progress-metric", "value"),
        prevent_initial_call=True,
    )
    def choose(wanted: str, who: str, metric: str) -> Any:
        if not wanted or wanted == who:
            return no_update
        return f"{PATH}?{urlencode({'who': wanted, 'metric': metric})}"

    app.clientside_callback(
        ClientsideFunction("compare", "rememberProgress"),
        Output("progress-figure", "className"),
        Input("progress-metric", "value"),
        State("progress-who", "data"),
    )

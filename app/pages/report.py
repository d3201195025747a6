"""Report: a page for the player to take home, and files for whoever takes the numbers further."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from app.comparing import usual_pair
from app.components.choices import choose_sets, page_head
from app.saved_sets import options
from app.store import Store
from imu.errors import SwingspreadError
from imu.exports.pdf import find_browser

PATH = "/report"
NAME = "Report"

FILES: tuple[tuple[str, str, str], ...] = (
    ("swings.xlsx", "Spreadsheet", "swings, spread and the meaning of every column"),
    ("swings.csv", "Swings, CSV", "one row a swing"),
    ("swings.parquet", "Swings, Parquet", "the same, with units inside"),
    ("curves.parquet", "Curves, Parquet", "one row a sample"),
    ("pictures.zip", "Pictures, SVG", "overlay and spread, for slides and print"),
    ("raw.zip", "Raw streams, CSV", "as the importer takes them"),
    ("motion-bids.zip", "Raw streams, Motion-BIDS", "an open layout; players numbered, not named"),
)


def _ids(store: Store, query: Mapping[str, str], name: str) -> list[str]:
    wanted = [one for one in query.get(name, "").split(",") if one]
    return store.tokens(wanted)


def _chosen(store: Store, query: Mapping[str, str]) -> tuple[list[str], list[str]]:
    ids = _ids(store, query, "recordings")
    if not ids:
        sound = [entry for entry in store.entries() if not entry.problem]
        if not sound:
            raise SwingspreadError("There is no recording yet. Bring one in on the start page.")
        pair = usual_pair(sound)
        ids = [pair[1]] if pair else [sound[0].id]
    return ids, _ids(store, query, "against")


def recordings(store: Store, query: Mapping[str, str]) -> tuple[str, ...]:
    """Ids of both."""
    ids, against = _chosen(store, query)
    return tuple(entry.id for entry in store.resolve([*ids, *against]))


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """What to report on, the page itself, and the files."""
    ids, against = _chosen(store, query)
    choices = options(store.shelf.place(), store.entries())
    where = _where(ids, against)
    links = [
        html.A("Save the page", href=f"/files/report.html?{where}&save=1", className="main-link"),
        html.A(
            "Open it to print",
            href=f"/files/report.html?{where}",
            target="_blank",
            className="button-link",
        ),
    ]
    if find_browser():
        links.append(html.A("PDF", href=f"/files/report.pdf?{where}", className="button-link"))
    return html.Div(
        className="page",
        children=[
            dcc.Store(id="report-which", data={"recordings": ids, "against": against}),
            page_head(
                "To take home",
                [
                    choose_sets("report-choose", "Recording or set", choices, ids),
                    choose_sets("report-against", "Set against, if anything", choices, against),
                ],
            ),
            html.Div(
                className="split report-split",
                children=[
                    html.Section(
                        className="card",
                        **{"aria-label": "The page"},
                        children=[
                            html.Div(links, className="files flush"),
                            html.Iframe(
                                src=f"/files/report.html?{where}",
                                className="preview",
                                title="The page for the player",
                            ),
                        ],
                    ),
                    html.Section(
                        className="card",
                        **{"aria-label": "Files"},
                        children=[
                            html.H2("Files"),
                            html.Ul(
                                [_file(name, words, what, ids) for name, words, what in FILES],
                                className="file-list",
                            ),
                        ],
                    ),
                ],
            ),
        ],
    )


def _where(ids: Sequence[str], against: Sequence[str]) -> str:
    values = {"recordings": ",".join(ids)}
    if against:
        values["against"] = ",".join(against)
    return urlencode(values, safe=",:~")


def _file(name: str, words: str, what: str, ids: Sequence[str]) -> Any:
    return html.Li(
        [
            html.A(words, href=f"/files/{name}?{_where(ids, ())}", className="button-link"),
            html.Span(what, className="quiet"),
        ]
    )


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""

    @app.callback(
        Output("address", "href", allow_duplicate=True),
        Input("report-choose", "value"),
        Input("report-against", "value"),
        State("report-which", "data"),
        prevent_initial_call=True,
    )
    def choose(ids: list[str], against: list[str], which: dict[str, list[str]]) -> Any:
        if not ids or (ids == which["recordings"] and against == which["against"]):
            return no_update
        return f"{PATH}?{_where(ids, [one for one in against if one not in ids])}"

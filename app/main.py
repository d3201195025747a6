"""The shell of the dashboard: header, navigation, theme, and the page the address asks for."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import Any
from urllib.parse import parse_qs

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.components.theme import MANTINE_THEME
from app.components.waiting import problem, waiting
from app.files import add_file_routes
from app.guard import add_guard, add_headers, script_hashes
from app.pages import compare, plan, progress, record, report, session, settings, start, swing
from app.pairing import Pairing
from app.store import Store
from imu.errors import SwingspreadError

PAGES: tuple[ModuleType, ...] = (
    start,
    plan,
    record,
    session,
    swing,
    compare,
    progress,
    report,
    settings,
)
"""Pages in the order of navigation. A page has PATH, NAME, ``layout(store, query)`` and
``register(app, store)``; one that shows recordings also has ``recordings(store, query)``, and
``at_hand(store, id)`` when less than a whole analysis will do."""

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="assets/mark.svg">
{%css%}
</head>
<body>
<script>(function () {
  var saved = null;
  try { saved = JSON.parse(localStorage.getItem("theme")); } catch (problem) { saved = null; }
  var dark = saved ? saved === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.setAttribute("data-mantine-color-scheme", dark ? "dark" : "light");
})();</script>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def create_app(store: Store, pairing: Pairing | None = None) -> Dash:
    """The dashboard over ``store``; serve its ``.server`` with any WSGI server.

    pairing : lets devices of the network in that know its code; None for this machine only.
    """
    app = Dash(
        "app",
        title="Swingspread",
        update_title="",
        assets_folder=str(Path(__file__).parent / "assets"),
        suppress_callback_exceptions=True,
        serve_locally=True,
        compress=False,
    )
    app.index_string = INDEX
    app.layout = _shell
    add_guard(app.server, pairing)
    add_headers(app.server, lambda: [*script_hashes(INDEX), *app.csp_hashes()])
    add_file_routes(app.server, store)
    _route(app, store)
    _theme(app)
    for page in PAGES:
        page.register(app, store)
    return app


def _shell() -> Any:
    links = [
        dcc.Link(page.NAME, href=page.PATH, className="nav-link", id=f"nav-{page.__name__[10:]}")
        for page in PAGES
    ]
    return dmc.MantineProvider(
        id="mantine",
        theme=MANTINE_THEME,
        children=[
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="theme", storage_type="local"),
            dcc.Store(id="shown-theme"),
            dcc.Store(id="refresh", data=0),
            dcc.Store(id="page-title"),
            html.A("Skip to content", href="#content", className="skip"),
            html.Header(
                className="top",
                children=[
                    dcc.Link(
                        [html.Img(src="assets/mark.svg", alt="", className="mark"), "Swingspread"],
                        href="/",
                        className="brand",
                    ),
                    html.Nav(links, id="navigation", **{"aria-label": "Pages"}),
                    html.Button("Dark", id="theme-button", className="plain-button", n_clicks=0),
                ],
            ),
            html.Main(id="content", tabIndex=-1),
        ],
    )


def page_for(path: str) -> ModuleType | None:
    """The page at ``path``."""
    for page in PAGES:
        if (path.rstrip("/") or "/") == page.PATH:
            return page
    return None


def _route(app: Dash, store: Store) -> None:
    @app.callback(
        Output("content", "children"),
        Output("page-title", "data"),
        Input("address", "pathname"),
        Input("refresh", "data"),
        State("address", "search"),
        State("address", "href"),
    )
    def show(path: str | None, _refresh: int, search: str | None, _href: str) -> tuple[Any, str]:
        page = page_for(path or "/")
        if page is None:
            return problem("There is no such page.", "Go to the start page", "/"), "Not found"
        query = {name: values[-1] for name, values in parse_qs((search or "").lstrip("?")).items()}
        try:
            wanted = page.recordings(store, query) if hasattr(page, "recordings") else ()
            at_hand = getattr(page, "at_hand", Store.has)
            missing = [one for one in wanted if not at_hand(store, one)]
            if missing:
                store.start(missing)
                return waiting(missing), page.NAME
            return page.layout(store, query), page.NAME
        except SwingspreadError as mistake:
            return problem(str(mistake), "Go to the start page", "/"), page.NAME

    @app.callback(
        Output("wait-bar", "value"),
        Output("wait-text", "children"),
        Output("refresh", "data"),
        Output("wait-tick", "disabled"),
        Output("wait-ways-on", "hidden"),
        Input("wait-tick", "n_intervals"),
        State("wait-ids", "data"),
        State("refresh", "data"),
        prevent_initial_call=True,
    )
    def tick(_n: int, ids: list[str], refresh: int) -> tuple[Any, ...]:
        fraction, text, error = store.progress(ids)
        if error:
            return 100 * fraction, error, no_update, True, False
        if fraction >= 1.0:
            return 100, "Ready", refresh + 1, True, True
        return 100 * fraction, text[:1].upper() + text[1:], no_update, False, True

    @app.callback(
        Output("refresh", "data", allow_duplicate=True),
        Input("wait-again", "n_clicks"),
        State("refresh", "data"),
        prevent_initial_call=True,
    )
    def again(clicks: int, refresh: int) -> Any:
        return refresh + 1 if clicks else no_update  # called without a click as it appears

    @app.callback(
        Output("wait-stop", "disabled"),
        Input("wait-stop", "n_clicks"),
        State("wait-ids", "data"),
        prevent_initial_call=True,
    )
    def stop(_n: int, ids: list[str]) -> bool:
        store.stop(ids)
        return True

    app.clientside_callback(
        ClientsideFunction("shell", "arrived"),
        Output("navigation", "data-at"),
        Input("address", "pathname"),
        Input("page-title", "data"),
    )


def _theme(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("shell", "toggleTheme"),
        Output("theme", "data"),
        Input("theme-button", "n_clicks"),
        State("shown-theme", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("shell", "showTheme"),
        Output("shown-theme", "data"),
        Output("mantine", "forceColorScheme"),
        Output("theme-button", "children"),
        Input("theme", "data"),
    )

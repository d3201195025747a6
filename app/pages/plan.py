"""Plan: how many swings a test needs, and its blocks laid out as a list to tick or print."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.components.choices import segmented
from app.components.plan_checklist import checklist, limits_words, pitfall
from app.planned_session import blocks_recorded, recordings_of
from app.saved_sets import kept_sets
from app.shelf import Entry
from app.store import Store
from imu.errors import SwingspreadError
from imu.recordings.saved_sets import SavedPlan, check_set_name, update_saved_sets
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan, swings_needed_table

PATH = "/plan"
NAME = "Plan"

SEE = (("spread", "Growth of the spread"), ("mean", "Move of the mean"))
POWERS = (("0.8", "80 in 100"), ("0.9", "90 in 100"))
USUAL = {"see": "spread", "ratio": "1.5", "shift": "0.5", "power": "0.8", "block": "10"}
WISHES = tuple(
    f"plan-{one}"
    for one in ("see", "ratio", "shift", "power", "block", "session", "label-a", "label-b")
)
"""What the test shall see and how it is laid out, in the order ``_wanted`` takes them."""
USUAL_SESSION, USUAL_LABELS = "60", ("practice", "pressure")


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """The choices in the address, or a plan kept under a name."""
    kept = list(kept_sets(store.shelf.place()).plans)
    name = query.get("plan", "")
    chosen = {**USUAL, **query}
    return html.Div(
        className="page plan-page",
        children=[
            dcc.Store(id="plan-kept-name", data=name if name in kept else ""),
            html.Div(
                className="page-head",
                children=[
                    html.H1("Plan a test"),
                    html.P(name, className="plan-name") if name in kept else None,
                    dmc.Select(
                        id="plan-open",
                        className="no-print",
                        label="Plans kept",
                        data=kept,
                        value=name if name in kept else None,
                        placeholder="a new one" if kept else "none yet",
                        clearable=True,
                        disabled=not kept,
                        size="md",
                        w=280,
                    ),
                ],
            ),
            html.P(id="plan-question", className="sentence", role="status"),
            html.P(id="plan-limits", className="quiet"),
            recorded_words(store.entries(), name) if name in kept else None,
            html.Section(
                _choices(chosen, query),
                className="card no-print",
                id="plan-choices",
                hidden=name in kept,
                **{"aria-label": "What the test shall see"},
            ),
            html.Div(
                className="split",
                children=[
                    html.Section(
                        className="card checklist",
                        **{"aria-label": "Checklist"},
                        children=[
                            html.Div(
                                className="page-head",
                                children=[
                                    html.H2("Checklist"),
                                    html.Div(
                                        [
                                            dcc.Link(
                                                "Compare by this plan",
                                                href="/compare",
                                                id="plan-compare",
                                                className="button-link"
                                                if name in kept
                                                else "button-link gone",
                                            ),
                                            dcc.Link(
                                                "Record by it",
                                                href=f"/record?{urlencode({'plan': name})}",
                                                className="main-link",
                                            )
                                            if name in kept
                                            else None,
                                            html.Button(
                                                "Print",
                                                type="button",
                                                className="button-link",
                                                **{"data-print": "page"},
                                            ),
                                        ],
                                        className="files flush no-print",
                                    ),
                                ],
                            ),
                            html.Div(id="plan-list"),
                        ],
                    ),
                    html.Div(
                        className="stack",
                        children=[
                            html.Section(
                                className="card",
                                **{"aria-label": "Pitfalls"},
                                children=[html.H2("What spoils a test"), html.Ul(id="plan-pits")],
                            ),
                            _needed(),
                        ],
                    ),
                ],
            ),
        ],
    )


def recorded_words(entries: Sequence[Entry], plan: str) -> Any:
    """Which of the plan's sessions are recorded, each to open; nothing before the first."""
    held = recordings_of(plan, entries)
    if not held:
        return None
    links: list[Any] = []
    for entry in reversed(held):
        session = entry.plan.session if entry.plan else 0
        words = f"session {session}, {entry.day or entry.name}"
        links += [", " if links else "Recorded: ", words_link(words, entry.id)]
    return html.P(links)


def words_link(words: str, recording: str) -> Any:
    """Words that open a recording."""
    return dcc.Link(words, href=f"/session?{urlencode({'recordings': recording})}")


def _choices(chosen: Mapping[str, str], query: Mapping[str, str]) -> list[Any]:
    def number(
        identity: str, label: str, value: str, least: float, most: float, **more: Any
    ) -> Any:
        return dmc.NumberInput(
            id=identity, label=label, value=_number(value, least, most), min=least, max=most,
            size="md", w=190, **more,
        )  # fmt: skip

    return [
        html.Div(
            className="choices",
            children=[
                segmented("plan-see", "To see a", SEE, chosen["see"]),
                html.Div(
                    number("plan-ratio", "of", chosen["ratio"], 1.1, 4.0, step=0.25, suffix=" ×"),
                    id="plan-ratio-box",
                ),
                html.Div(
                    number("plan-shift", "of", chosen["shift"], 0.1, 4.0, step=0.25, suffix=" SD"),
                    id="plan-shift-box",
                ),
                segmented("plan-power", "Seen if it is there", POWERS, chosen["power"]),
            ],
        ),
        html.Div(
            className="choices tall",
            children=[
                number("plan-block", "Most swings in a block", chosen["block"], 3, 50),
                number(
                    "plan-session",
                    "Most in a session",
                    query.get("session", USUAL_SESSION),
                    12,
                    300,
                    step=10,
                ),
                *(
                    dmc.TextInput(
                        id=f"plan-label-{letter}",
                        label=words,
                        value=query.get(letter, label),
                        size="md",
                        w=190,
                        debounce=300,
                    )
                    for letter, words, label in zip(
                        ("a", "b"), ("Blocks of", "against"), USUAL_LABELS, strict=True
                    )
                ),
            ],
        ),
        html.Div(
            className="choices tall",
            children=[
                dmc.TextInput(
                    id="plan-name", label="Keep the plan and its limits, called", size="md", w=400
                ),
                dmc.Button("Keep", id="plan-keep", size="md", className="at-foot"),
            ],
        ),
        html.P(id="plan-kept", role="status", className="caption"),
    ]


def _number(text: Any, least: float, most: float) -> float:
    """The number meant, within its bounds. Raises SwingspreadError when there is none."""
    try:
        value = float(text)
    except (TypeError, ValueError):
        raise SwingspreadError("A number is missing.") from None
    if not least <= value <= most:
        raise SwingspreadError(f"Use a number from {least:g} to {most:g}.")
    return value


@lru_cache(maxsize=1)
def _needed_rows() -> tuple[tuple[str, ...], ...]:
    rows: dict[str, list[str]] = {}
    for row in swings_needed_table().to_dict("records"):
        spread = row["change"] == "spread"
        said = f"spread {row['size']:g} ×" if spread else f"mean by {row['size']:g} SD"
        rows.setdefault(said, [said]).append(str(row["swings_per_set"]))
    return tuple(tuple(row) for row in rows.values())


def _needed() -> Any:
    heads = ("To see", *(words for _, words in POWERS))
    return html.Section(
        className="card no-print",
        **{"aria-label": "Swings needed"},
        children=[
            html.H2("Swings in each set"),
            html.Table(
                className="numbers plain",
                children=[
                    html.Thead(html.Tr([html.Th(one, scope="col") for one in heads])),
                    html.Tbody(
                        [
                            html.Tr(
                                [
                                    html.Th(row[0], scope="row"),
                                    *(html.Td(cell, className="number") for cell in row[1:]),
                                ]
                            )
                            for row in _needed_rows()
                        ]
                    ),
                ],
            ),
            html.P("Two-sided, 5 %.", className="caption"),
        ],
    )


@lru_cache(maxsize=64)
def made(
    see: str, size: float, power: float, block: int, session: int, labels: tuple[str, str]
) -> dict[str, Any]:
    """The plan for these wishes as plain values. Raises SwingspreadError when it cannot be."""
    return alternating_plan(
        Limits(power=power),
        sd_ratio=size if see == "spread" else None,
        shift_in_sds=None if see == "spread" else size,
        most_per_block=block,
        most_per_session=session,
        labels=labels,
    ).as_dict()


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""

    @app.callback(
        Output("plan-question", "children"),
        Output("plan-limits", "children"),
        Output("plan-list", "children"),
        Output("plan-pits", "children"),
        Output("plan-ratio-box", "hidden"),
        Output("plan-shift-box", "hidden"),
        Output("plan-compare", "href"),
        *(Input(one, "value") for one in WISHES),
        State("plan-kept-name", "data"),
    )
    def show(*asked: Any) -> tuple[Any, ...]:
        *wishes, name = asked
        see = wishes[0]
        hidden = (see != "spread", see == "spread")
        try:
            if name:
                kept = kept_sets(store.shelf.place()).find_plan(name)
                plan = {**kept.layout, "limits": kept.limits.as_dict()}
            else:
                plan = _wanted(*wishes)
        except SwingspreadError as mistake:
            said = html.Span(str(mistake), className="bad")
            return said, "", no_update, no_update, *hidden, no_update
        pitfalls = [html.Li(pitfall(text)) for text in plan["pitfalls"]]
        where = f"/compare?{urlencode({'plan': name})}" if name else "/compare"
        words = limits_words(plan["limits"])
        recorded = blocks_recorded(name, store.entries()) if name else ()
        return plan["question"], words, checklist(plan, recorded), pitfalls, *hidden, where

    @app.callback(
        Output("plan-kept", "children"),
        Output("address", "href", allow_duplicate=True),
        Input("plan-keep", "n_clicks"),
        State("plan-name", "value"),
        *(State(one, "value") for one in WISHES),
        prevent_initial_call=True,
    )
    def keep(_clicks: int, name: str, *wishes: Any) -> tuple[Any, Any]:
        if not _clicks:
            return no_update, no_update
        now = datetime.datetime.now().astimezone().isoformat(timespec="seconds")
        try:
            label = check_set_name(name or "")
            plan = _wanted(*wishes)
            limits = Limits(power=float(wishes[3]), set_at=now)
            kept = SavedPlan(label, limits, {**plan, "limits": limits.as_dict()})
            update_saved_sets(Path(store.shelf.place()), lambda saved: saved.with_plan(kept))
        except SwingspreadError as mistake:
            return html.Span(str(mistake), className="bad"), no_update
        return "", f"{PATH}?{urlencode({'plan': label})}"

    @app.callback(
        Output("address", "href", allow_duplicate=True),
        Input("plan-open", "value"),
        State("plan-kept-name", "data"),
        prevent_initial_call=True,
    )
    def opened(wanted: str | None, name: str) -> Any:
        if (wanted or "") == name:
            return no_update
        return f"{PATH}?{urlencode({'plan': wanted})}" if wanted else PATH

    app.clientside_callback(
        ClientsideFunction("compare", "rememberPlan"),
        Output("plan-choices", "className"),
        *(Input(one, "value") for one in WISHES),
        State("plan-kept-name", "data"),
    )


def _wanted(
    see: str, ratio: Any, shift: Any, power: str, block: Any, session: Any, first: str, second: str
) -> dict[str, Any]:
    size = _number(ratio, 1.1, 4.0) if see == "spread" else _number(shift, 0.1, 4.0)
    labels = ((first or "").strip(), (second or "").strip())
    return made(
        see, size, float(power), int(_number(block, 3, 50)), int(_number(session, 12, 300)), labels
    )

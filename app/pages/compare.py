"""Compare: do two sets of swings really differ, and does the swing hold?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from app.comparing import Comparer, usual_pair
from app.components.choices import (
    ALIGN,
    USUAL_METRIC,
    choose_metric,
    choose_sets,
    page_head,
    segmented,
)
from app.components.findings import finding_row, words
from app.components.graph import graph, picture_buttons
from app.components.plan_checklist import limits_words
from app.components.where_from import where_from
from app.planned_session import plan_at_hand, planned_sides
from app.saved_sets import kept_sets, options, token_of
from app.store import Store
from imu.columns import METRIC_BY_NAME
from imu.errors import SwingspreadError
from imu.figures.alignment import ALIGNMENTS, align_curves
from imu.figures.curve_names import CURVES
from imu.figures.distribution import distribution_figure
from imu.figures.two_sets import two_sets_figure
from imu.variation.as_shown import comparison_as_shown
from imu.variation.limits import Limits
from imu.variation.verdict import DOES_NOT_HOLD

PATH = "/compare"
NAME = "Compare"


def _sides(store: Store, query: Mapping[str, str]) -> tuple[list[str], list[str]]:
    first = [one for one in query.get("a", "").split(",") if one]
    second = [one for one in query.get("b", "").split(",") if one]
    if not first or not second:
        pair = _planned_pair(store, query.get("plan", "")) or usual_pair(store.entries())
        if pair is None:
            raise SwingspreadError("Comparing needs two recordings. Bring in another one.")
        first, second = first or [pair[0]], second or [pair[1]]
    return store.tokens(first), store.tokens(second)


def _planned_pair(store: Store, plan: str) -> tuple[str, str] | None:
    """Words of the two kinds of block of a plan, once both were swung."""
    both = planned_sides(plan, store.entries()) if plan else None
    return (token_of(both[0]), token_of(both[1])) if both else None


def recordings(store: Store, query: Mapping[str, str]) -> tuple[str, ...]:
    """Ids of both sides."""
    first, second = _sides(store, query)
    return tuple(entry.id for entry in store.resolve([*first, *second]))


def _ratio(query: Mapping[str, str]) -> float:
    try:
        ratio = float(query.get("limit", "1.5"))
    except ValueError:
        return 1.5
    return ratio if 1.0 < ratio <= 10.0 else 1.5


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """Both sides chosen in the address, or a practice and a pressure block."""
    first, second = _sides(store, query)
    plan = query.get("plan", "")
    limits = plan_limits(store, plan)
    choices = options(store.shelf.place(), store.entries())
    return html.Div(
        className="page",
        children=[
            dcc.Store(id="compare-sides", data={"a": first, "b": second, "plan": plan}),
            page_head(
                "Does it hold?",
                [
                    choose_sets("compare-a", "Set A", choices, first, "set-a"),
                    choose_sets("compare-b", "Set B, against A", choices, second, "set-b"),
                    dmc.NumberInput(
                        id="compare-limit",
                        label="Growth allowed",
                        value=limits.sd_ratio if limits else _ratio(query),
                        disabled=limits is not None,
                        min=1.05,
                        max=10,
                        step=0.25,
                        decimalScale=2,
                        suffix=" ×",
                        size="md",
                        w=150,
                    ),
                ],
            ),
            _limits_line(store, plan, limits, first, second),
            html.Div(
                html.P("Comparing the two sets …", className="lead quiet"),
                id="compare-words",
                role="status",
            ),
            html.Div(
                className="split even-halves",
                children=[
                    html.Div(
                        className="stack",
                        children=[
                            html.Section(
                                className="card figure-card",
                                **{"aria-label": "Both sets over one another"},
                                children=[
                                    html.Div(
                                        className="choices",
                                        children=[
                                            segmented(
                                                "compare-curve",
                                                "Curve",
                                                [
                                                    (name, words)
                                                    for name, (words, _) in CURVES.items()
                                                ],
                                                query.get("curve", "hinge_deg"),
                                                "sm",
                                            ),
                                            segmented(
                                                "compare-align",
                                                "Line up at",
                                                ALIGN,
                                                query.get("align", "impact"),
                                                "sm",
                                            ),
                                        ],
                                    ),
                                    html.Div(id="compare-key", className="chips"),
                                    graph("compare-figure", 620, "Both sets over one another"),
                                    html.P(id="compare-curve-words", className="caption"),
                                    picture_buttons("compare-figure", "two-sets"),
                                ],
                            ),
                            html.Section(
                                className="card figure-card",
                                **{"aria-label": "Swing by swing"},
                                children=[
                                    choose_metric(
                                        "compare-metric",
                                        "Swing by swing",
                                        query.get("metric", USUAL_METRIC),
                                    ),
                                    graph("compare-swings", 240, "Every swing of both sets"),
                                    html.P(
                                        "Every mark is a swing. The bar under each row: mean, one "
                                        "SD to either side.",
                                        className="caption",
                                    ),
                                    picture_buttons("compare-swings", "swing-by-swing"),
                                ],
                            ),
                            _where_card(),
                        ],
                    ),
                    html.Section(
                        className="card",
                        **{"aria-label": "Findings"},
                        children=[html.H2("Measure by measure"), html.Div(id="compare-findings")],
                    ),
                ],
            ),
        ],
    )


def plan_limits(store: Store, plan: str) -> Limits | None:
    """The limits kept with a plan; None without one. Raises SwingspreadError for one not there."""
    return kept_sets(store.shelf.place()).find_plan(plan).limits if plan else None


def _limits_line(
    store: Store, plan: str, limits: Limits | None, first: Sequence[str], second: Sequence[str]
) -> Any:
    """Whose limits are applied; those set before the swings are offered when they are not."""
    if limits is not None:
        return html.P(_plan_words(plan, limits), className="quiet")
    followed = plan_at_hand(Path(store.shelf.place()), store.resolve([*first, *second]))
    if not followed:
        return None
    sides_shown = {"a": ",".join(first), "b": ",".join(second), "plan": followed}
    where = f"{PATH}?{urlencode(sides_shown, safe=',:~')}"
    return html.P(
        [
            f"These swings followed the plan {followed}. ",
            dcc.Link("Apply the limits set with it", href=where),
        ]
    )


def _plan_words(plan: str, limits: Limits) -> Any:
    return [
        f"By the plan {plan}. {limits_words(limits.as_dict())} ",
        dcc.Link("The plan", href=f"/plan?{urlencode({'plan': plan})}"),
    ]


def _where_card() -> Any:
    return html.Section(
        className="card",
        **{"aria-label": "Where the spread comes from"},
        children=[
            html.H2("Where the spread comes from"),
            html.Div(id="compare-where", className="halves"),
            html.P("Going together is not causing.", className="caption"),
        ],
    )


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""
    comparer = Comparer(store)

    @app.callback(
        Output("compare-words", "children"),
        Output("compare-findings", "children"),
        Input("compare-limit", "value"),
        State("compare-sides", "data"),
    )
    def compare(limit: float | str, sides: dict[str, Any]) -> tuple[Any, Any]:
        try:
            limits = plan_limits(store, sides["plan"]) or Limits(
                sd_ratio=_ratio({"limit": str(limit)})
            )
            found, _, _ = comparer.compare(sides["a"], sides["b"], limits)
        except SwingspreadError as mistake:
            return html.P(str(mistake), className="note bad", role="alert"), []
        comparison = comparison_as_shown(found, store.preferences.units)
        scale = html.Div(
            className="rail-scale",
            children=[
                html.Span("Spread of B over A:"),
                html.Span("¼ ×"),
                html.Span("1 ×"),
                html.Span("4 ×"),
            ],
        )
        first = [one for one in comparison.findings if one.verdict.word == DOES_NOT_HOLD]
        rest = [one for one in comparison.findings if one not in first]
        rows = [finding_row(one, limits.sd_ratio) for one in (*first, *rest)]
        return words(comparison), [scale, *rows]

    @app.callback(Output("compare-where", "children"), Input("compare-sides", "data"))
    def where(sides: dict[str, Any]) -> Any:
        try:
            _, a, b = comparer.compare(sides["a"], sides["b"], Limits())
        except SwingspreadError:
            return []
        return where_from((a, b), store.preferences.units)

    @app.callback(
        Output("compare-figure", "figure"),
        Output("compare-curve-words", "children"),
        Output("compare-key", "children"),
        Input("compare-curve", "value"),
        Input("compare-align", "value"),
        Input("shown-theme", "data"),
        State("compare-sides", "data"),
    )
    def draw(curve: str, align: str, theme: str, sides: dict[str, Any]) -> tuple[Any, Any, Any]:
        try:
            comparison, a, b = comparer.compare(sides["a"], sides["b"], Limits())
        except SwingspreadError:
            return no_update, "", []
        where = align if align in ALIGNMENTS else "impact"
        first, second = (
            align_curves(
                [
                    (one.curves[one.curves["recording_id"] == identity],
                     one.swings[one.swings["recording_id"] == identity])
                    for identity in one.swings["recording_id"].unique()
                ],
                (curve,),
                where,
            )
            for one in (a, b)
        )  # fmt: skip
        found = next((one for one in comparison.curve_findings if one.curve == curve), None)
        regions = [(one.start, one.end) for one in found.mean_regions] if found else []
        figure = two_sets_figure(
            first,
            second,
            (a.name, b.name),
            curve,
            theme or "light",
            regions if where == "impact" else (),
        )
        said = f"{found.sentence} {found.spread_sentence}" if found else ""
        shaded = " Shaded: where the mean curves are told to differ." if regions else ""
        key = [
            html.Span(
                [html.Span(className="chip-line"), f"{one.name}, {len(one)} swings"],
                className=f"chip chip-{place}",
            )
            for place, one in ((1, a), (2, b))
        ]
        return figure, f"{said}{shaded}", key

    @app.callback(
        Output("compare-swings", "figure"),
        Input("compare-metric", "value"),
        Input("shown-theme", "data"),
        State("compare-sides", "data"),
    )
    def swing_by_swing(metric: str, theme: str, sides: dict[str, Any]) -> Any:
        try:
            _, a, b = comparer.compare(sides["a"], sides["b"], Limits())
        except SwingspreadError:
            return no_update
        units = store.preferences.units
        chosen = units.metric(metric if metric in METRIC_BY_NAME else USUAL_METRIC)
        return distribution_figure(
            [units.factor(chosen.name) * one.swings[chosen.name].to_numpy(float) for one in (a, b)],
            [a.name, b.name],
            [[f"{one.name} {number}" for number in one.swings["swing"]] for one in (a, b)],
            chosen,
            theme or "light",
            240,
        )

    @app.callback(
        Output("address", "href", allow_duplicate=True),
        Input("compare-a", "value"),
        Input("compare-b", "value"),
        State("compare-sides", "data"),
        State("compare-limit", "value"),
        prevent_initial_call=True,
    )
    def choose(first: list[str], second: list[str], sides: dict[str, Any], limit: float) -> Any:
        if not first or not second or (first, second) == (sides["a"], sides["b"]):
            return no_update
        sides_shown = {"a": ",".join(first), "b": ",".join(second)}
        sides_shown |= {"plan": sides["plan"]} if sides["plan"] else {"limit": str(limit)}
        return f"{PATH}?{urlencode(sides_shown, safe=',:~')}"

    app.clientside_callback(
        ClientsideFunction("compare", "remember"),
        Output("compare-figure", "className"),
        Input("compare-curve", "value"),
        Input("compare-align", "value"),
        Input("compare-metric", "value"),
        Input("compare-limit", "value"),
        State("compare-sides", "data"),
    )

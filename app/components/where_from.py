"""Where a set's spread comes from: the moment it arises, timing, and what goes with the shots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from imu.shown_units import SI, ShownUnits
from imu.variation.arising import where_it_arises
from imu.variation.sets import SwingSet
from imu.variation.shot_result import FEWEST_SHOTS, shot_result_association
from imu.variation.timing_at_stake import timing_at_stake


def arising_words(swings: SwingSet) -> str:
    """Where in the swing the hinge varies most."""
    found = where_it_arises(swings)
    return found.sentence if found else "Too few whole curves to say where the hinge varies."


def timing_words(swings: SwingSet, units: ShownUnits = SI) -> tuple[list[str], list[str]]:
    """Whether release timing feeds the spread at impact: what is established, or the plainest
    question when nothing is; and the rest."""
    fits = timing_at_stake(swings.swings, units=units)
    if not fits:
        return ["Too few swings to say whether timing feeds the spread at impact."], []
    told = [one for one in fits if 0.0 not in one.slope and one.p_holm < 0.05] or [fits[0]]
    return [one.sentence for one in told], [one.sentence for one in fits if one not in told]


def shot_words(swings: SwingSet, units: ShownUnits = SI) -> tuple[list[str], list[str]]:
    """What goes with the shot results noted: what is established, and the rest."""
    found = shot_result_association(swings.swings, units=units)
    if not found:
        noted = int(((swings.swings["outcome"] != "") | (swings.swings["direction"] != "")).sum())
        return [
            f"Shot results: {noted} noted. With {FEWEST_SHOTS} or more of each kind they are set "
            "against every measure."
        ], []
    told = [one for one in found if one.p_holm < 0.05]
    rest = [one.sentence for one in found if one not in told]
    if told:
        return [one.sentence for one in told], rest
    asked = " and ".join(dict.fromkeys(one.question for one in found))
    return [f"No measure is established to go with the shot, {asked}."], rest


def where_from(sets: Sequence[SwingSet], units: ShownUnits = SI) -> list[Any]:
    """The sentences of each set, side by side; what is not established folds away."""
    return [_one(place, swings, units) for place, swings in enumerate(sets)]


def _one(place: int, swings: SwingSet, units: ShownUnits) -> Any:
    timing, other_timing = timing_words(swings, units)
    shots, other_shots = shot_words(swings, units)
    rest = [*other_timing, *other_shots]
    more = [
        html.Details(
            [
                html.Summary("All that was asked"),
                html.Ul([html.Li(sentence) for sentence in rest]),
            ]
        )
    ]
    return html.Div(
        className="where-from",
        children=[
            html.H3(
                [
                    html.Span(className="chip-line"),
                    f"{swings.name}, {len(swings)} swings",
                ],
                className=f"chip-{place + 1}",
            ),
            html.Ul([html.Li(one) for one in (arising_words(swings), *timing, *shots)]),
            *(more if rest else []),
        ],
    )

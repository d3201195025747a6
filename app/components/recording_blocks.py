"""A plan on the record page: chosen before starting, then followed block by block.

What is shown is read from the recording's notes and swings, so a page opened anew, or another
one, shows the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from app.components.plan_checklist import limits_words, pitfall
from app.components.swing_context import HALF
from app.planned_session import next_session, recordings_of
from app.recording import RecordingDesk, Watched
from app.saved_sets import kept_sets
from app.store import Store
from imu.errors import SwingspreadError
from imu.recorder.live_events import block_swings, club_clock_now_us
from imu.recorder.plan_steps import begin_block, pass_block_over, take_step_back
from imu.recordings.notes import RecordingNotes, read_notes
from imu.recordings.saved_sets import SavedPlan, read_saved_sets
from imu.variation.blocks import (
    AT_HAND,
    DONE,
    PASSED_OVER,
    BlockStanding,
    FollowedPlan,
    PlannedBlock,
    Standing,
    standing,
    totals,
)
from imu.variation.plan import DAY, FATIGUE

MARKS = {AT_HAND: "▶ now", DONE: "✓ done", PASSED_OVER: "passed over"}


def plan_choice(store: Store, wanted: str) -> Any:
    """The kept plan to follow, and which session of it."""
    kept = list(kept_sets(store.shelf.place()).plans)
    help_line = (
        "Its blocks come one after another and label the swings."
        if kept
        else ["None is kept yet. ", dcc.Link("Lay one out", href="/plan")]
    )
    return [
        dmc.GridCol(
            dmc.Select(
                id="record-plan",
                label="Plan to follow",
                data=kept,
                value=wanted if wanted in kept else None,
                placeholder="none",
                clearable=True,
                disabled=not kept,
                description=help_line,
                inputWrapperOrder=["label", "input", "description", "error"],
            ),
            span=HALF,
        ),
        dmc.GridCol(
            dmc.Select(id="record-plan-session", label="Session of the plan", data=[]),
            span=HALF,
            id="record-plan-session-box",
            className="record-hidden",
        ),
        dmc.GridCol(html.Div(id="record-plan-words"), span=12),
    ]


def blocks_box() -> Any:
    """The place of the checklist while recording."""
    return html.Section(
        id="record-blocks-box",
        className="record-hidden",
        **{"aria-label": "Blocks of the plan"},
        children=[
            dcc.Store(id="record-stepped"),
            dcc.Store(id="record-rest-left"),
            html.Div(id="record-blocks"),
            html.P(id="record-rest", className="record-rest", role="timer"),
            html.Div(id="record-block-steps", className="record-shot"),
            html.P(id="record-block-trouble", className="bad", role="alert"),
        ],
    )


def chosen_words(plan: SavedPlan, session: int, recorded: Sequence[str] = ()) -> Any:
    """What the session of a plan will ask for, its limits and what would spoil it.

    recorded : days on which it was recorded before.
    """
    followed = plan.follow(session)
    swings = sum(block.swings for block in followed.blocks)
    rest = max(block.rest_s for block in followed.blocks)
    order = [f"{block.swings} {block.label}" for block in followed.blocks]
    pitfalls = plan.layout.get("pitfalls", ())
    return html.Div(
        className="note",
        children=[
            html.P(
                [
                    html.Strong(f"{len(order)} blocks, {swings} swings: "),
                    f"{', '.join(order)}; {rest} s of rest between.",
                ]
            ),
            html.P(limits_words(plan.limits.as_dict()), className="quiet"),
            html.P(f"Recorded already, on {', '.join(recorded)}; another recording adds to it.")
            if recorded
            else None,
            html.Details(
                [
                    html.Summary("What spoils a test"),
                    html.Ul([html.Li(pitfall(str(text))) for text in pitfalls]),
                ]
            ),
        ],
    )


def blocks_shown(plan: FollowedPlan, stand: Standing) -> list[Any]:
    """What is to be hit now, large, and every block in order with its swings."""
    labels = list(dict.fromkeys(block.label for block in plan.blocks))
    row, coming = stand.at_hand, stand.to_begin
    if row is not None:
        heading, count = _named(plan, row.block), f"{row.swings} of {row.block.swings}"
        words = "swings"
    elif coming is not None:
        first = stand.rest_since_us is None
        heading = f"{'Warm up' if first else 'Rest'}, then {_named(plan, coming, False)}"
        count, words = "", "Build up speed gradually." if first else FATIGUE
    else:
        heading, count, words = "The plan is complete", "", f"{totals(stand)}. {DAY}"
    outside = ""
    if stand.outside:
        several = "swings since then lie" if stand.outside > 1 else "swing since then lies"
        outside = f"{stand.outside} {several} in no block."
    return [
        html.Div(
            className="record-block-head",
            children=[
                html.H2(heading, role="status"),
                html.P(
                    [html.Span(count, className="record-block-count"), html.Span(words)],
                    className="quiet",
                ),
                html.P(outside, className="caption") if outside else None,
            ],
        ),
        html.Ol(
            [_block(place, one, labels) for place, one in enumerate(stand.blocks, start=1)],
            className="record-block-list",
        ),
    ]


def _named(plan: FollowedPlan, block: PlannedBlock, capital: bool = True) -> str:
    place = plan.blocks.index(block) + 1
    return f"{'Block' if capital else 'block'} {place} of {len(plan.blocks)}: {block.label}"


def _block(place: int, row: BlockStanding, labels: Sequence[str]) -> Any:
    now = {"aria-current": "step"} if row.state == AT_HAND else {}
    kind = labels.index(row.block.label) + 1
    return html.Li(
        className=f"block block-{kind}{' at-hand' if now else ''}",
        children=[
            html.Strong(f"{place}. {row.block.label}"),
            html.Span(f"{row.swings} of {row.block.swings}", className="record-block-swings"),
            html.Span(MARKS.get(row.state, ""), className="quiet"),
        ],
        **now,
    )


def steps_shown(plan: FollowedPlan, stand: Standing) -> list[Any]:
    """The buttons: one large step on, smaller ones to pass over or go back."""
    row, coming = stand.at_hand, stand.to_begin
    buttons: list[Any] = []
    if row is None and coming is not None:
        words = f"Start block {plan.blocks.index(coming) + 1}: {coming.swings} × {coming.label}"
        buttons.append(_step("begin", coming.number, words, "record-go"))
    number = row.block.number if row is not None else coming.number if coming is not None else 0
    if number:
        rest_of_it = "the rest of this block" if row is not None else "this block"
        buttons.append(_step("pass over", number, f"Pass over {rest_of_it}"))
    if stand.may_take_back:
        buttons.append(_step("back", 0, "One step back"))
    return buttons


def _step(do: str, number: int, words: str, look: str = "button-link") -> Any:
    return html.Button(
        words,
        id={"type": "record-step", "do": do, "number": number},
        className=look,
        n_clicks=0,
    )


def rest_left_s(stand: Standing, swings: Sequence[Mapping[str, Any]]) -> float | None:
    """Seconds of rest left before the next block, None when nobody rests."""
    if stand.at_hand is not None or stand.to_begin is None or stand.rest_since_us is None:
        return None
    since_s = (club_clock_now_us(swings) - stand.rest_since_us) * 1e-6
    return max(0.0, stand.to_begin.rest_s - since_s)


def _after(watched: Watched, plan: FollowedPlan, stand: Standing) -> list[Any]:
    """What follows an ended recording: the comparison the plan was made for."""
    swung = {row.block.label for row in stand.blocks if row.swings}
    if not watched.finished_id or len(swung) < 2:
        return []
    where = f"/compare?{urlencode({'plan': plan.name})}"
    return [dcc.Link("Compare by this plan", href=where, className="main-link")]


def notes_of(watched: Watched | None) -> RecordingNotes:
    """Notes written on the recording so far."""
    if watched is None or watched.folder is None:
        return RecordingNotes()
    return read_notes(watched.folder.path)


def register_blocks(app: Dash, store: Store, desk: Callable[[], RecordingDesk]) -> None:
    """Callbacks of both pieces; ``record-shown`` changes when the recording does."""

    @app.callback(
        Output("record-plan-session", "data"),
        Output("record-plan-session", "value"),
        Output("record-plan-session-box", "className"),
        Output("record-block-box", "className"),
        Input("record-plan", "value"),
    )
    def sessions(name: str | None) -> tuple[Any, ...]:
        if not name:
            return [], None, "record-hidden", ""
        try:
            plan = read_saved_sets(Path(store.shelf.place())).find_plan(name)
            numbers = plan.sessions()
        except SwingspreadError:
            return [], "1", "record-hidden", "record-hidden"  # the words then say why
        chosen = next_session(plan, store.entries()) or numbers[-1]
        options = [{"value": str(one), "label": f"{one} of {len(numbers)}"} for one in numbers]
        return options, str(chosen), "" if len(numbers) > 1 else "record-hidden", "record-hidden"

    @app.callback(
        Output("record-plan-words", "children"),
        Input("record-plan-session", "value"),
        Input("record-plan", "value"),
    )
    def words(session: str | None, name: str | None) -> Any:
        if not name or not session:
            return []
        try:
            plan = read_saved_sets(Path(store.shelf.place())).find_plan(name)
            days = [
                entry.day or entry.name
                for entry in recordings_of(name, store.entries())
                if entry.plan and entry.plan.session == int(session)
            ]
            return chosen_words(plan, int(session), days)
        except SwingspreadError as problem:
            return html.P(str(problem), className="bad")

    @app.callback(
        Output("record-blocks-box", "className"),
        Output("record-blocks", "children"),
        Output("record-block-steps", "children"),
        Output("record-rest-left", "data"),
        Input("record-shown", "data"),
        Input("record-stepped", "data"),
    )
    def show(_shown: Any, _stepped: Any) -> tuple[Any, ...]:
        watched = desk().watch()
        notes = notes_of(watched)
        if watched is None or notes.plan is None:
            return "record-hidden", [], [], None
        stand = standing(notes.plan, block_swings(watched.swings, notes))
        shown = blocks_shown(notes.plan, stand)
        if watched.state != "running":
            return "card", shown, _after(watched, notes.plan, stand), None
        left = rest_left_s(stand, watched.swings)
        return "card", shown, steps_shown(notes.plan, stand), left

    @app.callback(
        Output("record-stepped", "data"),
        Output("record-block-trouble", "children"),
        Input({"type": "record-step", "do": ALL, "number": ALL}, "n_clicks"),
        State("record-stepped", "data"),
        prevent_initial_call=True,
    )
    def step(_clicks: list[int], before: int | None) -> tuple[Any, Any]:
        pressed = ctx.triggered_id
        if not isinstance(pressed, dict) or not ctx.triggered[0]["value"]:
            return no_update, no_update
        watched = desk().watch()
        if watched is None or watched.folder is None or watched.state != "running":
            return no_update, no_update
        try:
            match pressed["do"]:
                case "begin":
                    begin_block(watched.folder, pressed["number"])
                case "pass over":
                    pass_block_over(watched.folder, pressed["number"])
                case _:
                    take_step_back(watched.folder)
        except SwingspreadError as problem:
            return no_update, str(problem)
        return (before or 0) + 1, ""

    app.clientside_callback(
        ClientsideFunction("record", "rest"),
        Output("record-rest", "children"),
        Input("record-tick", "n_intervals"),
        Input("record-rest-left", "data"),
    )

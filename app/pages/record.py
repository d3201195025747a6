"""Record: who and what, the sensors, and each swing as it comes. The recording is a process of
its own; this page starts it, reads what it writes, and asks it to end."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from app.components.recording_blocks import notes_of, plan_choice, register_blocks
from app.components.recording_card import (
    calibration_words,
    found_words,
    sensor_states,
    swing_card,
    swing_strip,
)
from app.components.recording_faces import live_face, setup_face
from app.components.recording_words import note_of, title_of
from app.components.swing_context import register_club
from app.recording import RecordingDesk, Watched
from app.recording_setup import look_for_sensors, start_arguments
from app.store import Store
from imu.errors import SwingspreadError
from imu.recorder.finish import NO_SAMPLE, finish_all
from imu.recorder.folder import JournalFolder
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, update_notes

PATH = "/record"
NAME = "Record"

RUNNING_MS, WAITING_MS = 400, 1500

desk = RecordingDesk()


def layout(store: Store, query: Mapping[str, str]) -> Any:
    """Setup and live view; which of them is shown follows the recording."""
    return html.Div(
        className="page",
        children=[
            dcc.Interval(id="record-tick", interval=WAITING_MS),
            dcc.Store(id="record-picked"),
            dcc.Store(id="record-card-of"),
            dcc.Store(id="record-shown"),
            dcc.Store(id="record-count"),
            dcc.Store(id="record-heard"),
            html.Div(
                setup_face(store.entries(), plan_choice(store, query.get("plan", ""))),
                id="record-setup",
                className="record-hidden",
            ),
            html.Div(live_face(), id="record-live", className="record-hidden"),
        ],
    )


def picked_swing(watched: Watched, picked: int | None) -> dict[str, Any] | None:
    """The swing chosen in the strip, or the latest."""
    chosen = [swing for swing in watched.swings if swing["number"] == picked]
    return next(iter(chosen or watched.swings[-1:]), None)


def register(app: Dash, store: Store) -> None:
    """Callbacks of this page."""
    _register_setup(app, store)
    _register_live(app)
    register_blocks(app, store, lambda: desk)
    app.clientside_callback(
        ClientsideFunction("record", "tick"),
        Output("record-heard", "data"),
        Input("record-count", "data"),
        State("record-mute", "checked"),
        State("record-heard", "data"),
    )


def _register_setup(app: Dash, store: Store) -> None:
    register_club(app, "record")

    @app.callback(
        Output("record-found", "children"),
        Output("record-forearm", "data"),
        Output("record-forearm", "value"),
        Output("record-shaft", "data"),
        Output("record-shaft", "value"),
        Output("record-belt", "data"),
        Output("record-belt", "value"),
        Input("record-look", "n_clicks"),
        prevent_initial_call=True,
        running=[(Output("record-look", "loading"), True, False)],
    )
    def look(_clicks: int) -> tuple[Any, ...]:
        try:
            found = look_for_sensors()
        except SwingspreadError as problem:
            return html.P(str(problem), className="bad"), *([], None) * 3
        serials = [sensor["serial"] for sensor in found if not sensor["problem"]]
        at = {sensor["role"]: sensor["serial"] for sensor in found if not sensor["problem"]}
        lines = [
            html.Li(
                [
                    *found_words(sensor),
                    html.Button(
                        "Blink",
                        id={"type": "record-blink", "serial": sensor["serial"]},
                        className="button-link",
                        n_clicks=0,
                    ),
                ]
            )
            for sensor in found
        ]
        shown = html.Ul(lines) if lines else html.P("No sensor was heard. Charged, on and near?")
        chosen = (at.get(role) for role in ("forearm", "club", "belt"))
        return shown, *(part for serial in chosen for part in (serials, serial))

    @app.callback(
        Output({"type": "record-blink", "serial": ALL}, "disabled"),
        Output("record-trouble", "children", allow_duplicate=True),
        Input({"type": "record-blink", "serial": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def blink(clicks: list[int]) -> tuple[list[bool], Any]:
        said: Any = []
        if any(clicks) and isinstance(ctx.triggered_id, dict):
            try:
                look_for_sensors(ctx.triggered_id["serial"])
            except SwingspreadError as problem:
                said = html.P(str(problem), className="bad")
        return [False] * len(clicks), said

    @app.callback(Output("record-virtual-more", "className"), Input("record-virtual", "checked"))
    def offer_virtual_belt(virtual: bool | None) -> str:
        return "" if virtual else "record-hidden"

    @app.callback(
        Output("record-trouble", "children"),
        Input("record-start", "n_clicks"),
        State("record-player", "value"),
        State("record-hand", "value"),
        State("record-club", "value"),
        State("record-length", "value"),
        State("record-block", "value"),
        State("record-session", "value"),
        State("record-forearm", "value"),
        State("record-shaft", "value"),
        State("record-virtual", "checked"),
        State("record-plan", "value"),
        State("record-plan-session", "value"),
        State("record-belt", "value"),
        State("record-virtual-belt", "checked"),
        prevent_initial_call=True,
    )
    def start(_clicks: int, *answers: Any) -> Any:
        try:
            desk.start(start_arguments(*answers), store.shelf.place())
        except SwingspreadError as problem:
            return html.P(str(problem), className="bad")
        return []

    @app.callback(
        Output("record-interrupted", "children"),
        Input("record-finish", "n_clicks", allow_optional=True),
        Input("record-shown", "data"),
    )
    def cut_short(clicks: int | None, _shown: Any) -> Any:
        left = desk.interrupted()
        problems: list[str] = []
        if clicks and left and ctx.triggered_id == "record-finish":

            def told(folder: JournalFolder, why: str) -> None:
                way_on = "; `swingspread recover --remove-empty` deletes it"
                problems.append(f"{folder.name}: {why}{way_on if why == NO_SAMPLE else ''}")

            finish_all(left, Library(store.shelf.place()), told)
            left = desk.interrupted()
        lines = [html.P(problem, className="caption") for problem in problems]
        if not left:
            return lines
        count = f"{len(left)} recording{'s were' if len(left) > 1 else ' was'} interrupted."
        button = html.Button("Finish", id="record-finish", className="button-link", n_clicks=0)
        return html.Div(
            [html.P([count, " What was received is safe."]), button, *lines], className="note"
        )


def _register_live(app: Dash) -> None:
    @app.callback(
        Output("record-setup", "className"),
        Output("record-live", "className"),
        Output("record-title", "children"),
        Output("record-sensors", "children"),
        Output("record-note", "children"),
        Output("record-calibration", "children"),
        Output("record-calibration", "className"),
        Output("record-card", "children"),
        Output("record-card-of", "data"),
        Output("record-card-box", "className"),
        Output("record-shot", "className"),
        Output("record-strip", "children"),
        Output("record-strip-box", "className"),
        Output("record-stop", "disabled"),
        Output("record-count", "data"),
        Output("record-shown", "data"),
        Output("record-tick", "interval"),
        Input("record-tick", "n_intervals"),
        Input("record-picked", "data"),
        State("record-shown", "data"),
    )
    def tick(_n: int | None, picked: int | None, shown: str | None) -> tuple[Any, ...]:
        watched = desk.watch()
        if watched is None:
            state = "setup"
            if shown == state:
                return (no_update,) * 17
            hidden = "record-hidden"
            nothing: list[Any] = []
            return (
                *("", hidden, "", nothing, nothing),
                *(nothing, hidden, nothing, None, hidden, hidden),
                *(nothing, hidden, True, None, state, WAITING_MS),
            )
        notes = notes_of(watched)
        swing = picked_swing(watched, picked)
        signature = json.dumps(
            [
                watched.state,
                len(watched.swings),
                picked,
                repr(notes),
                watched.words,
                watched.warning,
            ]
        )
        same = signature == shown
        shown_number = swing["number"] if swing else None
        steps = calibration_words(watched.calibration)
        calibrating = watched.state == "running" and not watched.swings and watched.calibration
        return (
            "record-hidden",
            "",
            title_of(watched),
            sensor_states(watched),
            no_update if same else note_of(watched),
            steps,
            "card record-calibration" if calibrating else "record-hidden",
            no_update if same else (swing_card(swing, watched.swings, notes) if swing else []),
            no_update if same else shown_number,
            "card" if swing else "record-hidden",
            "record-shot" if swing and watched.state == "running" else "record-hidden",
            no_update if same else swing_strip(watched.swings, shown_number, notes),
            "card" if watched.swings else "record-hidden",
            watched.state not in ("running", "starting"),
            len(watched.swings),
            signature,
            WAITING_MS if watched.state in ("ended", "failed") else RUNNING_MS,
        )

    @app.callback(
        Output("record-picked", "data"),
        Input({"type": "record-pick", "number": ALL}, "n_clicks"),
        Input("record-count", "data"),
        prevent_initial_call=True,
    )
    def pick(clicks: list[int], _count: int | None) -> Any:
        if isinstance(ctx.triggered_id, dict) and any(clicks):
            return ctx.triggered_id["number"]
        return None if ctx.triggered_id == "record-count" else no_update

    @app.callback(
        Output("record-direction", "value"),
        Output("record-outcome", "value"),
        Output("record-leave", "children"),
        Input("record-card", "children"),
        State("record-card-of", "data"),
        prevent_initial_call=True,
    )
    def noted(_card: Any, shown: int | None) -> tuple[Any, ...]:
        watched = desk.watch()
        swing = picked_swing(watched, shown) if watched else None
        found = notes_of(watched).find(swing["impact_club_clock_us"]) if swing else None
        note = found or SwingNote(0)
        return note.direction, note.outcome, "Count it again" if note.left_out else "Leave out"

    @app.callback(
        Output("record-reason", "value"),
        Input("record-direction", "value"),
        Input("record-outcome", "value"),
        Input("record-leave", "n_clicks"),
        State("record-reason", "value"),
        State("record-card-of", "data"),
        prevent_initial_call=True,
    )
    def note(
        direction: str, outcome: str, _clicks: int | None, reason: str | None, shown: int | None
    ) -> Any:
        watched = desk.watch()
        swing = picked_swing(watched, shown) if watched else None
        if watched is None or watched.folder is None or swing is None or watched.finished_id:
            return no_update
        notes = notes_of(watched)
        impact = round(swing["impact_club_clock_us"])
        left_out = ((found := notes.find(impact)) and found.left_out) or ""
        if ctx.triggered_id == "record-leave":
            left_out = "" if left_out else (reason or "by hand")
        wanted = SwingNote(impact, direction or "", outcome or "", left_out)
        if notes.find(impact) != wanted and (notes.find(impact) or wanted != SwingNote(impact)):
            update_notes(watched.folder.path, lambda kept: kept.with_swing(wanted))
        return "" if ctx.triggered_id == "record-leave" else no_update

    @app.callback(
        Output("record-stop", "title"),
        Output("record-stop-trouble", "children"),
        Input("record-stop", "n_clicks"),
        prevent_initial_call=True,
    )
    def stop(clicks: int) -> tuple[str, str]:
        try:
            if clicks:
                desk.stop()
        except SwingspreadError as mistake:
            return "not asked to end", str(mistake)
        return "asked to end", ""

    @app.callback(
        Output("record-again", "disabled"),
        Input("record-again", "n_clicks", allow_optional=True),
        prevent_initial_call=True,
    )
    def again(clicks: int | None) -> bool:
        if clicks:
            desk.forget()
        return False

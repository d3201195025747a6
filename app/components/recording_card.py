"""Pieces of the record page that change while a recording goes on. No callbacks here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean, stdev
from typing import Any

from dash import html

from app.live_words import further_metrics, live_metric, live_number, value_and_error
from app.recording import Watched
from imu.columns import METRIC_BY_NAME
from imu.recorder.live_events import block_swings
from imu.recordings.notes import RecordingNotes
from imu.variation.blocks import block_labels, ended_when_full

SHOWN = ("tempo_ratio", "release_ms", "hinge_max_deg")
SMALL = ("downswing_ms", "lag_at_parallel_deg", "overlap_ms")
ENOUGH = 3
"""Earlier swings needed before a swing is set beside them."""

STEP_WORDS = {
    "still before": "Stand still, club at the ball.",
    "forearm roll": "Hold the club in the other hand; roll the lead forearm to and fro.",
    "club roll": "Both hands on the grip, arms at rest; roll the club about its length.",
    "still after": "Stand still once more.",
    "done": "Calibration done.",
}


def counted(swings: Sequence[Mapping[str, Any]], notes: RecordingNotes) -> list[Mapping[str, Any]]:
    """Swings with a ball that nobody left out."""
    return [s for s in swings if s["kind"] == "ball" and not _left_out(s, notes)]


def labels_of(swings: Sequence[Mapping[str, Any]], notes: RecordingNotes) -> list[str]:
    """Label of the block of each swing where a plan is followed, else ""."""
    if notes.plan is None:
        return [""] * len(swings)
    plan = ended_when_full(notes.plan, block_swings(swings, notes))
    return block_labels(plan, [float(swing["impact_club_clock_us"]) for swing in swings])


def _left_out(swing: Mapping[str, Any], notes: RecordingNotes) -> str:
    note = notes.find(swing["impact_club_clock_us"])
    return note.left_out if note else ""


def place_in_block(name: str, value: float | None, others: Sequence[Mapping[str, Any]]) -> Any:
    """A rail with a dot: where a value lies among the block's other swings."""
    values = [known for one in others if (known := value_and_error(one, name)[0]) is not None]
    if value is None or len(values) < ENOUGH:
        left = ENOUGH - len(values)
        words = f"spread after {left} more" if left > 0 else ""
        return html.Div(html.Span(words, className="away-words"), className="away-box")
    mean, sd = fmean(values), stdev(values)
    away = (value - mean) / sd if sd > 0 else 0.0
    left_percent = min(96.0, max(4.0, 50.0 + 20.0 * away))
    side = "above" if away > 0 else "below"
    words = "at the mean" if abs(away) < 0.05 else f"{abs(away):.1f} SD {side} the mean"
    return html.Div(
        className="away-box",
        children=[
            html.Div(
                html.Span(className="dot", style={"left": f"{left_percent:.0f}%"}),
                className="rail",
                **{"aria-hidden": "true"},
            ),
            html.Span(words, className="away-words"),
        ],
    )


def swing_card(
    swing: Mapping[str, Any], swings: Sequence[Mapping[str, Any]], notes: RecordingNotes
) -> Any:
    """One swing, large enough to read across a hitting bay."""
    labels = dict(zip([s["number"] for s in swings], labels_of(swings, notes), strict=True))
    label = labels.get(swing["number"], "")
    others = [
        other
        for other in counted(swings, notes)
        if other["number"] != swing["number"] and labels[other["number"]] == label
    ]
    reason = _left_out(swing, notes)
    kind = "practice swing" if swing["kind"] == "practice" else "with ball"
    remarks = [
        *([label] if label else []),
        kind,
        f"{swing['after_impact_ms'] / 1000:.1f} s after impact",
    ]
    if swing["quality"] != "good":
        remarks.insert(-1, f"quality {swing['quality']}")
    if reason:
        remarks.insert(-1, f"left out: {reason}")
    beside = None if swing["kind"] == "practice" else others
    large = [_large(name, swing, beside) for name in SHOWN]
    small = [
        f"{METRIC_BY_NAME[name].label} {live_metric(swing, name)}"
        for name in (*SMALL, *further_metrics(swing))
    ]
    return html.Div(
        children=[
            html.Div(
                className="record-head",
                children=[
                    html.H2(f"Swing {swing['number']}", className="record-number"),
                    html.Span(" · ".join(remarks), className="quiet"),
                ],
            ),
            html.Div(large, className="record-large"),
            html.P("   ·   ".join(small), className="quiet"),
        ]
    )


def _large(name: str, swing: Mapping[str, Any], others: Sequence[Mapping[str, Any]] | None) -> Any:
    metric = METRIC_BY_NAME[name]
    value, se = value_and_error(swing, name)
    error = "" if value is None or se is None else f"± {live_number(metric, max(se, 0.01))}"
    return html.Div(
        className="record-metric",
        children=[
            html.Div(metric.label, className="tile-label"),
            html.Div(live_number(metric, value), className="record-value"),
            html.Div(error, className="tile-spread"),
            None if others is None else place_in_block(name, value, others),
        ],
    )


def swing_strip(
    swings: Sequence[Mapping[str, Any]], picked: int | None, notes: RecordingNotes
) -> list[Any]:
    """All swings so far, newest first, each a button."""
    buttons = []
    labels = labels_of(swings, notes)
    for swing, label in zip(reversed(swings), reversed(labels), strict=True):
        note = notes.find(swing["impact_club_clock_us"])
        marks = [part for part in (note.direction, note.outcome) if part] if note else []
        if note and note.left_out:
            marks = ["left out"]
        if swing["kind"] == "practice":
            marks.insert(0, "practice swing" if label else "practice")
        if label:
            marks.insert(0, label)
        number = swing["number"]
        first, second = (live_metric(swing, name) for name in SHOWN[:2])
        buttons.append(
            html.Button(
                id={"type": "record-pick", "number": number},
                className="record-chip chosen" if number == picked else "record-chip",
                n_clicks=0,
                children=[
                    html.Strong(str(number)),
                    html.Span(f"{first} · {second}"),
                    html.Span(", ".join(marks), className="quiet"),
                ],
            )
        )
    return buttons


def sensor_states(watched: Watched) -> list[Any]:
    """One line a sensor: state, battery, signal, what is missing."""
    lines = []
    for role, facts in watched.sensors.items():
        rate = facts.get("rate_hz") or 0
        words = [str(facts.get("state", ""))]
        if facts.get("battery") is not None:
            words.append(f"battery {facts['battery']} %")
        if facts.get("rssi") is not None:
            words.append(f"signal {facts['rssi']} dBm")
        if rate and facts.get("received"):
            words.append(f"{facts['received'] / rate:.0f} s kept")
        if facts.get("missing"):
            words.append(f"fetching {facts['missing']} samples")
        words.append(f"{facts['lost']} samples lost" if facts.get("lost") else "nothing lost")
        low = facts.get("battery") is not None and facts["battery"] <= 15
        problem = str(facts.get("problem") or ("battery low" if low else ""))
        lines.append(
            html.Li(
                [
                    html.Strong(f"{role.capitalize()} {facts.get('serial', '')}"),
                    html.Span(" · ".join(words)),
                    *([html.Span(problem, className="bad", role="alert")] if problem else []),
                ]
            )
        )
    if watched.tie_se_ms is not None:
        tie = f"to ± {watched.tie_se_ms:.0f} ms by radio; the swings themselves tie them closer"
        lines.append(html.Li([html.Strong("Clocks tied"), html.Span(tie)]))
    return lines


def found_words(sensor: Mapping[str, Any]) -> list[Any]:
    """A sensor near, as the command lists it: what is known of it, and what is wrong with it."""
    facts = (
        (sensor.get("role"), "on the {}"),
        (sensor.get("battery_percent"), "battery {} %"),
        (sensor.get("signal_dbm"), "signal {} dBm"),
        (sensor.get("rate_hz"), "{} Hz"),
    )
    words = ", ".join(said.format(fact) for fact, said in facts if fact not in (None, ""))
    problem = str(sensor.get("problem") or "")
    return [
        html.Strong(sensor["serial"]),
        f" {words}. " if words else " ",
        *([html.Span(f"{problem} ", className="bad")] if problem else []),
    ]


def calibration_words(state: Mapping[str, Any]) -> list[Any]:
    """The step of the calibration and how it goes."""
    step = str(state.get("step", "still before"))
    progress = {
        "still before": f"{state.get('still_s', 0):.0f} of 2 s",
        "forearm roll": f"{state.get('forearm_rolls', 0)} of 4",
        "club roll": f"{state.get('club_rolls', 0)} of 4",
        "still after": f"{state.get('still_s', 0):.0f} of 2 s",
    }
    words = f"Quality: {state['quality']}" if state.get("quality") else progress.get(step, "")
    return [html.Strong(STEP_WORDS.get(step, "")), html.Span(words, className="quiet")]

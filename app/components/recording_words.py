"""What is said of a recording in the making. No callbacks here."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from app.recording import Watched


def title_of(watched: Watched) -> str:
    """What is going on, in a few words."""
    if watched.state == "starting":
        return "Starting …"
    if watched.state == "failed":
        return "The recording did not start"
    manifest = watched.manifest
    who = ", ".join(p for p in (manifest.player.name, manifest.block) if p) if manifest else ""
    words = {"running": "Recording", "ending": "Ending, fetching the rest", "ended": "Recorded"}
    clock = (
        f" · {watched.seconds // 60:.0f}:{watched.seconds % 60:02.0f}" if watched.seconds else ""
    )
    return f"{words[watched.state]}{': ' + who if who else ''}{clock}"


def note_of(watched: Watched) -> Any:
    """What to say beside the state: warnings, why it failed, where it went."""
    if watched.state == "failed":
        text = watched.words or "no reason was given"
        return html.Div([html.Strong(_sentence(text)), html.Div(_again())], className="note bad")
    if watched.state == "starting":
        return html.P(_sentence(watched.words), className="quiet")
    if watched.state == "ended":
        if not watched.finished_id:
            words = watched.words or "nothing was kept"
            return html.Div(
                [html.Strong(_sentence(words)), html.Div(_again())], className="note bad"
            )
        link = dcc.Link(
            "Open it", href=f"/session?recordings={watched.finished_id}", className="main-link"
        )
        return html.Div(
            [
                html.Strong("Kept in your library."),
                html.Div([link, _again()], className="record-shot"),
            ],
            className="note good",
        )
    return html.P(watched.warning, className="bad", role="alert") if watched.warning else []


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _again() -> Any:
    return html.Button("Set up another", id="record-again", className="button-link", n_clicks=0)

"""How the numbers shown came about: what each part of the set-up was found by, and how well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.store import SwingSet
from imu.cautions import NOT_SEEN


def warnings_of(shown: SwingSet) -> list[Any]:
    """What stands against the recordings shown, each named where there are several."""
    several = len(shown.entries) > 1
    return [
        html.P(
            [html.Strong(f"{entry.label}: ") if several else None, _sentence(warning)],
            className="note",
        )
        for entry, analysis in zip(shown.entries, shown.analyses, strict=True)
        for warning in analysis.warnings
    ]


def how_measured(shown: SwingSet) -> Any:
    """Folded away: every recording's own words on its calibration; nothing where none were kept."""
    parts: list[Any] = []
    for entry, analysis in zip(shown.entries, shown.analyses, strict=True):
        told = _told(analysis.calibration)
        if told and len(shown.entries) > 1:
            parts.append(html.H3(entry.label))
        parts += told
    if not parts:
        return None
    return html.Details(
        className="card measured",
        children=[
            html.Summary("How this was measured"),
            html.P(
                "No ritual is asked for: how the sensors sit, their biases and their clocks are "
                "worked out from the swings. For each, what it was determined by, and how well.",
                className="quiet",
            ),
            *parts,
            html.P(NOT_SEEN, className="caption"),
        ],
    )


def _told(calibration: Mapping[str, Any]) -> list[Any]:
    """The words of a calibration; of each of its parts where it was solved in several."""
    parts: Sequence[Mapping[str, Any]] = calibration.get("parts") or [calibration]
    told: list[Any] = []
    for part in parts:
        words = [str(one) for one in part.get("words", ())]
        if not words:
            continue
        if len(parts) > 1:
            told.append(html.H3(_swings(part.get("swings", ()))))
        told.append(html.Ul([html.Li(_item(one)) for one in words]))
    return told


def _swings(numbers: Sequence[int]) -> str:
    """ "Swing 3", "Swings 1 to 13", "Swings 1, 2, 5"."""
    if len(numbers) == 1:
        return f"Swing {numbers[0]}"
    if list(numbers) == list(range(numbers[0], numbers[0] + len(numbers))):
        return f"Swings {numbers[0]} to {numbers[-1]}"
    return f"Swings {', '.join(str(number) for number in numbers)}"


def _item(text: str) -> list[Any]:
    """What it is about, standing out, and what is said of it."""
    about, colon, rest = text.partition(": ")
    if not colon:
        return [_sentence(text)]
    return [html.Strong(f"{_capital(about)}: "), _sentence(rest, capital=False)]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str, capital: bool = True) -> str:
    ended = text if text.endswith((".", "!")) else f"{text}."
    return _capital(ended) if capital else ended

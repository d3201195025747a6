"""A plan as a list to tick or print: what to do before, the blocks in order, what to do after."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from imu.cautions import BEFORE_SWINGING


def checklist(plan: Mapping[str, Any], recorded: Collection[int] = ()) -> list[Any]:
    """The steps with boxes to tick; the blocks of each session as one numbered list.

    recorded : numbers of the blocks that a recording followed.
    """
    steps = [str(step) for step in plan["checklist"]]
    mark = hashlib.sha256("\n".join(steps).encode()).hexdigest()[:12]
    blocks = list(plan["blocks"])
    own = [step for step in steps if not step.startswith(("  Block", "Session "))]
    last = [step for step in own if step.startswith(("Note each", "Compare "))]
    first = [step for step in own if step not in last and step not in BEFORE_SWINGING]
    sessions = list(dict.fromkeys(block["session"] for block in blocks))
    labels = list(dict.fromkeys(block["label"] for block in blocks))
    parts: list[Any] = [
        html.H3("Before"),
        _boxes([" ".join(BEFORE_SWINGING), *first], f"{mark}-before"),
    ]
    for session in sessions:
        here = [block for block in blocks if block["session"] == session]
        total = sum(block["swings"] for block in here)
        heading = "The blocks" if len(sessions) == 1 else f"Session {session}, on a day of its own"
        parts += [
            html.H3(f"{heading}: {total} swings"),
            html.Ol(
                [
                    _block(block, labels.index(block["label"]), mark, block["number"] in recorded)
                    for block in here
                ],
                className="block-list",
            ),
        ]
    return [*parts, html.H3("After"), _boxes(last, f"{mark}-after")]


def _boxes(steps: Sequence[str], mark: str) -> Any:
    return html.Div(
        [
            dmc.Checkbox(
                id=f"tick-{mark}-{place}", label=step, size="md", persistence=True, mb="xs"
            )
            for place, step in enumerate(steps)
        ]
    )


def _block(block: Mapping[str, Any], kind: int, mark: str, recorded: bool) -> Any:
    rest = f"rest {block['rest_s']} s first" if block["rest_s"] else "after warming up"
    return html.Li(
        className=f"block block-{kind + 1}",
        children=[
            dmc.Checkbox(
                id=f"tick-{mark}-block-{block['number']}",
                label=f"{block['number']}. {block['swings']} × {block['label']}",
                size="lg",
                persistence=True,
            ),
            html.Span(f"{rest} · recorded" if recorded else rest, className="caption"),
        ],
    )


def limits_words(limits: Mapping[str, Any]) -> str:
    """The limits kept with a plan, and since when."""
    own = "".join(f", {name} up to {size:g}" for name, size in limits["shift"].items())
    since = f"; set on {limits['set_at'][:10]}" if limits["set_at"] else ""
    return (
        f"Limits: spread up to {limits['sd_ratio']:g} times, mean up to "
        f"{limits['shift_in_sds']:g} SD{own}{since}."
    )


def pitfall(text: str) -> list[Any]:
    """A pitfall with its first word or two standing out."""
    head, colon, rest = text.partition(":")
    if not colon or len(head) > 12:
        return [text]
    return [html.Strong(f"{head}:"), rest]

"""A labelled row of choices, one of which is on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html


def segmented(
    identity: str,
    label: str,
    choices: Sequence[tuple[str, str]],
    value: str,
    size: str = "md",
    quiet: bool = False,
) -> Any:
    """A segmented control with a label (heard but not seen if ``quiet``); an unknown ``value``
    falls to the first."""
    values = [choice for choice, _ in choices]
    return html.Div(
        className="choice",
        children=[
            html.Span(
                label, className="heard" if quiet else "choice-label", id=f"{identity}-label"
            ),
            dmc.SegmentedControl(
                id=identity,
                data=[{"value": choice, "label": words} for choice, words in choices],
                value=value if value in values else values[0],
                size=size,
                **{"aria-labelledby": f"{identity}-label"},
            ),
        ],
    )

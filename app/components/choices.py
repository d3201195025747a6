"""The choices that several pages offer alike: one of a few, sets of swings, a measure, and what can
be noted on a swing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from imu.columns import headline_metrics

ALIGN = (("impact", "Impact"), ("top", "Top"), ("takeaway", "Takeaway"))
"""Moments at which curves are lined up; keys of ``imu.figures.alignment.ALIGNMENTS``."""
USUAL_METRIC = "release_ms"

DIRECTIONS = (("", "Not noted"), ("left", "Left"), ("straight", "Straight"), ("right", "Right"))
OUTCOMES = (("", "Not noted"), ("good", "Good"), ("bad", "Bad"))
REASONS = ("mishit", "interrupted", "not a full swing", "sensor slipped")
"""Usual reasons to leave a swing out; any other can be written."""


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


def page_head(heading: str, choices: Sequence[Any]) -> Any:
    """A page's heading with what it shows chosen beside it."""
    return html.Div(
        className="page-head",
        children=[html.H1(heading), html.Div(className="choices", children=list(choices))],
    )


def choose_sets(
    identity: str,
    label: str,
    choices: Sequence[dict[str, Any]],
    value: Sequence[str],
    look: str = "",
) -> Any:
    """Recordings, blocks and saved sets, several of which may be chosen."""
    return dmc.MultiSelect(
        id=identity,
        label=label,
        data=list(choices),
        value=list(value),
        size="md",
        w=380,
        hidePickedOptions=True,
        className=look,
    )


def choose_metric(identity: str, label: str, wanted: str) -> Any:
    """One of the headline measures; any other falls to the usual."""
    offered = headline_metrics()
    return dmc.Select(
        id=identity,
        label=label,
        data=[{"value": one.name, "label": one.label} for one in offered],
        value=wanted if wanted in {one.name for one in offered} else USUAL_METRIC,
        allowDeselect=False,
        size="md",
        w=320,
    )

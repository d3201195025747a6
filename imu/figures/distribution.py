"""One metric, swing by swing, in two sets: every value, the mean, and one SD to either side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
from numpy.typing import ArrayLike

from imu.columns import Metric
from imu.figures.theme import base_layout, palette, quiet_axis
from imu.figures.two_sets import SET_SYMBOLS


def distribution_figure(
    values: Sequence[ArrayLike],
    names: Sequence[str],
    labels: Sequence[Sequence[str]],
    metric: Metric,
    theme: str = "light",
    height: int = 230,
) -> go.Figure:
    """A row a set. values, labels : per set, each swing's value and what to call it."""
    colours = palette(theme)
    figure = go.Figure(layout=base_layout(colours, height))
    for place, (raw, name, words) in enumerate(zip(values, names, labels, strict=True)):
        numbers = np.asarray(raw, dtype=np.float64)
        good = np.isfinite(numbers)
        row = len(values) - 1 - place
        figure.add_trace(
            go.Scatter(
                x=numbers[good],
                y=row + _apart(numbers[good]),
                mode="markers",
                marker={
                    "symbol": SET_SYMBOLS[place],
                    "size": 11,
                    "color": colours.sets[place],
                    "opacity": 0.75,
                    "line": {"width": 1, "color": colours.paper},
                },
                text=[word for word, there in zip(words, good, strict=True) if there],
                hovertemplate=f"%{{text}}: %{{x:.4g}} {metric.unit}<extra></extra>",
                name=name,
                meta={"role": "swings", "set": place},
            )
        )
        if good.sum() > 1:
            figure.add_trace(
                go.Scatter(
                    x=[float(numbers[good].mean())],
                    y=[row - 0.33],
                    error_x={
                        "type": "data",
                        "array": [float(numbers[good].std(ddof=1))],
                        "thickness": 4,
                        "width": 9,
                        "color": colours.ink,
                    },
                    mode="markers",
                    marker={
                        "symbol": "line-ns",
                        "size": 18,
                        "line": {"width": 4, "color": colours.ink},
                    },
                    hovertemplate="mean %{x:.4g}, SD %{error_x.array:.3g} "
                    f"{metric.unit}<extra></extra>",
                    meta={"role": "mean", "set": place},
                )
            )
    figure.update_layout(
        xaxis=quiet_axis(
            colours,
            title={
                "text": metric.label + (f", {metric.unit}" if metric.unit else ""),
                "font": {"size": 15, "color": colours.quiet},
            },
        ),
        yaxis=quiet_axis(
            colours,
            tickvals=list(range(len(names))),
            ticktext=list(reversed(list(names))),
            range=[-0.6, len(names) - 0.4],
            showgrid=False,
            fixedrange=True,
            tickfont={"size": 15, "color": colours.ink},
        ),
        margin={"l": 110, "r": 18, "t": 10, "b": 52},
    )
    return figure


def _apart(numbers: np.ndarray) -> np.ndarray:
    """Small upward steps that keep near values from hiding one another."""
    if len(numbers) < 2:
        return np.zeros(len(numbers))
    near = np.ptp(numbers) / 40.0 or 1.0
    steps = np.zeros(len(numbers))
    taken: dict[int, int] = {}
    for index in np.argsort(numbers):
        cell = int(numbers[index] // near)
        steps[index] = 0.13 * taken.get(cell, 0)
        taken[cell] = taken.get(cell, 0) + 1
    return np.minimum(steps, 0.5)

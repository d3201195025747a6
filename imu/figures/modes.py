"""What a mode of variation does: the mean curve, and the curve pushed along the mode both ways."""

from __future__ import annotations

import plotly.graph_objects as go

from imu.figures.curve_names import EVERY_CURVE
from imu.figures.theme import base_layout, palette, panel_heading, quiet_axis, zero_line
from imu.types import FloatArray

PUSHED = 2.0
"""SDs by which the curve is pushed: about as far as one swing in twenty goes."""


def mode_figure(
    time: FloatArray,
    mean: FloatArray,
    shape: FloatArray,
    column: str,
    theme: str = "light",
    height: int = 380,
) -> go.Figure:
    """One mode of a curve.

    time : (T,) s from impact. mean : (T,). shape : (T,), the change of the curve for one SD of the
    mode, both in the unit of ``column``.
    """
    colours = palette(theme)
    figure = go.Figure(layout=base_layout(colours, height))
    label, unit = EVERY_CURVE[column]
    across = 1e3 * time
    lines = (
        ("2 SD one way", mean + PUSHED * shape, colours.picks[0], "dash", 2.5),
        ("mean", mean, colours.ink, "solid", 3.0),
        ("2 SD the other way", mean - PUSHED * shape, colours.picks[1], "dot", 2.5),
    )
    for name, curve, colour, dash, width in lines:
        figure.add_scatter(
            x=across,
            y=curve,
            name=name,
            mode="lines",
            line={"color": colour, "dash": dash, "width": width},
            hovertemplate=f"{name} · %{{y:.1f}} {unit} at %{{x:.0f}} ms<extra></extra>",
        )
    figure.update_layout(
        shapes=[zero_line(colours)],
        annotations=[panel_heading(colours, f"{label}, {unit}", 1.0)],
        showlegend=True,
        legend={"orientation": "h", "x": 1.0, "xanchor": "right", "y": 1.0, "yanchor": "bottom"},
        xaxis=quiet_axis(
            colours,
            range=[float(across[0]), float(across[-1])],
            title={"text": "ms from impact", "font": {"size": 15, "color": colours.quiet}},
        ),
        yaxis=quiet_axis(colours, nticks=6),
    )
    return figure

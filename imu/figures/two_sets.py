"""Two sets of swings over one another: medians, bands, event times, and the spread of each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from imu.figures.alignment import AlignedCurves
from imu.figures.bands import quantiles, sd_at_each_time
from imu.figures.curve_names import CURVES
from imu.figures.overlay import EVENT_ROWS, FROM_EVENT
from imu.figures.theme import Palette, base_layout, palette, panel_heading, quiet_axis, zero_line

SET_DASHES = ("solid", "dash")
SET_SYMBOLS = ("circle", "square")


def two_sets_figure(
    first: AlignedCurves,
    second: AlignedCurves,
    names: tuple[str, str],
    column: str = "hinge_deg",
    theme: str = "light",
    regions: Sequence[tuple[float, float]] = (),
    height: int = 620,
) -> go.Figure:
    """One curve of both sets with the middle 80 % as bands, when things happen in each, and the
    SD of each over time.

    first, second : lined up at the same event. regions : stretches (s from impact) where the mean
    curves are told to differ, shaded; only meaningful when lined up at impact.
    """
    colours = palette(theme)
    figure = go.Figure(layout=base_layout(colours, height))
    heading, unit = CURVES[column]
    for place, aligned in enumerate((first, second)):
        _band_and_median(figure, aligned, column, place, names[place], colours)
    for place, aligned in enumerate((first, second)):
        _events(figure, aligned, place, names[place], colours)
        _spread(figure, aligned, column, place, names[place], colours)
    shown = [event for event in EVENT_ROWS if event != first.anchor]
    every = np.concatenate([aligned.grid for aligned in (first, second)]) * 1e3
    across = [float(every.min()), float(every.max())] if len(every) else [-1200.0, 400.0]
    figure.update_layout(
        annotations=[
            panel_heading(colours, f"{heading}, {unit}", 1.0),
            panel_heading(colours, "When things happen", 0.43),
            panel_heading(colours, f"Where each varies, SD in {unit}", 0.19),
        ],
        shapes=[
            *(
                {
                    "type": "rect",
                    "x0": 1e3 * start,
                    "x1": 1e3 * end,
                    "y0": 0.52,
                    "y1": 1.0,
                    "xref": "x",
                    "yref": "paper",
                    "fillcolor": colours.rule,
                    "opacity": 0.75,
                    "line": {"width": 0},
                    "layer": "below",
                }
                for start, end in regions
            ),
            zero_line(colours),
        ],
        yaxis=quiet_axis(colours, domain=[0.52, 1.0], nticks=6),
        yaxis2=quiet_axis(
            colours,
            domain=[0.25, 0.43],
            tickvals=list(range(len(shown))),
            ticktext=[EVENT_ROWS[event] for event in reversed(shown)],
            range=[-0.6, len(shown) - 0.4],
            tickfont={"size": 13, "color": colours.quiet},
        ),
        yaxis3=quiet_axis(colours, domain=[0.0, 0.19], rangemode="tozero", nticks=4),
        xaxis=quiet_axis(
            colours,
            anchor="y3",
            title={
                "text": f"ms from {FROM_EVENT[first.alignment]}",
                "font": {"size": 15, "color": colours.quiet},
            },
            range=across,
        ),
        margin={"l": 76, "r": 18, "t": 34, "b": 52},
    )
    return figure


def _band_and_median(
    figure: go.Figure,
    aligned: AlignedCurves,
    column: str,
    place: int,
    name: str,
    colours: Palette,
) -> None:
    low, middle, high = quantiles(aligned.values[column], (10.0, 50.0, 90.0))
    good = np.isfinite(middle)
    times = aligned.grid[good] * 1e3
    figure.add_trace(
        go.Scatter(
            x=np.r_[times, times[::-1]].astype(np.float32),
            y=np.r_[low[good], high[good][::-1]].astype(np.float32),
            fill="toself",
            fillcolor=colours.set_bands[place],
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
            meta={"role": "band", "set": place},
        )
    )
    figure.add_trace(
        go.Scatter(
            x=times.astype(np.float32),
            y=middle[good].astype(np.float32),
            mode="lines",
            line={"color": colours.sets[place], "width": 3.5, "dash": SET_DASHES[place]},
            name=name,
            hovertemplate=f"{name}: %{{y:.1f}} {CURVES[column][1]} at %{{x:.0f}} ms<extra></extra>",
            meta={"role": "median", "set": place},
        )
    )


def _events(
    figure: go.Figure, aligned: AlignedCurves, place: int, name: str, colours: Palette
) -> None:
    """Each set's events: a dot at the mean and a bar of one SD to either side."""
    shown = [event for event in EVENT_ROWS if event != aligned.anchor]
    means, spreads, heights = [], [], []
    for height, event in enumerate(reversed(shown)):
        moments = aligned.events[event][np.isfinite(aligned.events[event])] * 1e3
        if not len(moments):
            continue
        means.append(float(moments.mean()))
        spreads.append(float(moments.std(ddof=1)) if len(moments) > 1 else 0.0)
        heights.append(height + (0.17 if place == 0 else -0.17))
    figure.add_trace(
        go.Scatter(
            x=means,
            y=heights,
            error_x={
                "type": "data",
                "array": spreads,
                "thickness": 3,
                "width": 0,
                "color": colours.sets[place],
            },
            mode="markers",
            marker={"size": 11, "symbol": SET_SYMBOLS[place], "color": colours.sets[place]},
            hovertemplate=f"{name}: %{{x:.0f}} ms, SD %{{error_x.array:.1f}}<extra></extra>",
            name=name,
            meta={"role": "events", "set": place},
            yaxis="y2",
        )
    )


def _spread(
    figure: go.Figure, aligned: AlignedCurves, column: str, place: int, name: str, colours: Palette
) -> None:
    figure.add_trace(
        go.Scatter(
            x=(aligned.grid * 1e3).astype(np.float32),
            y=sd_at_each_time(aligned.values[column]).astype(np.float32),
            mode="lines",
            line={"color": colours.sets[place], "width": 3, "dash": SET_DASHES[place]},
            hovertemplate=f"{name}: SD %{{y:.1f}} at %{{x:.0f}} ms<extra></extra>",
            meta={"role": "spread", "set": place},
            yaxis="y3",
        )
    )

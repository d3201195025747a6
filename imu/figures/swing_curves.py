"""The curves of one swing with every event marked, over the spread of its session."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import plotly.graph_objects as go

from imu.figures.alignment import AlignedCurves
from imu.figures.bands import quantiles
from imu.figures.curve_names import CURVES, EVERY_CURVE
from imu.figures.theme import Palette, base_layout, palette, panel_heading, quiet_axis

EVENT_MARKS: dict[str, tuple[str, str]] = {
    "takeaway": ("Takeaway", "circle-open"),
    "arm_top": ("Arm top", "triangle-up-open"),
    "club_top": ("Club top", "triangle-up"),
    "release": ("Release", "diamond"),
    "shaft_parallel": ("Shaft parallel", "square-open"),
    "impact": ("Impact", "x"),
    "finish": ("Finish", "square"),
}
"""Events marked on every curve: words and symbol."""


def swing_figure(
    time: np.ndarray,
    values: Mapping[str, np.ndarray],
    events: Mapping[str, float],
    others: AlignedCurves | None,
    columns: Sequence[str] = tuple(CURVES),
    theme: str = "light",
    height: int = 620,
    errors: np.ndarray | None = None,
) -> go.Figure:
    """One swing's curves from its takeaway to its finish.

    time : (N,) s from impact. values : (N,) per curve column. events : s from impact, NaN where
    unknown. others : the swings of its session lined up at impact, drawn as the middle 80 %.
    errors : (N,) standard error of the hinge, °, drawn as a thin band of twice that.
    """
    colours = palette(theme)
    figure = go.Figure(layout=base_layout(colours, height))
    gap = 0.075
    weights = np.array([1.6] + [1.0] * (len(columns) - 1))
    unit = (1.0 - gap * (len(columns) - 1)) / weights.sum()
    top, annotations = 1.0, []
    for panel, column in enumerate(columns, start=1):
        heading, unit_name = EVERY_CURVE[column]
        low = max(top - weights[panel - 1] * unit, 0.0)
        axis = "y" if panel == 1 else f"y{panel}"
        _session_band(figure, others, column, axis, colours)
        if column == "hinge_deg" and errors is not None and np.isfinite(errors).any():
            _error_band(figure, time, values[column], errors, axis, colours)
        figure.add_trace(
            go.Scatter(
                x=(time * 1e3).astype(np.float32),
                y=np.asarray(values[column], np.float32),
                mode="lines",
                line={"color": colours.picks[0], "width": 3.2},
                hovertemplate=f"%{{y:.0f}} {unit_name} at %{{x:.0f}} ms<extra></extra>",
                meta={"role": "swing", "panel": panel},
                xaxis="x",
                yaxis=axis,
            )
        )
        _marks(figure, time, np.asarray(values[column], float), events, axis, colours)
        annotations.append(panel_heading(colours, f"{heading}, {unit_name}", top))
        name = "yaxis" if panel == 1 else f"yaxis{panel}"
        figure.update_layout({name: quiet_axis(colours, domain=[low, top], nticks=5)})
        top = low - gap
    figure.update_layout(
        annotations=annotations,
        xaxis=quiet_axis(
            colours,
            anchor="y" if len(columns) == 1 else f"y{len(columns)}",
            title={"text": "ms from impact", "font": {"size": 15, "color": colours.quiet}},
            range=_time_range(time, events),
        ),
    )
    return figure


def _time_range(time: np.ndarray, events: Mapping[str, float]) -> list[float]:
    start = events.get("takeaway", np.nan)
    finish = events.get("finish", np.nan)
    first = start - 0.1 if np.isfinite(start) else float(time[0])
    last = finish + 0.05 if np.isfinite(finish) else float(time[-1])
    return [1e3 * max(first, float(time[0])), 1e3 * min(last, float(time[-1]))]


def _session_band(
    figure: go.Figure, others: AlignedCurves | None, column: str, axis: str, colours: Palette
) -> None:
    if others is None or len(others.labels) < 3:
        return
    low, high = quantiles(others.values[column], (10.0, 90.0))
    good = np.isfinite(low)
    times = others.grid[good] * 1e3
    _area(figure, times, low[good], high[good], colours.swings, "band", axis)


def _error_band(
    figure: go.Figure,
    time: np.ndarray,
    values: np.ndarray,
    errors: np.ndarray,
    axis: str,
    colours: Palette,
) -> None:
    good = np.isfinite(errors) & np.isfinite(values)
    t, middle, width = time[good] * 1e3, values[good], 2.0 * errors[good]
    _area(figure, t, middle - width, middle + width, colours.set_bands[0], "error", axis)


def _area(
    figure: go.Figure,
    time_ms: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    colour: str,
    role: str,
    axis: str,
) -> None:
    """The area between two lines (N,), filled."""
    figure.add_trace(
        go.Scatter(
            x=np.r_[time_ms, time_ms[::-1]].astype(np.float32),
            y=np.r_[low, high[::-1]].astype(np.float32),
            fill="toself",
            fillcolor=colour,
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
            meta={"role": role},
            xaxis="x",
            yaxis=axis,
        )
    )


def _marks(
    figure: go.Figure,
    time: np.ndarray,
    values: np.ndarray,
    events: Mapping[str, float],
    axis: str,
    colours: Palette,
) -> None:
    known = [event for event in EVENT_MARKS if np.isfinite(events.get(event, np.nan))]
    moments = np.array([events[event] for event in known])
    heights = np.interp(moments, time, values) if len(known) else moments
    figure.add_trace(
        go.Scatter(
            x=moments * 1e3,
            y=heights,
            mode="markers",
            marker={
                "symbol": [EVENT_MARKS[event][1] for event in known],
                "size": 12,
                "color": colours.ink,
                "line": {"width": 2, "color": colours.ink},
            },
            text=[EVENT_MARKS[event][0] for event in known],
            hovertemplate="%{text} at %{x:.0f} ms<extra></extra>",
            meta={"role": "events", "events": known},
            xaxis="x",
            yaxis=axis,
        )
    )

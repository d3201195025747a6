"""One metric over months of sessions: level above, spread below, each with its interval."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from imu.columns import Metric
from imu.figures.theme import Palette, base_layout, palette, panel_heading, quiet_axis

MANY_SESSIONS = 40
"""Sessions beyond which marks shrink and are no longer joined."""

SPLIT = (0.0, 0.40, 0.54, 1.0)


def trend_figure(
    sessions: pd.DataFrame, metric: Metric, theme: str = "light", height: int = 560
) -> go.Figure:
    """Sessions in order of date.

    sessions : rows of one metric of a session table: ``date``, ``session_key``, ``swings``, and
    ``mean`` and ``sd`` with ``_low`` and ``_high``. Sessions without a date are numbered.
    """
    colours = palette(theme)
    figure = go.Figure(layout=base_layout(colours, height))
    rows = sessions[np.isfinite(sessions["mean"].to_numpy(float))]
    days = pd.to_datetime(rows["date"], errors="coerce")
    dated = bool(days.notna().all()) and len(rows) > 0
    across = [day.strftime("%Y-%m-%d") for day in days] if dated else list(range(1, len(rows) + 1))
    _points(figure, rows, across, "mean", "y", metric, colours, 0)
    _points(figure, rows, across, "sd", "y2", metric, colours, 1)
    unit = f", {metric.unit}" if metric.unit else ""
    figure.update_layout(
        annotations=[
            panel_heading(colours, f"{metric.label}: mean{unit}", SPLIT[3]),
            panel_heading(colours, f"Its spread: SD{unit}", SPLIT[1]),
        ],
        yaxis=quiet_axis(colours, domain=[SPLIT[2], SPLIT[3]], nticks=5),
        yaxis2=quiet_axis(colours, domain=[SPLIT[0], SPLIT[1]], nticks=5, rangemode="tozero"),
        xaxis=quiet_axis(
            colours,
            anchor="y2",
            type="date" if dated else "linear",
            title={
                "text": "" if dated else "session",
                "font": {"size": 15, "color": colours.quiet},
            },
            **({"dtick": max(1, len(rows) // 12)} if not dated else {}),
            **({"tickformat": "%-d %b %Y", "nticks": 6} if dated else {}),
        ),
    )
    if dated and len(rows) == 1:
        around = pd.Timedelta(days=15)
        ends = [days.iloc[0] - around, days.iloc[0] + around]
        figure.update_layout(xaxis={"range": [end.strftime("%Y-%m-%d") for end in ends]})
    return figure


def _points(
    figure: go.Figure,
    rows: pd.DataFrame,
    across: list[str] | list[int],
    column: str,
    axis: str,
    metric: Metric,
    colours: Palette,
    place: int,
) -> None:
    many = len(rows) > MANY_SESSIONS
    value = rows[column].to_numpy(float)
    high = rows[f"{column}_high"].to_numpy(float) - value
    low = value - rows[f"{column}_low"].to_numpy(float)
    figure.add_trace(
        go.Scatter(
            x=across,
            y=value,
            error_y={
                "type": "data",
                "symmetric": False,
                "array": np.nan_to_num(high),
                "arrayminus": np.nan_to_num(low),
                "thickness": 1.2 if many else 3,
                "width": 0,
                "color": colours.sets[place],
            },
            mode="markers" if many else "lines+markers",
            line={"color": colours.sets[place], "width": 2, "dash": ("solid", "dash")[place]},
            marker={"size": 7 if many else 13, "symbol": ("circle", "square")[place]},
            text=[f"{key}, {n} swing{'s' * (n != 1)}" for key, n in zip(
                rows["session_key"], rows["swings"], strict=True)],
            hovertemplate=f"%{{text}}<br>%{{y:.4g}} {metric.unit}<extra></extra>",
            name="mean" if column == "mean" else "SD",
            meta={"role": column},
            yaxis=axis,
        )
    )  # fmt: skip

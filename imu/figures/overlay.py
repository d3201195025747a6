"""All swings of a set, one over another, lined up at an event; where they spread underneath."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from imu.figures.alignment import AlignedCurves, Float32, gapped
from imu.figures.bands import quantiles, sd_at_each_time
from imu.figures.curve_names import CURVES, EVERY_CURVE
from imu.figures.theme import (
    DASHES,
    MOST_HIGHLIGHTED,
    SYMBOLS,
    Palette,
    base_layout,
    palette,
    panel_heading,
    quiet_axis,
    zero_line,
)

LINES_UP_TO = 120
"""More swings than this are drawn as a density: measured in Chromium, a thousand lines redraw in
0.6 s as vectors and, without a graphics card, in 12 s with WebGL."""

FROM_EVENT = {"impact": "impact", "takeaway": "takeaway", "top": "the club's top"}
EVENT_ROWS = {
    "takeaway": "Takeaway",
    "arm_top": "Arm top",
    "club_top": "Club top",
    "release": "Release",
    "impact": "Impact",
}


@dataclass(frozen=True)
class OverlayChoices:
    """What to draw: curve columns top to bottom, highlighted labels, percentile band, theme."""

    columns: tuple[str, ...] = tuple(CURVES)
    highlighted: tuple[str, ...] = ()
    band: tuple[float, float] = (10.0, 90.0)
    theme: str = "light"
    height: int = 640
    names: Mapping[str, str] = field(default_factory=dict)


def overlay_figure(aligned: AlignedCurves, choices: OverlayChoices) -> go.Figure:
    """The overlay: a panel a curve, a strip of event times, a strip of the first curve's spread.

    Traces carry ``meta``: role (swings, band, median, pick, events, spread) and panel number, by
    which the browser finds them to repaint highlighted swings without a round trip.
    """
    colours = palette(choices.theme)
    panels = [column for column in choices.columns if column in aligned.values]
    rows = _rows(len(panels))
    figure = go.Figure(layout=base_layout(colours, choices.height))
    times = aligned.grid * 1e3
    for panel, column in enumerate(panels, start=1):
        _panel(figure, aligned, times, panel, column, choices, colours)
    strip = len(panels) + 1
    _event_strip(figure, aligned, strip, choices, colours)
    _spread_strip(figure, aligned, times, strip + 1, panels[0], colours)
    _axes(figure, aligned, panels, rows, times, colours)
    return figure


def _rows(panels: int) -> list[tuple[float, float]]:
    """Vertical extent of each row in paper units, top to bottom: panels, events, spread."""
    weights = [2.4] + [1.3] * (panels - 1) if panels > 1 else [3.2]
    weights += [1.0, 0.85]
    gap = 0.06
    unit = (1.0 - gap * (len(weights) - 1)) / sum(weights)
    rows, top = [], 1.0
    for weight in weights:
        rows.append((max(top - weight * unit, 0.0), top))
        top -= weight * unit + gap
    return rows


def _axis(name: str, row: int) -> str:
    return name if row == 1 else f"{name}{row}"


def _panel(
    figure: go.Figure,
    aligned: AlignedCurves,
    times: NDArray[np.float64],
    panel: int,
    column: str,
    choices: OverlayChoices,
    colours: Palette,
) -> None:
    lines = aligned.values[column]
    _, unit = EVERY_CURVE[column]
    where = {"xaxis": "x", "yaxis": _axis("y", panel)}
    count = len(lines)
    as_lines = count <= LINES_UP_TO
    if not as_lines:
        figure.add_trace(density_trace(times, lines, colours, panel, where))
        x, y = times.astype(np.float32), lines.ravel()
    else:
        x, y = gapped(times, lines)
    names = [choices.names.get(label, f"Swing {label}") for label in aligned.labels]
    figure.add_trace(
        go.Scatter(
            x=x,
            y=y,
            customdata=np.repeat(np.arange(count, dtype=np.int16), len(times) + 1)
            if as_lines
            else None,
            mode="lines",
            line={"color": colours.swings, "width": 1.2},
            hoverinfo="skip",
            visible=as_lines,
            meta={
                "role": "swings",
                "panel": panel,
                "points": len(times),
                "stride": len(times) + as_lines,
                "labels": list(aligned.labels) if panel == 1 else [],
                "names": names if panel == 1 else [],
                "unit": unit,
            },
            **where,
        )
    )
    low, middle, high = quantiles(lines, (choices.band[0], 50.0, choices.band[1]))
    good = np.isfinite(middle)
    around = times[good]
    figure.add_trace(
        go.Scatter(
            x=np.r_[around, around[::-1]].astype(np.float32),
            y=np.r_[low[good], high[good][::-1]].astype(np.float32),
            fill="toself",
            fillcolor=colours.band,
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
            name=f"{choices.band[0]:.0f} to {choices.band[1]:.0f} %",
            meta={"role": "band", "panel": panel},
            **where,
        )
    )
    figure.add_trace(
        go.Scatter(
            x=times.astype(np.float32),
            y=middle.astype(np.float32),
            mode="lines",
            line={"color": colours.ink, "width": 3.5},
            hoverinfo="skip",
            name="Median",
            meta={"role": "median", "panel": panel},
            **where,
        )
    )
    index = {label: row for row, label in enumerate(aligned.labels)}
    chosen = [label for label in choices.highlighted if label in index][:MOST_HIGHLIGHTED]
    for slot in range(MOST_HIGHLIGHTED):
        drawn = slot < len(chosen)
        row = index[chosen[slot]] if drawn else 0
        figure.add_trace(
            go.Scatter(
                x=times.astype(np.float32) if drawn else [],
                y=lines[row] if drawn else [],
                mode="lines",
                line={"color": colours.picks[slot], "dash": DASHES[slot], "width": 3},
                hoverinfo="skip",
                name=names[row] if drawn else "",
                meta={"role": "pick", "panel": panel, "slot": slot},
                **where,
            )
        )


def density_trace(
    times: NDArray[np.float64],
    lines: Float32,
    colours: Palette,
    panel: int,
    where: Mapping[str, str],
) -> go.Heatmap:
    """How many swings pass through each small cell, on even steps of time: paper where none do,
    darkest where most do (square root of the count, so that single swings still show).

    times : (G,) ms from the event. lines : (S, G) a swing a row. where : names of the axes.
    """
    even = np.linspace(times[0], times[-1], 420)
    left = np.clip(np.searchsorted(times, even, side="right") - 1, 0, len(times) - 2)
    weight = ((even - times[left]) / (times[left + 1] - times[left])).astype(np.float32)
    level = lines[:, left] * (1 - weight) + lines[:, left + 1] * weight
    low, high = np.nanmin(level), np.nanmax(level)
    bins = 150
    row = np.nan_to_num((level - low) / max(high - low, 1e-6) * bins, nan=-1.0)
    cell = np.minimum(row.astype(np.int64), bins - 1)
    column = np.broadcast_to(np.arange(len(even)), cell.shape)
    good = np.isfinite(level)
    counts = np.bincount(cell[good] * len(even) + column[good], minlength=bins * len(even))
    shade = np.sqrt(counts.reshape(bins, len(even))).astype(np.float32)
    height = low + (np.arange(bins) + 0.5) * (high - low) / bins
    clear = colours.swings.rsplit(",", 1)[0]
    return go.Heatmap(
        x=even.astype(np.float32),
        y=height.astype(np.float32),
        z=np.round(shade / max(float(shade.max()), 1.0) * 255).astype(np.uint8),
        colorscale=[[0, f"{clear},0)"], [0.02, f"{clear},0.14)"], [1, f"{clear},0.85)"]],
        showscale=False,
        hoverinfo="skip",
        meta={"role": "density", "panel": panel},
        **where,
    )


def _strokes(
    moments: NDArray[np.float64], height: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Upright strokes at ``moments`` as one gapped line."""
    x = np.repeat(moments, 3).astype(np.float32)
    y = np.tile(np.array([height - 0.32, height + 0.32, np.nan], np.float32), len(moments))
    return x, y


def _range_bar(
    moments: NDArray[np.float64], height: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """A bar over the middle 80 % of ``moments``."""
    known = moments[np.isfinite(moments)]
    ends = np.quantile(known, [0.1, 0.9]) if len(known) else np.full(2, np.nan)
    return ends.astype(np.float32), np.full(2, height, np.float32)


def _event_strip(
    figure: go.Figure, aligned: AlignedCurves, row: int, choices: OverlayChoices, colours: Palette
) -> None:
    """Each swing's event times as upright strokes, an event a line; of many swings a bar."""
    where = {"xaxis": "x", "yaxis": _axis("y", row)}
    shown = [event for event in EVENT_ROWS if event != aligned.anchor]
    for height, event in enumerate(reversed(shown)):
        moments = aligned.events[event] * 1e3
        as_strokes = len(moments) <= LINES_UP_TO
        x, y = _strokes(moments, height) if as_strokes else _range_bar(moments, height)
        figure.add_trace(
            go.Scatter(
                x=x,
                y=y,
                mode="lines",
                line={"width": 1.6 if as_strokes else 9, "color": colours.strokes},
                hoverinfo="skip",
                name=EVENT_ROWS[event],
                meta={
                    "role": "events",
                    "event": event,
                    "moments": [round(float(m), 1) if np.isfinite(m) else None for m in moments],
                },
                **where,
            )
        )
    index = {label: number for number, label in enumerate(aligned.labels)}
    chosen = [label for label in choices.highlighted if label in index][:MOST_HIGHLIGHTED]
    for slot in range(MOST_HIGHLIGHTED):
        drawn = slot < len(chosen)
        swing = index[chosen[slot]] if drawn else 0
        figure.add_trace(
            go.Scatter(
                x=[float(aligned.events[e][swing] * 1e3) for e in reversed(shown)] if drawn else [],
                y=list(range(len(shown))) if drawn else [],
                mode="markers",
                marker={
                    "symbol": SYMBOLS[slot],
                    "size": 11,
                    "color": colours.picks[slot],
                    "line": {"width": 1.5, "color": colours.paper},
                },
                hoverinfo="skip",
                meta={"role": "pick-events", "slot": slot},
                **where,
            )
        )


def _spread_strip(
    figure: go.Figure,
    aligned: AlignedCurves,
    times: NDArray[np.float64],
    row: int,
    column: str,
    colours: Palette,
) -> None:
    spread, unit = sd_at_each_time(aligned.values[column]), EVERY_CURVE[column][1]
    figure.add_trace(
        go.Scatter(
            x=times.astype(np.float32),
            y=spread.astype(np.float32),
            mode="lines",
            line={"color": colours.ink, "width": 2},
            fill="tozeroy",
            fillcolor=colours.spread,
            hovertemplate=f"SD %{{y:.1f}} {unit} at %{{x:.0f}} ms<extra></extra>",
            meta={"role": "spread", "column": column},
            xaxis="x",
            yaxis=_axis("y", row),
        )
    )


def _axes(
    figure: go.Figure,
    aligned: AlignedCurves,
    panels: Sequence[str],
    rows: Sequence[tuple[float, float]],
    times: NDArray[np.float64],
    colours: Palette,
) -> None:
    annotations = []
    for panel, column in enumerate(panels, start=1):
        heading, unit = EVERY_CURVE[column]
        annotations.append(panel_heading(colours, f"{heading}, {unit}", rows[panel - 1][1]))
        span = quiet_axis(colours, domain=rows[panel - 1], nticks=5, anchor="x")
        limits = _limits(aligned.values[column], column)
        figure.update_layout({_layout_axis("y", panel): {**span, "range": limits}})
    strip = len(panels) + 1
    shown = [event for event in EVENT_ROWS if event != aligned.anchor]
    annotations.append(panel_heading(colours, "When things happen", rows[strip - 1][1]))
    ticks = {
        "tickvals": list(range(len(shown))),
        "ticktext": [EVENT_ROWS[event] for event in reversed(shown)],
        "range": [-0.7, len(shown) - 0.3],
        "fixedrange": True,
        "tickfont": {"size": 13, "color": colours.quiet},
    }
    figure.update_layout(
        {_layout_axis("y", strip): quiet_axis(colours, domain=rows[strip - 1], **ticks)}
    )
    heading, unit = EVERY_CURVE[panels[0]]
    annotations.append(
        panel_heading(colours, f"Where the {heading.lower()} varies, SD in {unit}", rows[strip][1])
    )
    figure.update_layout(
        {
            _layout_axis("y", strip + 1): quiet_axis(
                colours, domain=rows[strip], rangemode="tozero", nticks=4, fixedrange=True
            ),
            "xaxis": quiet_axis(
                colours,
                anchor=_axis("y", strip + 1),
                title={
                    "text": f"ms from {FROM_EVENT[aligned.alignment]}",
                    "font": {"size": 15, "color": colours.quiet},
                },
                range=[float(times[0]), float(times[-1])] if len(times) else [-1200, 400],
                showspikes=True,
                spikemode="across",
                spikesnap="cursor",
                spikethickness=1,
                spikedash="dot",
                spikecolor=colours.quiet,
            ),
            "annotations": annotations,
            "shapes": [zero_line(colours)],
            "margin": {"l": 76, "r": 18, "t": 34, "b": 52},
        }
    )


def _layout_axis(name: str, row: int) -> str:
    return f"{name}axis" if row == 1 else f"{name}axis{row}"


def _limits(lines: Float32, column: str) -> list[float] | None:
    """Axis limits holding all but the wildest samples."""
    if not np.isfinite(lines).any():
        return None
    low, high = np.nanquantile(lines, [0.001, 0.999])
    room = 0.06 * max(float(high - low), 1.0)
    floor = 0.0 if column == "hinge_deg" else float(low) - room
    return [min(floor, float(low)), float(high) + room]

"""The printed pictures of a session: overlay of all swings, where they spread, and each metric.

Curves come lined up from `imu.figures.alignment`; here they are only drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from imu.columns import Metric
from imu.exports.drawing import (
    Panel,
    axes,
    band,
    dots,
    line,
    picture,
    room_around,
    round_ticks,
    upright,
    words,
)
from imu.exports.writing import write_export
from imu.figures.alignment import AlignedCurves, align_curves
from imu.figures.bands import quantiles, sd_at_each_time
from imu.figures.curve_names import CURVES
from imu.figures.theme import LIGHT
from imu.types import FloatArray

WIDTH = 700.0
MOST_LINES = 80
"""More swings than this are drawn as bands alone: their lines would only blacken the page."""

MARKED = {"club_top": "club top", "release": "release", "impact": "impact"}


def align_set(curves: pd.DataFrame, swings: pd.DataFrame, columns: Sequence[str]) -> AlignedCurves:
    """Curves of a set lined up at impact; swings of several recordings are kept apart."""
    if "recording_id" not in swings or "recording_id" not in curves:
        return align_curves([(curves, swings)], columns)
    parts = [
        (curves[curves["recording_id"] == identity], swings[swings["recording_id"] == identity])
        for identity in swings["recording_id"].unique()
    ]
    return align_curves(parts, columns)


def overlay_picture(
    aligned: AlignedCurves, column: str, name: str, unit: str, height: float = 262.0
) -> str:
    """All swings' curves over one another with their median and the middle 80 % as a band.

    aligned : curves lined up at impact. column : which of them. name, unit : for the axis.
    """
    lines = np.asarray(aligned.values[column], dtype=np.float64)
    times = aligned.grid * 1e3
    levels = quantiles(aligned.values[column], (10.0, 50.0, 90.0))
    panel = Panel(58, 34, WIDTH - 74, height - 88, _time_span(times), room_around(lines))
    drawn = lines if len(lines) <= MOST_LINES else lines[:0]
    faint = [
        line(panel, times, swing, stroke=LIGHT.quiet, stroke_opacity=0.28, stroke_width=1)
        for swing in drawn
    ]
    description = (
        f"{name} of {len(lines)} swings against time from impact, with the median and the band "
        "that holds the middle 80 in 100."
    )
    return picture(
        WIDTH,
        height,
        f"{name}, all swings lined up at impact",
        description,
        _time_axes(panel, f"{name}, {unit}"),
        band(panel, times, levels[0], levels[2], fill=LIGHT.plane, fill_opacity=0.22),
        *faint,
        line(panel, times, levels[1], stroke=LIGHT.ink, stroke_width=2.4),
        _event_marks(panel, aligned),
    )


def two_sets_picture(
    sets: Sequence[tuple[str, AlignedCurves]],
    column: str,
    name: str,
    unit: str,
    height: float = 262.0,
) -> str:
    """Median and middle 80 % of two sets over one another, each with a dash of its own.

    sets : name and curves of each, lined up at impact.
    """
    every = np.concatenate([np.ravel(aligned.values[column]) for _, aligned in sets])
    grids = np.concatenate([aligned.grid for _, aligned in sets]) * 1e3
    span = _time_span(np.sort(grids))
    panel = Panel(58, 34, WIDTH - 74, height - 88, span, room_around(every))
    parts = [_time_axes(panel, f"{name}, {unit}")]
    for place, (label, aligned) in enumerate(sets):
        times = aligned.grid * 1e3
        low, middle, high = quantiles(aligned.values[column], (10.0, 50.0, 90.0))
        colour, dash = LIGHT.sets[place % 2], ("none", "7 4")[place % 2]
        style: dict[str, str | float] = {"stroke": colour, "stroke_dasharray": dash}
        parts.append(band(panel, times, low, high, fill=colour, fill_opacity=0.14))
        parts.append(line(panel, times, middle, stroke_width=2.4, **style))
        across, down = panel.left + 14, panel.top + 16 + 18 * place
        parts.append(
            f'<path d="M{across:.1f} {down:.1f}h30" fill="none" stroke="{colour}" '
            f'stroke-width="2.4" stroke-dasharray="{dash}"/>'
        )
        parts.append(words(across + 38, down + 4, f"{label} ({len(aligned.labels)})"))
    parts.append(upright(panel, 0.0, stroke=LIGHT.ink, stroke_width=1, stroke_dasharray="5 4"))
    names = " and ".join(label for label, _ in sets)
    return picture(
        WIDTH,
        height,
        f"{name} of {names}, lined up at impact",
        f"Median and middle 80 in 100 of {names} against time from impact.",
        *parts,
    )


def spread_picture(
    aligned: AlignedCurves, column: str, name: str, unit: str, height: float = 138.0
) -> str:
    """Standard deviation between swings at each moment: where in the swing they differ."""
    spread = sd_at_each_time(aligned.values[column])
    times = aligned.grid * 1e3
    top = float(np.nanmax(spread)) if np.isfinite(spread).any() else 1.0
    panel = Panel(58, 34, WIDTH - 74, height - 88, _time_span(times), (0.0, top * 1.08 or 1.0))
    zero = np.zeros(len(times))
    return picture(
        WIDTH,
        height,
        f"{name}: where in the swing it varies",
        f"Standard deviation of the {name.lower()} between swings against time from impact.",
        _time_axes(panel, f"SD between swings, {unit}", 2),
        band(panel, times, zero, spread, fill=LIGHT.plane, fill_opacity=0.4),
        line(panel, times, spread, stroke=LIGHT.ink, stroke_width=1.6),
        upright(panel, 0.0, stroke=LIGHT.ink, stroke_width=1, stroke_dasharray="5 4"),
    )


def metric_picture(
    swings: pd.DataFrame, metric: Metric, mean: float, sd: float, height: float = 114.0
) -> str:
    """One metric of each swing in the order played, with its mean and one SD on either side."""
    width = WIDTH / 2 - 8
    values = swings[metric.name].to_numpy(np.float64)
    order = np.arange(1, len(swings) + 1, dtype=np.float64)
    known = values[np.isfinite(values)]
    around = [*known, mean - sd, mean + sd] if math.isfinite(sd) else [*known]
    span = (0.5, max(len(swings), 1) + 0.5)
    panel = Panel(52, 30, width - 62, height - 54, span, room_around(around, 0.08))
    unit = f", {metric.unit}" if metric.unit else ""
    edges = np.array(span)
    parts = [
        axes(
            panel,
            _swing_ticks(len(swings)),
            round_ticks(*panel.y_span, 3),
            y_label=f"{metric.label}{unit}",
        )
    ]
    if math.isfinite(mean) and math.isfinite(sd):
        low, high = np.full(2, mean - sd), np.full(2, mean + sd)
        parts.append(band(panel, edges, low, high, fill=LIGHT.plane, fill_opacity=0.22))
        parts.append(line(panel, edges, np.full(2, mean), stroke=LIGHT.ink, stroke_width=1.4))
    parts.append(dots(panel, order, values, 3.2, fill=LIGHT.sets[0]))
    return picture(
        width,
        height,
        f"{metric.label} of each swing",
        f"{metric.label} of {len(known)} swings in the order played, mean and one SD either side.",
        *parts,
    )


def write_pictures(curves: pd.DataFrame, swings: pd.DataFrame, folder: Path) -> list[Path]:
    """Overlay and spread of hinge, club rate and arm rate of these swings as SVG files.

    Raises SwingspreadError when the disk refuses.
    """
    aligned = align_set(curves, swings, list(CURVES))
    files = []
    for column, (name, unit) in CURVES.items():
        stem = column.split("_")[0]
        overlay = overlay_picture(aligned, column, name, unit)
        spread = spread_picture(aligned, column, name, unit)
        files.append(write_export(folder / f"{stem}-overlay.svg", overlay))
        files.append(write_export(folder / f"{stem}-spread.svg", spread))
    return files


def _swing_ticks(count: int) -> list[float]:
    """Swing 1, then round numbers of swings."""
    round_numbers = [tick for tick in round_ticks(1, count, 5) if tick == int(tick) and tick > 2]
    return [1.0, *round_numbers] if count else []


def _time_span(times: FloatArray) -> tuple[float, float]:
    if len(times) < 2:
        return -1200.0, 360.0
    return float(times[0]), min(float(times[-1]), 250.0)


def _time_axes(panel: Panel, y_label: str, y_ticks: int = 5) -> str:
    return axes(
        panel,
        round_ticks(*panel.x_span, 8),
        round_ticks(*panel.y_span, y_ticks),
        x_label="ms from impact",
        y_label=y_label,
    )


def _event_marks(panel: Panel, aligned: AlignedCurves) -> str:
    """A dashed line at the median time of each event, its name above the panel."""
    parts = []
    for event, name in MARKED.items():
        moments = aligned.events.get(event, np.empty(0))
        moments = moments[np.isfinite(moments)]
        if len(moments) == 0:
            continue
        at = float(np.median(moments)) * 1e3
        if not panel.x_span[0] <= at <= panel.x_span[1]:
            continue
        parts.append(upright(panel, at, stroke=LIGHT.ink, stroke_width=1, stroke_dasharray="5 4"))
        anchor = "start" if event == "impact" else "end"
        nudge = 4 if event == "impact" else -4
        across = float(panel.across(at)) + nudge
        parts.append(words(across, panel.top + 11, name, anchor, 12, fill=LIGHT.ink))
    return "".join(parts)

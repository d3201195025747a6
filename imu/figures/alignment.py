"""Puts the curves of many swings on one display grid, lined up at an event.

Display only: the grid is finer around impact, where the club is fastest, and coarser elsewhere,
so that a thousand swings still draw quickly. Exports and statistics use the samples themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

ALIGNMENTS = {"impact": "impact_s", "takeaway": "takeaway_s", "top": "club_top_s"}
"""What swings can be lined up at, and the swing-table column that holds its time."""

_EVENTS = ("takeaway", "arm_top", "club_top", "release", "impact", "finish")

POINT_BUDGET = 48_000
"""Points drawn in one panel, about, up to 320 swings; beyond that a swing keeps 150 steps."""

Float32 = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class AlignedCurves:
    """Curves of S swings on one grid of G times.

    alignment : key of ``ALIGNMENTS``. grid : (G,) s from that event. labels : S swing labels.
    values : per curve column, (S, G) float32, NaN outside a swing's samples.
    events : per event, (S,) s from the aligned event.
    """

    alignment: str
    grid: NDArray[np.float64]
    labels: tuple[str, ...]
    values: dict[str, Float32]
    events: dict[str, NDArray[np.float64]]

    @property
    def anchor(self) -> str:
        """The event lined up at, as it is called in ``events``."""
        return ALIGNMENTS[self.alignment].removesuffix("_s")


def display_grid(
    first: float, last: float, impact: float, swings: int, budget: int = POINT_BUDGET
) -> NDArray[np.float64]:
    """Times from ``first`` to ``last`` (s), four times as dense from 0.3 s before to 0.1 s after
    ``impact``: about ``budget`` points over all ``swings``, but no fewer than 150 for each."""
    dense_from, dense_to = max(first, impact - 0.3), min(last, impact + 0.1)
    weight = max(dense_to - dense_from, 0.0) * 4.0 + (last - first - max(dense_to - dense_from, 0))
    most = max(150, min(500, budget // max(swings, 1)))
    step = max(0.008, weight / most)
    before = np.arange(first, dense_from, step)
    dense = np.arange(dense_from, dense_to, step / 4.0)
    after = np.arange(dense_to, last + 0.5 * step, step)
    return np.unique(np.round(np.concatenate([before, dense, after, [0.0]]), 6))


def align_curves(
    parts: Sequence[tuple[pd.DataFrame, pd.DataFrame]],
    columns: Sequence[str],
    alignment: str = "impact",
    budget: int = POINT_BUDGET,
) -> AlignedCurves:
    """Line up ``columns`` of many swings at ``alignment``.

    parts : a (curves, swings) pair a recording. curves has ``swing`` and ``t_s``, sorted by both;
    swings has ``swing`` and the event columns, and may have ``key``, the label to use where
    recordings are mixed. Swings without the event are left out. A column that only some of the
    recordings have is NaN in the others.
    """
    anchor_column = ALIGNMENTS[alignment]
    shown = [
        (curves, swings[np.isfinite(swings[anchor_column].astype(float))])
        for curves, swings in parts
    ]
    every = pd.concat([swings for _, swings in shown]) if shown else pd.DataFrame()
    if len(every) == 0:
        empty = {column: np.empty((0, 0), np.float32) for column in columns}
        return AlignedCurves(alignment, np.empty(0), (), empty, {e: np.empty(0) for e in _EVENTS})
    anchors = every[anchor_column].to_numpy(float)
    events = {event: every[f"{event}_s"].to_numpy(float) - anchors for event in _EVENTS}
    impact = float(np.nanmedian(events["impact"]))
    takeaways = events["takeaway"][np.isfinite(events["takeaway"])]
    first = float(np.quantile(takeaways, 0.02)) - 0.12 if len(takeaways) else impact - 1.2
    grid = display_grid(first, impact + 0.36, impact, len(every), budget)
    values = {column: np.full((len(every), len(grid)), np.nan, np.float32) for column in columns}
    row = 0
    for curves, swings in shown:
        lines = _Lines(curves, columns)
        for swing, anchor in zip(swings["swing"], swings[anchor_column], strict=True):
            for column in columns:
                values[column][row] = lines.at(int(swing), column, grid + float(anchor))
            row += 1
    label = "key" if "key" in every else "swing"
    labels = tuple(str(int(value)) for value in every[label])
    return AlignedCurves(alignment, grid, labels, values, events)


class _Lines:
    """Reads one swing's samples out of a curve table without copying the table."""

    def __init__(self, curves: pd.DataFrame, columns: Sequence[str]) -> None:
        swing = curves["swing"].to_numpy()
        first = np.r_[True, swing[1:] != swing[:-1]] if len(swing) else np.zeros(0, bool)
        starts = np.flatnonzero(first)
        ends = [*starts[1:], len(swing)]
        self._rows = {int(swing[a]): slice(a, b) for a, b in zip(starts, ends, strict=True)}
        self._time = curves["t_s"].to_numpy(float)
        there = [column for column in columns if column in curves]
        self._values = {column: curves[column].to_numpy(float) for column in there}

    def at(self, swing: int, column: str, times: NDArray[np.float64]) -> NDArray[np.float64]:
        rows = self._rows.get(swing)
        if rows is None or column not in self._values:
            return np.full(len(times), np.nan)
        return np.interp(
            times, self._time[rows], self._values[column][rows], left=np.nan, right=np.nan
        )


def gapped(grid: NDArray[np.float64], lines: Float32) -> tuple[Float32, Float32]:
    """One x and one y array that draw all rows of ``lines``, with a NaN after each row."""
    swings, points = lines.shape
    x = np.full((swings, points + 1), np.nan, np.float32)
    y = np.full((swings, points + 1), np.nan, np.float32)
    x[:, :points] = grid
    y[:, :points] = lines
    return x.ravel(), y.ravel()

"""Curves of many swings on one time axis: lined up at impact, or at every event between.

Piecewise alignment (landmark registration; Kneip & Gasser 1992, Ann Stat 20:1266-1305) takes
timing out of the curves; what it takes out is shown by ``event_timing``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from imu.errors import SwingspreadError
from imu.types import FloatArray, IntArray
from imu.variation.intervals import (
    column_mean,
    column_median,
    column_sd,
    counts,
    robust_sd,
    sd_interval,
)
from imu.variation.sets import SwingSet

STEP = 0.002
"""s between points of the common time axis."""

AFTER_IMPACT = 0.1
"""s after impact at which curves end."""

FEWEST_SWINGS = 3
"""A moment reached by fewer has no spread to speak of."""

LANDMARKS: tuple[str, ...] = ("takeaway", "club_top", "impact")
"""Events lined up piecewise, unless others are asked for."""

SHAFT_DIRECTION = "shaft_direction"
_SHAFT_PARTS = ("club_qw", "club_qx", "club_qy", "club_qz")


@dataclass(frozen=True, eq=False)
class RegisteredCurves:
    """Curves of S swings on T common points of time (registered, as functional data are called
    once they lie on one time axis; for drawing see ``imu.figures.alignment``).

    time : (T,) s from impact. values : per curve column (S, T), NaN where a swing has no data;
    ``shaft_direction`` is (S, T, 3) unit vectors grip to head. rows : (S,) row of each swing in
    the swing table. aligned_at : the events lined up.
    """

    time: FloatArray
    values: dict[str, FloatArray]
    rows: IntArray
    aligned_at: tuple[str, ...]


def align(
    swings: SwingSet,
    columns: Sequence[str] = ("hinge_deg", "hinge_rate_deg_s", "arm_rate_deg_s", "club_rate_deg_s"),
    at: Sequence[str] = ("impact",),
    start: float | None = None,
    end: float = AFTER_IMPACT,
    step: float = STEP,
    typical: FloatArray | None = None,
) -> RegisteredCurves:
    """Bring the curves of a set onto one time axis.

    columns : of the curve table, or "shaft_direction". at : events made to coincide, in order;
    impact must be among them. start, end : s from impact; from the median takeaway by default.
    typical : s from impact at which each event is put; this set's medians by default.
    Swings without one of the events take no part. Raises SwingspreadError when the set carries
    no curves, or no swing has the events.
    """
    if "impact" not in at:
        raise SwingspreadError("curves are lined up at impact, alone or with other events")
    if not len(swings.curves):
        raise SwingspreadError(f"set {swings.name} carries no curves")
    table = swings.swings
    before = _before_impact(table, at)
    if typical is None:
        typical = typical_times(table, at)
    if start is None:
        takeaway = (table["takeaway_s"] - table["impact_s"]).to_numpy(np.float64)
        start = float(np.nanmedian(takeaway)) if np.isfinite(takeaway).any() else -1.0
    time = np.arange(np.ceil(start / step), np.floor(end / step) + 1) * step
    pieces = _pieces(swings.curves)
    rows, taken = [], []
    ids = zip(table["recording_id"], table["swing"].astype(int), strict=True)
    for row, key in enumerate(ids):
        if key in pieces and np.isfinite(before[row]).all() and np.all(np.diff(before[row]) > 0):
            rows.append(row)
            taken.append(pieces[key])
    if not rows:
        raise SwingspreadError(f"set {swings.name}: no swing has curves and {', '.join(at)}")
    values: dict[str, FloatArray] = {}
    own = swings.curves["t_from_impact_s"].to_numpy(np.float64)
    asked = [_warp(time, typical, before[row]) for row in rows]
    for name in columns:
        if name == SHAFT_DIRECTION:
            parts = [
                _interpolate(own, column, taken, asked) for column in _shaft_axis(swings.curves).T
            ]
            stacked = np.stack(parts, axis=-1)
            values[name] = stacked / np.linalg.norm(stacked, axis=-1, keepdims=True)
        else:
            column = swings.curves[name].to_numpy(np.float64)
            values[name] = _interpolate(own, column, taken, asked)
    return RegisteredCurves(time, values, np.array(rows, dtype=np.int64), tuple(at))


def _before_impact(swings: pd.DataFrame, at: Sequence[str]) -> FloatArray:
    """(S, E) times of the events from impact, s."""
    impact = swings["impact_s"].to_numpy(np.float64)
    return np.column_stack([swings[f"{event}_s"].to_numpy(np.float64) - impact for event in at])


def typical_times(swings: pd.DataFrame, at: Sequence[str]) -> FloatArray:
    """(E,) median time of each event from impact, s; NaN where no swing has it."""
    return column_median(_before_impact(swings, at))


def _pieces(curves: pd.DataFrame) -> dict[tuple[str, int], slice]:
    """Where each swing's samples lie; swings are contiguous in the curve table."""
    recording = pd.factorize(curves["recording_id"])[0]
    swing = curves["swing"].to_numpy(np.int64)
    breaks = np.flatnonzero((np.diff(swing) != 0) | (np.diff(recording) != 0)) + 1
    edges = np.concatenate([[0], breaks, [len(curves)]])
    names = curves["recording_id"].to_numpy(object)
    return {
        (str(names[low]), int(swing[low])): slice(int(low), int(high))
        for low, high in pairwise(edges)
    }


def _warp(time: FloatArray, typical: FloatArray, own: FloatArray) -> FloatArray:
    """Times of a swing's own at which to read it for the common times; slope 1 outside."""
    low = time < typical[0]
    high = time > typical[-1]
    warped = np.interp(time, typical, own)
    warped[low] = time[low] - typical[0] + own[0]
    warped[high] = time[high] - typical[-1] + own[-1]
    return warped


def _interpolate(
    own: FloatArray, column: FloatArray, taken: list[slice], asked: list[FloatArray]
) -> FloatArray:
    return np.array(
        [
            np.interp(at, own[piece], column[piece], left=np.nan, right=np.nan)
            for piece, at in zip(taken, asked, strict=True)
        ]
    )


def _shaft_axis(curves: pd.DataFrame) -> FloatArray:
    """(N, 3) unit vectors grip to head (the segment's −y) in the world."""
    w, x, y, z = (curves[name].to_numpy(np.float64) for name in _SHAFT_PARTS)
    return -np.column_stack([2 * (x * y - w * z), 1 - 2 * (x**2 + z**2), 2 * (y * z + w * x)])


def spread_over_time(curves: RegisteredCurves, column: str) -> pd.DataFrame:
    """Where in the swing the variation arises: spread of one curve at every point of time.

    Columns: t_from_impact_s, swings, mean, p10, p50, p90, sd, sd_low, sd_high (95 %), robust_sd,
    in the curve's unit. For ``shaft_direction`` the SD is the root mean square angle from the
    mean direction in °, and mean and percentiles are NaN. Points with fewer than
    ``FEWEST_SWINGS`` swings, or fewer than four fifths of them, are NaN.
    """
    values = curves.values[column]
    size = len(values)
    if column == SHAFT_DIRECTION:
        return _direction_spread(curves, values)
    n = counts(values)
    low, high = sd_interval(values)
    with np.errstate(all="ignore"):
        tenth, middle, ninetieth = _percentiles(values, (0.1, 0.5, 0.9))
    table = pd.DataFrame(
        {
            "t_from_impact_s": curves.time,
            "swings": n.astype(int),
            "mean": column_mean(values),
            "p10": tenth,
            "p50": middle,
            "p90": ninetieth,
            "sd": column_sd(values),
            "sd_low": low,
            "sd_high": high,
            "robust_sd": robust_sd(values),
        }
    )
    thin = (n < FEWEST_SWINGS) | (n < 0.8 * size)
    table.loc[thin, table.columns[2:]] = np.nan
    return table


def _percentiles(values: FloatArray, parts: Sequence[float]) -> list[FloatArray]:
    ordered = np.sort(values, axis=0)
    last = np.maximum(counts(values) - 1, 0)
    columns = np.arange(values.shape[1])
    out = []
    for part in parts:
        place = part * last
        below = np.floor(place).astype(int)
        above = np.minimum(below + 1, last.astype(int))
        share = place - below
        out.append((1 - share) * ordered[below, columns] + share * ordered[above, columns])
    return out


def _direction_spread(curves: RegisteredCurves, values: FloatArray) -> pd.DataFrame:
    n = np.isfinite(values[:, :, 0]).sum(axis=0)
    mean = np.nansum(values, axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean /= np.linalg.norm(mean, axis=-1, keepdims=True)
        # Chord to angle keeps its precision near zero, where arccos does not.
        chord = np.linalg.norm(values - mean, axis=-1)
        angle = np.degrees(2 * np.arcsin(np.clip(chord / 2, 0, 1)))
        sd = np.sqrt(np.nansum(angle**2, axis=0) / (n - 1))
    sd[(n < FEWEST_SWINGS) | (n < 0.8 * len(values))] = np.nan
    blank = np.full(len(sd), np.nan)
    return pd.DataFrame(
        {
            "t_from_impact_s": curves.time,
            "swings": n,
            **dict.fromkeys(("mean", "p10", "p50", "p90"), blank),
            "sd": sd,
            **dict.fromkeys(("sd_low", "sd_high", "robust_sd"), blank),
        }
    )


def event_timing(swings: pd.DataFrame, events: Sequence[str]) -> pd.DataFrame:
    """Spread of the events' times before impact, ms, one row an event but impact itself.

    Columns: event, swings, mean_ms, sd_ms, sd_low_ms, sd_high_ms (95 %, long tails allowed for),
    robust_sd_ms, noise_ms (root mean square of the events' standard errors, impact's included: at
    most, for part of them is shared by all swings). Lining up at impact deletes this spread from
    the curves, so it belongs beside them.
    """
    rows = []
    for event in events:
        if event == "impact" or f"{event}_s" not in swings:
            continue
        before = 1e3 * (swings["impact_s"] - swings[f"{event}_s"]).to_numpy(np.float64)
        low, high = sd_interval(before)
        noise = np.nan
        if {f"{event}_s_se", "impact_s_se"} <= set(swings.columns):
            square = swings[f"{event}_s_se"] ** 2 + swings["impact_s_se"] ** 2
            noise = 1e3 * float(np.sqrt(square.mean()))
        rows.append(
            {
                "event": event,
                "swings": int(np.isfinite(before).sum()),
                "mean_ms": float(column_mean(before)),
                "sd_ms": float(column_sd(before)),
                "sd_low_ms": float(low),
                "sd_high_ms": float(high),
                "robust_sd_ms": float(robust_sd(before)),
                "noise_ms": noise,
            }
        )
    return pd.DataFrame(rows)

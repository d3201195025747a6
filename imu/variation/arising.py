"""Where in the swing does the hinge vary, once each swing's timing is taken out?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from imu.errors import SwingspreadError
from imu.number_words import decimals, number, with_unit
from imu.types import FloatArray
from imu.variation.curve_alignment import LANDMARKS, align, spread_over_time, typical_times
from imu.variation.intervals import Interval
from imu.variation.sets import SwingSet

CURVE = "hinge_deg"
FEWEST_SWINGS = 5
TIMING_SHARE = 1.25
"""Times the spread must shrink when timing is taken out before timing is named."""


@dataclass(frozen=True)
class Peak:
    """Where the hinge varies most within a part of the swing.

    time : s from impact, on the set's median timing. sd : there, °, with its 95 % interval for
    that moment by itself. sd_with_timing : there, lined up at impact alone.
    """

    time: float
    sd: Interval
    sd_with_timing: float


@dataclass(frozen=True)
class Arising:
    """Where the hinge varies most going back (to the club's top) and coming down, with takeaway,
    top and impact made to coincide."""

    back: Peak
    down: Peak
    swings: int
    sentence: str


def where_it_arises(swings: SwingSet) -> Arising | None:
    """The moments of greatest spread, or None with fewer than ``FEWEST_SWINGS`` whole swings.

    Piecewise between takeaway, top and impact (Kneip & Gasser 1992, see ``curve_alignment``).
    """
    try:
        pieces = align(swings, (CURVE,), LANDMARKS, end=0.0)
        whole = align(swings, (CURVE,), ("impact",), start=float(pieces.time[0]), end=0.0)
    except SwingspreadError:
        return None
    if len(pieces.rows) < FEWEST_SWINGS:
        return None
    table = spread_over_time(pieces, CURVE)
    timed = np.interp(
        pieces.time, whole.time, spread_over_time(whole, CURVE)["sd"].to_numpy(np.float64)
    )
    top = float(typical_times(swings.swings, ("club_top",))[0])
    back, down = (
        _peak(table[part], timed[part]) for part in (pieces.time < top, pieces.time >= top)
    )
    if back is None or down is None:
        return None
    words = (
        f"With timing taken out: going back the hinge varies most {_at(back)}; coming down "
        f"{_at(down)}."
    )
    return Arising(back, down, len(pieces.rows), words)


def _peak(table: pd.DataFrame, timed: FloatArray) -> Peak | None:
    sd = table["sd"].to_numpy(np.float64)
    if not np.isfinite(sd).any():
        return None
    place = int(np.nanargmax(sd))
    row = table.iloc[place]
    spread = Interval(float(row["sd"]), float(row["sd_low"]), float(row["sd_high"]))
    return Peak(float(row["t_from_impact_s"]), spread, float(timed[place]))


def _at(peak: Peak) -> str:
    before = round(-1e3 * peak.time)
    moment = "at impact" if before < 5 else f"{before} ms before impact"
    places = decimals(peak.sd.high if np.isfinite(peak.sd.high) else peak.sd.value)
    size = with_unit(number(peak.sd.value, places), "°")
    text = (
        f"{moment}, SD {size} (95 % {number(peak.sd.low, places)} to {number(peak.sd.high, places)}"
    )
    if peak.sd_with_timing > TIMING_SHARE * peak.sd.value:
        text += f"; {with_unit(number(peak.sd_with_timing, places), '°')} with timing"
    return f"{text})"

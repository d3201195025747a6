"""Where the strike would have been in a swing without a ball.

The shaft's return to its address direction stands in for impact (design definition). A player's
strikes fall a little before or after that return; where the recording has strikes, their usual
lead over the return is carried to the practice swings, and its spread is their error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from imu.fusion.movements import Movements
from imu.settings import AnalysisSettings
from imu.swings.events import find_events
from imu.types import BALL, PRACTICE, Motion, SwingWindow

_FEWEST = 3
_UNKNOWN_SPREAD = 0.003
_LEAST_SPREAD = 0.001
_FAR_OFF = 0.03
_NO_RETURN_SPREAD = 0.03
"""s. Then the moment of greatest club rate stands in, which says little about where a ball was."""


@dataclass(frozen=True)
class ReturnLead:
    """How long before the shaft's return a strike falls.

    lead : s, negative where strikes fall after it. spread : s. strikes : number seen.
    """

    lead: float
    spread: float
    strikes: int


def return_lead(
    motions: Sequence[Motion],
    windows: Sequence[SwingWindow],
    settings: AnalysisSettings,
) -> ReturnLead:
    """Usual lead of the strikes over the shaft's return, from the ball swings (robust)."""
    leads = []
    for motion, window in zip(motions, windows, strict=True):
        if window.kind == BALL:
            lead = _returned(motion, replace(window, kind=PRACTICE), settings) - window.impact
            if abs(lead) < _FAR_OFF:  # not so where the shaft did not return: NaN
                leads.append(lead)
    if len(leads) < _FEWEST:
        return ReturnLead(0.0, _UNKNOWN_SPREAD, len(leads))
    middle = float(np.median(leads))
    spread = 1.4826 * float(np.median(np.abs(np.array(leads) - middle)))
    return ReturnLead(middle, max(spread, _LEAST_SPREAD), len(leads))


def as_if_struck(
    motion: Motion,
    window: SwingWindow,
    settings: AnalysisSettings,
    usual: ReturnLead,
) -> tuple[SwingWindow, str]:
    """The window as a ball swing's, with impact placed as if a ball had been there, and a remark.

    Where the shaft did not return it stays a practice swing's, with a wide error of impact.
    """
    impact = _returned(motion, window, settings)
    if math.isnan(impact):
        # That the shaft did not return is said where impact is measured.
        return replace(window, impact_se=_NO_RETURN_SPREAD), "no ball"
    # A swing without a ball need not come down to where a ball would have been.
    spread = float(np.hypot(usual.spread, 0.5 * usual.lead))
    placed = replace(window, kind=BALL, impact=impact - usual.lead, impact_se=spread)
    how = "no ball: impact is the shaft's return to its address direction"
    if usual.strikes >= _FEWEST:
        sense = "less" if usual.lead >= 0.0 else "plus"
        how += f", {sense} {abs(usual.lead) * 1e3:.1f} ms as in this recording's strikes"
    return placed, how


def _returned(motion: Motion, window: SwingWindow, settings: AnalysisSettings) -> float:
    """When the shaft came back to its address direction, s; NaN if it did not."""
    places = find_events(Movements.of(motion), window, settings.release_threshold)
    return float(places.times(["impact"])[0, 0]) if places.returned[0] else math.nan

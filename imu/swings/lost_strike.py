"""The time of a strike whose samples were lost, from the recording's other strikes.

A player's strikes come at nearly the same turn of the club since the top, in proportion to the
backswing's turn. Where samples are lost at impact, that proportion dates the strike within the
loss, to a millisecond or three; without enough other strikes the middle of the loss stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from imu.swings.impact import Strike
from imu.swings.parts import SwingParts

FEWEST = 3
"""Strikes that must have been seen for their usual turn to count."""

LEAST_SPREAD = 0.0015
"""s, least standard error of a strike dated by the turn."""


def place_lost(seen: Sequence[tuple[SwingParts, Strike]]) -> list[Strike]:
    """Strikes of a recording's ball swings in the same order, the lost ones dated anew."""
    good = [(parts, strike) for parts, strike in seen if not strike.lost]
    if len(good) < FEWEST or len(good) == len(seen):
        return [strike for _, strike in seen]
    shares = [parts.turned(strike.time) / parts.back_angle for parts, strike in good]
    share = float(np.median(shares))
    misses = [parts.time_of_turn(share) - strike.time for parts, strike in good]
    # Not a robust spread: an odd swing among the seen warns that a lost one may be odd too.
    spread = max(float(np.sqrt(np.mean(np.square(misses)))), LEAST_SPREAD)
    placed = []
    for parts, strike in seen:
        if strike.lost and spread < strike.time_se:
            half = math.sqrt(3.0) * strike.time_se
            time = min(max(parts.time_of_turn(share), strike.time - half), strike.time + half)
            placed.append(replace(strike, time=time, time_se=spread))
        else:
            placed.append(strike)
    return placed

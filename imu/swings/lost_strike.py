"""A strike whose samples were lost: whether there was one, and when.

A struck club goes on ringing, and the forearm feels the strike too: where the club's samples
are lost at impact, its ringing after the loss or the forearm's shock tells a ball swing.

A player's strikes come at nearly the same turn of the club since the top, in proportion to the
backswing's turn. Where samples are lost at impact, that proportion dates the strike within the
loss, to a millisecond or three, or five for a player not yet known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from imu.swings.impact import BEFORE, Strike, find_strike, jumps
from imu.swings.parts import SwingParts
from imu.types import CLUB, FOREARM, AlignedStreams

FEWEST = 3
"""Strikes that must have been seen for their usual turn to count."""

USUAL_TURN = 1.03
USUAL_SPREAD = 0.005
"""Turn from top to strike as a part of the backswing's, and standard error (s) of the time so
got, for a player not yet known."""

LEAST_SPREAD = 0.0015
"""s, least standard error of a strike dated by the turn."""

RINGING = 0.025
RESUMED = 0.010
"""s after a strike in which a club still rings, and within which its samples must resume to be
asked for ringing."""

RUNG = 0.3
QUIET = 0.06
"""m/s² for each rad/s. Jumps above the first are ringing; below the second there is none.
Clubs ring with 0.15 and more 12 to 30 ms after a strike, unstruck ones stay below 0.03."""

FOREARM_SHARE = 0.35
"""Shock of the forearm, m/s² for each rad/s of the club, that tells a strike."""


def rung(aligned: AlignedStreams, parts: SwingParts, begin: float, end: float) -> Strike | None:
    """The strike among samples of the club lost from ``begin`` to ``end`` (s), or None."""
    strike = Strike(0.5 * (begin + end), max(end - begin, 0.02) / math.sqrt(12.0), 0.0, lost=True)
    club = aligned.streams[CLUB]
    first, stop = np.searchsorted(club.time, [end - 0.01, end + RINGING])
    if end < parts.time_of_turn(1.05) + RESUMED and stop - first > 2 * BEFORE:
        loudest = float(jumps(club.time[first:stop], club.acc[first:stop]).max())
        if loudest < QUIET * parts.forward_rate:
            return None
        if loudest > RUNG * parts.forward_rate:
            return replace(strike, size=loudest)
    if FOREARM not in aligned.streams:
        return None
    # The forearm's clock may be 20 ms off.
    felt = find_strike(
        aligned.streams[FOREARM], begin - 0.03, end + 0.03, FOREARM_SHARE * parts.forward_rate
    )
    return None if felt is None else replace(strike, size=felt.size)


def place_lost(seen: Sequence[tuple[SwingParts, Strike]]) -> list[Strike]:
    """Strikes of a recording's ball swings in the same order, the lost ones dated anew."""
    good = [(parts, strike) for parts, strike in seen if not strike.lost]
    if len(good) < FEWEST:
        share, spread = USUAL_TURN, USUAL_SPREAD
    else:
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

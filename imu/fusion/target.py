"""Turn each swing's world about the vertical so that x points at the target.

Without a magnetometer the heading of a swing is free. The player sets the shaft at address square
to the target line, so x is the horizontal direction square to the shaft's horizontal projection
at address, on the lead-arm side (the player's left, after mirroring). An estimate: a player may
aim elsewhere, and no number depends on it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.linalg import block_diag

from imu.fusion.estimate import SwingFit
from imu.fusion.quaternion import from_rotvec, multiply
from imu.fusion.samples import SwingSamples
from imu.fusion.track import Track
from imu.types import FloatArray

_ADDRESS = 0.2
"""s before the takeaway over which the shaft's direction is averaged."""
_STEEPEST = 0.1
"""Horizontal part of the shaft's direction below which it hangs, and shows no heading."""


def heading_at_address(samples: SwingSamples, club: Track, shaft: FloatArray) -> float:
    """Angle in rad about the vertical that brings the target to x; 0 when the shaft hangs.

    club : the club sensor's track. shaft : (3,) distal axis in its axes.
    """
    takeaway = samples.window.takeaway
    first, last = np.searchsorted(club.time, [takeaway - _ADDRESS, takeaway])
    rows = slice(int(first), max(int(last), int(first) + 1))
    forward = (club.matrix(rows) @ shaft).mean(axis=0)
    if math.hypot(forward[0], forward[1]) < _STEEPEST:
        return 0.0
    # With the ball ahead, the target of a right-handed player lies to the left: z × forward.
    return -math.atan2(forward[0], -forward[1])


def turned_about_vertical(fit: SwingFit, angle: float) -> SwingFit:
    """The same fit in a world turned by ``angle`` rad about z, with its errors."""
    turn = from_rotvec(np.array([0.0, 0.0, angle]))
    cosine, sine = math.cos(angle), math.sin(angle)
    matrix = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    state = replace(
        fit.state,
        start={role: multiply(turn, start) for role, start in fit.state.start.items()},
        turns={role: turns @ matrix.T for role, turns in fit.state.turns.items()},
    )
    every = block_diag(*[matrix] * (state.size // 3))
    return replace(
        fit,
        state=state,
        covariance=every @ fit.covariance @ every.T,
        answer=every @ fit.answer,
    )

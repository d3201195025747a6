"""How the 20 seconds of calibration go, while they go: still, forearm rolled, club rolled, still.

Only watches and tells; the analysis uses the same movements by its own means and gives their
worth as standard errors. Rolling is turning to and fro about one axis of the sensor: its quality
is the share of the turning that is about that axis.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imu.recorder.packet import Packet, nominal_scales
from imu.types import CLUB, FOREARM, FloatArray

STILL_RATE = 0.25
"""rad/s below which a sensor is still, mean over a packet."""
STILL_WANTED = 2.0
"""s."""
ROLLS_WANTED = 4
ROLL_RATE = 0.8
"""rad/s that a roll must reach each way."""
GOOD_SHARE = 0.9

STEPS = ("still before", "forearm roll", "club roll", "still after", "done")


@dataclass
class RollCount:
    """Counts turns to and fro about one axis, found as they come."""

    turning: FloatArray = field(default_factory=lambda: np.zeros((3, 3)))
    reversals: int = 0
    _sign: float = 0.0

    def add(self, rates: FloatArray) -> None:
        """Take in (N, 3) rad/s."""
        self.turning = self.turning + rates.T @ rates
        axis = np.linalg.eigh(self.turning)[1][:, -1]
        for along in rates[:: max(1, len(rates) // 4)] @ axis:
            if abs(along) > ROLL_RATE and np.sign(along) != self._sign:
                self.reversals += self._sign != 0.0
                self._sign = float(np.sign(along))

    @property
    def rolls(self) -> int:
        """Whole turns to and fro."""
        return (self.reversals + 1) // 2

    @property
    def share(self) -> float:
        """Part of the turning that is about one axis, 0 to 1."""
        values = np.linalg.eigvalsh(self.turning)
        return float(values[-1] / values.sum()) if values.sum() > 0 else 0.0


@dataclass
class CalibrationWatch:
    """Follows the steps in order; ``step`` is one of ``STEPS``."""

    position: int = 0
    still_s: float = 0.0
    forearm: RollCount = field(default_factory=RollCount)
    club: RollCount = field(default_factory=RollCount)
    _still: dict[str, bool] = field(default_factory=dict)

    @property
    def step(self) -> str:
        """Where in the calibration the player is."""
        return STEPS[self.position]

    def feed(self, role: str, packet: Packet, rate_hz: float) -> None:
        """Take in a live packet of the forearm or club sensor."""
        if self.step == "done" or role not in (FOREARM, CLUB):
            return
        scale = nominal_scales(packet.range_code)[1]
        rates = packet.counts[:, 3:].astype(np.float64) * scale
        self._still[role] = float(np.mean(np.linalg.norm(rates, axis=1))) < STILL_RATE
        if self.step.startswith("still"):
            both = len(self._still) == 2 and all(self._still.values())
            if role == CLUB:
                self.still_s = self.still_s + len(rates) / rate_hz if both else 0.0
            if self.still_s >= STILL_WANTED:
                self._next()
        elif role == (FOREARM if self.step == "forearm roll" else CLUB):
            counter = self.forearm if role == FOREARM else self.club
            if not self._still[role]:
                counter.add(rates)
            if counter.rolls >= ROLLS_WANTED:
                self._next()

    def _next(self) -> None:
        self.position += 1
        self.still_s = 0.0

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values, with the quality in words once it is done."""
        quality = ""
        if self.step == "done":
            sound = min(self.forearm.share, self.club.share) >= GOOD_SHARE
            quality = (
                "good"
                if sound
                else "fair: the rolls wandered; roll about one line, wrist and elbow at rest"
            )
        return {
            "step": self.step,
            "still_s": round(min(self.still_s, STILL_WANTED), 1),
            "forearm_rolls": self.forearm.rolls,
            "club_rolls": self.club.rolls,
            "forearm_share": round(self.forearm.share, 3),
            "club_share": round(self.club.share, 3),
            "quality": quality,
        }

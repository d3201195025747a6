"""Smooth paths through time: quintic Hermite pieces between knots.

Every coordinate of the simulated player is such a path. Value, rate and acceleration are given
at the knots and are continuous everywhere, so that gyroscope and accelerometer signals made
from one path never contradict each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from imu.types import FloatArray

Knot = tuple[float, float, float, float]
"""Time s, value, rate, acceleration."""


@dataclass(frozen=True, eq=False)
class Curve:
    """One smooth curve; constant before its first and after its last knot.

    start : (K,) knot times. coefficients : (6, K − 1) of ascending powers of time in a piece.
    first, last : values outside.
    """

    start: FloatArray
    coefficients: FloatArray
    first: float
    last: float

    @classmethod
    def through(cls, knots: Iterable[Knot]) -> Curve:
        """Curve through knots in order of time. Raises ValueError when times do not increase."""
        table = np.array(list(knots), dtype=np.float64).reshape(-1, 4)
        step = np.diff(table[:, 0])
        if np.any(step <= 0.0):
            where = int(np.argmin(step))
            raise ValueError(f"knots: time does not increase after {table[where, 0]:.4f} s")
        value, rate, bend = table[:, 1], table[:, 2], table[:, 3]
        h = step
        p0, v0, a0 = value[:-1], rate[:-1], bend[:-1]
        d = value[1:] - p0 - v0 * h - 0.5 * a0 * h**2
        e = (rate[1:] - v0 - a0 * h) * h
        f = (bend[1:] - a0) * h**2
        coefficients = np.array(
            [
                p0,
                v0,
                0.5 * a0,
                (10.0 * d - 4.0 * e + 0.5 * f) / h**3,
                (-15.0 * d + 7.0 * e - f) / h**4,
                (6.0 * d - 3.0 * e + 0.5 * f) / h**5,
            ]
        )
        return cls(table[:, 0].copy(), coefficients, float(value[0]), float(value[-1]))

    def __call__(self, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Value, rate and acceleration at each time."""
        time = np.asarray(time, dtype=np.float64)
        if len(self.start) < 2:
            zero = np.zeros_like(time)
            return np.full_like(time, self.first), zero, zero.copy()
        if len(self.start) < len(time) and bool(np.all(time[1:] >= time[:-1])):
            # In order of time, looking up the fewer knots is quicker.
            bounds = np.searchsorted(time, self.start, side="left")
            piece = np.repeat(
                np.arange(-1, len(self.start)),
                np.diff(bounds, prepend=0, append=len(time)),
            )
        else:
            piece = np.searchsorted(self.start, time, side="right") - 1
        inside = (piece >= 0) & (piece < len(self.start) - 1)
        piece = np.clip(piece, 0, len(self.start) - 2)
        x = time - self.start[piece]
        c0, c1, c2, c3, c4, c5 = (row[piece] for row in self.coefficients)
        value = c0 + x * (c1 + x * (c2 + x * (c3 + x * (c4 + x * c5))))
        rate = c1 + x * (2 * c2 + x * (3 * c3 + x * (4 * c4 + x * 5 * c5)))
        bend = 2 * c2 + x * (6 * c3 + x * (12 * c4 + x * 20 * c5))
        if not np.all(inside):
            value = np.where(inside, value, np.where(time < self.start[0], self.first, self.last))
            rate, bend = np.where(inside, rate, 0.0), np.where(inside, bend, 0.0)
        return value, rate, bend

    @property
    def moves(self) -> bool:
        """False when the curve is one constant."""
        return len(self.start) > 1


@dataclass
class Paths:
    """Knots of several named coordinates, added in order of time.

    A coordinate keeps its last value until its next knot, so that a movement names only the
    coordinates that it moves.
    """

    knots: dict[str, list[Knot]] = field(default_factory=dict)

    @classmethod
    def standing(cls, time: float, posture: Mapping[str, float]) -> Paths:
        """All coordinates at rest in ``posture`` from ``time`` (s)."""
        return cls({name: [(time, value, 0.0, 0.0)] for name, value in posture.items()})

    def last(self, name: str) -> float:
        """Value of the last knot of a coordinate."""
        return self.knots[name][-1][1]

    def posture(self) -> dict[str, float]:
        """Last value of every coordinate."""
        return {name: table[-1][1] for name, table in self.knots.items()}

    def add(
        self, name: str, time: float, value: float, rate: float = 0.0, acceleration: float = 0.0
    ) -> None:
        """Add one knot."""
        self.knots[name].append((time, value, rate, acceleration))

    def hold(self, time: float, names: Iterable[str] | None = None) -> None:
        """Keep the last values, at rest, until ``time``."""
        for name in self.knots if names is None else names:
            if self.knots[name][-1][0] < time:
                self.add(name, time, self.last(name))

    def move(self, start: float, end: float, target: Mapping[str, float]) -> None:
        """From rest to rest between ``start`` and ``end`` (minimum jerk, Flash & Hogan 1985)."""
        self.hold(start, target)
        for name, value in target.items():
            self.add(name, end, value)

    def oscillate(
        self, start: float, end: float, name: str, amplitude: float, cycles: int, phase: float = 0.0
    ) -> None:
        """Swing about the last value for whole ``cycles``, swelling and fading at the ends."""
        self.hold(start, [name])
        centre = self.last(name)
        count = 8 * cycles
        span = end - start
        speed = 2.0 * math.pi * cycles / span
        for index in range(1, count):
            u = index / count
            window, slope, bend = _window(u)
            slope, bend = slope / span, bend / span**2
            angle = 2.0 * math.pi * cycles * u + phase
            wave, wave1 = math.sin(angle), speed * math.cos(angle)
            wave2 = -(speed**2) * wave
            self.add(
                name,
                start + u * span,
                centre + amplitude * window * wave,
                amplitude * (slope * wave + window * wave1),
                amplitude * (bend * wave + 2.0 * slope * wave1 + window * wave2),
            )
        self.add(name, end, centre)

    def curves(self) -> dict[str, Curve]:
        """The finished curves."""
        return {name: Curve.through(table) for name, table in self.knots.items()}


def _window(u: float) -> tuple[float, float, float]:
    """Value, slope and curvature at ``u`` of a window with smooth ends of a fifth each."""
    edge = 0.2
    if edge <= u <= 1.0 - edge:
        return 1.0, 0.0, 0.0
    sign = 1.0 if u < edge else -1.0
    x = min(u, 1.0 - u) / edge
    value = x**3 * (10.0 - 15.0 * x + 6.0 * x**2)
    slope = 30.0 * x**2 * (1.0 - x) ** 2 / edge
    bend = 60.0 * x * (1.0 - x) * (1.0 - 2.0 * x) / edge**2
    return value, sign * slope, bend


def smooth_noise(
    rng: np.random.Generator, duration: float, spacing: float, deviation: float
) -> Curve:
    """Smooth wander: random knots ``spacing`` s apart with standard ``deviation``.

    Rates and accelerations at the knots come from the neighbouring knots, so that the curve is
    twice differentiable.
    """
    count = int(duration / spacing) + 4
    values = rng.normal(0.0, deviation, count)
    padded = np.concatenate([values[:1], values, values[-1:]])
    rate = (padded[2:] - padded[:-2]) / (2.0 * spacing)
    bend = (padded[2:] - 2.0 * values + padded[:-2]) / spacing**2
    time = (np.arange(count) - 1.0) * spacing
    return Curve.through(zip(time, values, rate, bend, strict=True))

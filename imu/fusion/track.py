"""One sensor followed through one swing: orientation, true rate and force, force at the wrist.

Orientation is the strapdown integral of the corrected rate from a starting orientation, turned
further by *breaks*: short spells (a gap, a clipped peak, the strike) across which the integral
can't be trusted, each with an unknown rotation in world axes that grows smoothly over the spell.

By rigid-body kinematics the specific force at the wrist, in sensor axes, is
``a − ω × (ω × r) − ω′ × r`` with r the lever arm from wrist to sensor (Seel, Schauer & Raisch
2012; Kok, Hol & Schön 2014). Both sensors must give the same vector in the world.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imu.fusion.parameters import SensorErrors
from imu.fusion.quaternion import cross, from_rotvec, multiply, rotate, to_matrix
from imu.fusion.samples import SensorSpan
from imu.types import FloatArray, IntArray


@dataclass(frozen=True)
class Break:
    """A spell the integral can't be trusted across.

    sigma : rad, of its unknown rotation. strike : whether it is the strike's. open : whether it
    ends in the strike; its missing rate then grows up to the end, else it is greatest halfway.
    """

    start: float
    end: float
    sigma: float
    strike: bool = False
    open: bool = False

    def ramp(self, time: FloatArray) -> FloatArray:
        """0 before, 1 after, smooth within: the share of the rotation that has been made."""
        u = self._share(time)
        return u * u if self.open else u * u * (3.0 - 2.0 * u)

    def ramp_rate(self, time: FloatArray) -> FloatArray:
        """1/s, how fast ``ramp`` rises; 0 outside the spell."""
        u = self._share(time)
        rate = 2.0 * u if self.open else 6.0 * u * (1.0 - u)
        inside = (time >= self.start) & (time < self.end)
        return np.where(inside, rate, 0.0) / self._length

    def ramp_onward(self, time: FloatArray) -> FloatArray:
        """``ramp``, which for an open spell grows on past its end.

        For errors of what is read before the strike, on instants too coarse for the bend there.
        """
        if not self.open:
            return self.ramp(time)
        u = np.clip((time - self.start) / self._length, 0.0, 2.0)
        return np.asarray(u * u)

    @property
    def _length(self) -> float:
        return max(self.end - self.start, 1e-6)

    def _share(self, time: FloatArray) -> FloatArray:
        return np.clip((time - self.start) / self._length, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Track:
    """One sensor over one swing on the swing's time base; sensor axes unless said otherwise.

    time : (N,) s, uniform. orientation : (N, 4) sensor to world. rate, rate_change : (N, 3) rad/s,
    rad/s². force : (N, 3) m/s², specific force. rate_read, force_read : with the bias off only.
    wrist : (N, 3) m/s², specific force at the wrist in world axes.
    """

    time: FloatArray
    orientation: FloatArray
    rate: FloatArray
    rate_read: FloatArray
    rate_change: FloatArray
    force: FloatArray
    force_read: FloatArray
    wrist: FloatArray

    def matrix(self, rows: slice | IntArray = slice(None)) -> FloatArray:
        """(N, 3, 3) sensor to world, or of some rows only."""
        return to_matrix(self.orientation[rows])

    def matrix_at(self, row: int) -> FloatArray:
        """(3, 3) sensor to world at one instant."""
        return np.asarray(to_matrix(self.orientation[row : row + 1])[0], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Reading:
    """What one sensor says on a swing's time base, its errors taken off: (N, 3) each.

    rate : rad/s. force : m/s². rate_read, force_read : with the bias off only.
    """

    rate: FloatArray
    rate_read: FloatArray
    force: FloatArray
    force_read: FloatArray


def read_sensor(span: SensorSpan, errors: SensorErrors, sample_time: FloatArray) -> Reading:
    """Read one sensor. sample_time : (N,) s, the base's instants in the stream's time."""
    read = span.signal(sample_time)
    force, force_read = errors.force(read[:, :3])
    rate, rate_read = errors.rate(read[:, 3:])
    return Reading(rate, rate_read, force, force_read)


def follow(
    reading: Reading,
    integral: FloatArray,
    lever: FloatArray,
    time: FloatArray,
    start: FloatArray,
    breaks: tuple[Break, ...],
    turns: FloatArray,
) -> Track:
    """Follow one sensor.

    integral : (N, 4) strapdown integral of its rate, from identity. lever : (3,) m. time : (N,)
    s, uniform base. start : (4,) orientation at the first instant. turns : (len(breaks), 3) rad,
    rotation at each break.
    """
    orientation = multiply(start, integral)
    if breaks:
        first = int(np.searchsorted(time, min(spell.start for spell in breaks)))
        total = np.zeros((len(time) - first, 3))
        for spell, turn in zip(breaks, turns, strict=True):
            total += spell.ramp(time[first:])[:, None] * turn
        orientation[first:] = multiply(from_rotvec(total), orientation[first:])
    rate = reading.rate
    change = np.gradient(rate, float(time[1] - time[0]), axis=0)
    turning = cross(rate, cross_lever(rate, lever)) + cross_lever(change, lever)
    return Track(
        time=time,
        orientation=orientation,
        rate=rate,
        rate_read=reading.rate_read,
        rate_change=change,
        force=reading.force,
        force_read=reading.force_read,
        wrist=rotate(orientation, reading.force - turning),
    )


def cross_lever(rates: FloatArray, lever: FloatArray) -> FloatArray:
    """(N, 3) rates × one lever arm (3,)."""
    return cross(rates, lever[None, :])


def skew(vectors: FloatArray) -> FloatArray:
    """(..., 3) to (..., 3, 3) with skew(a) b = a × b."""
    out = np.zeros((*vectors.shape, 3))
    out[..., 0, 1] = -vectors[..., 2]
    out[..., 0, 2] = vectors[..., 1]
    out[..., 1, 0] = vectors[..., 2]
    out[..., 1, 2] = -vectors[..., 0]
    out[..., 2, 0] = -vectors[..., 1]
    out[..., 2, 1] = vectors[..., 0]
    return out

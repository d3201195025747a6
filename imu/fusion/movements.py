"""Several movements of the same swing as plain arrays, to be measured at once.

The estimate of a swing and the K motions that its errors make of it differ little; worked on
together they cost one pass through the formulas instead of K. Components stand first, so that
``x, y, z = rates`` unpacks and each is one block of memory; then forearm and club.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from imu.types import FloatArray, Motion


@dataclass(frozen=True, eq=False)
class Movements:
    """K movements of both segments over the same instants.

    time : (N,) s, uniform. quats : (4, 2, K, N) unit quaternions w, x, y, z, segment frame to
    world, of forearm and club. rates : (3, 2, K, N) rad/s, their angular velocities in the world
    frame.
    """

    time: FloatArray
    quats: FloatArray
    rates: FloatArray

    def __len__(self) -> int:
        return self.rates.shape[2]

    @cached_property
    def start(self) -> float:
        """s, recording time of the first instant."""
        return float(self.time[0])

    @cached_property
    def step(self) -> float:
        """s between instants."""
        return (float(self.time[-1]) - self.start) / (len(self.time) - 1)

    @classmethod
    def of(cls, motion: Motion, part: slice = slice(None)) -> Movements:
        """A motion, or some of its samples, as a stack of one (K = 1)."""
        time = motion.time[part]
        quats, rates = np.empty((4, 2, 1, len(time))), np.empty((3, 2, 1, len(time)))
        for segment, orientation in enumerate((motion.forearm, motion.club)):
            xyzw = orientation.as_quat()[part].T
            quats[1:, segment, 0] = xyzw[:3]
            quats[0, segment, 0] = xyzw[3]
        rates[:, 0, 0] = motion.forearm_rate[part].T
        rates[:, 1, 0] = motion.club_rate[part].T
        return cls(time, quats, rates)


def thinned(motion: Motion, start: float, end: float, stride: int) -> Movements:
    """Part of a motion at every ``stride``-th sample: enough to see how numbers change.

    start, end : s, recording time.
    """
    first, last = np.searchsorted(motion.time, [start, end])
    return Movements.of(motion, slice(int(first), int(last), stride))


def turn(
    turns: FloatArray, turn_rates: FloatArray, quats: FloatArray, rates: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """A segment's orientations and rates turned by K fields of small rotations in world axes.

    turns : (4, K, N) quaternions w, x, y, z of small angle. turn_rates : (3, K, N) rad/s, the
    rotation vectors' derivatives. quats : (4, 1, N). rates : (3, 1, N) rad/s. R′ = exp(φ) R gives
    ω′ = exp(φ) ω + φ̇, the second to first order: a turn of the whole world, however large, leaves
    the size of a rate alone.
    """
    w, x, y, z = turns
    qw, qx, qy, qz = quats
    # Component by component: blocks that stay in the processor's cache.
    turned = np.empty_like(turns)
    turned[0] = w * qw - x * qx - y * qy - z * qz
    turned[1] = w * qx + x * qw + y * qz - z * qy
    turned[2] = w * qy - x * qz + y * qw + z * qx
    turned[3] = w * qz + x * qy - y * qx + z * qw
    # ω + w t + v × t, with t = 2 v × ω and v the quaternion's vector.
    wx, wy, wz = 2.0 * rates
    tx, ty, tz = y * wz - z * wy, z * wx - x * wz, x * wy - y * wx
    turning = np.empty_like(turn_rates)
    turning[0] = w * tx + y * tz - z * ty
    turning[1] = w * ty + z * tx - x * tz
    turning[2] = w * tz + x * ty - y * tx
    for axis in range(3):
        turning[axis] += turn_rates[axis]
        turning[axis] += rates[axis]
    return turned, turning

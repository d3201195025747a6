"""What the movement of forearm and club looks like: axes, hinge, rates, planes, speeds.

Everything here is free of the heading: turning the world about the vertical changes nothing
but directions. Frames as in ``imu.types``; radians and metres.
"""

from __future__ import annotations

import math

import numpy as np

from imu.types import FloatArray


def distal_axis(quats: FloatArray) -> FloatArray:
    """(N, 3) world direction of the distal long axis (−y of the segment); quats (N, 4) xyzw."""
    x, y, z, w = quats.T
    axis = np.empty((len(x), 3))
    axis[:, 0] = -2.0 * (x * y - z * w)
    axis[:, 1] = 2.0 * (x * x + z * z) - 1.0
    axis[:, 2] = -2.0 * (y * z + x * w)
    return axis


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Row by row scalar product of (N, 3) arrays."""
    product: FloatArray = a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1] + a[:, 2] * b[:, 2]
    return product


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Row by row vector product of (N, 3) arrays (faster than numpy's general one)."""
    product = np.empty_like(a)
    product[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    product[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    product[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product


def cross3(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of two (3,) vectors, without the overhead of numpy's general one."""
    a0, a1, a2 = a.tolist()
    b0, b1, b2 = b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


def length(vector: FloatArray) -> float:
    """Length of one (3,) vector."""
    return math.sqrt(float(vector @ vector))


def across(rate: FloatArray, axis: FloatArray) -> FloatArray:
    """(N, 3) angular velocity with its part along ``axis`` removed."""
    part: FloatArray = rate - dot(rate, axis)[:, None] * axis
    return part


def directions(vectors: FloatArray) -> FloatArray:
    """(N, 3) unit vectors; zero rows stay zero."""
    size = np.sqrt(dot(vectors, vectors))
    unit: FloatArray = vectors / np.maximum(size, 1e-12)[:, None]
    return unit


def hinge(arm: FloatArray, shaft: FloatArray) -> FloatArray:
    """(N,) rad, angle between arm and shaft axes: 0 in line, about π/2 fully hinged."""
    normal = cross(arm, shaft)
    angle: FloatArray = np.arctan2(np.sqrt(dot(normal, normal)), dot(arm, shaft))
    return angle


def hinge_rate(
    arm: FloatArray, shaft: FloatArray, arm_rate: FloatArray, club_rate: FloatArray
) -> FloatArray:
    """(N,) rad/s, rate of the hinge angle from both angular velocities; positive when closing."""
    normal = directions(cross(arm, shaft))
    return dot(club_rate - arm_rate, normal)


def inclination(club_rate_across: FloatArray, normal: FloatArray) -> FloatArray:
    """(N,) rad, tilt of the plane the shaft is turning in, from the horizontal.

    90° less the elevation of the club's angular velocity across the shaft; the sense of
    ``normal`` (3,), the delivery's plane normal, decides which way is up.
    """
    up = 1.0 if normal[2] >= 0.0 else -1.0
    size = np.sqrt(dot(club_rate_across, club_rate_across))
    sine = up * club_rate_across[:, 2] / np.maximum(size, 1e-12)
    tilt: FloatArray = 0.5 * np.pi - np.arcsin(np.clip(sine, -1.0, 1.0))
    return tilt


def head_velocity(
    arm: FloatArray,
    shaft: FloatArray,
    arm_rate: FloatArray,
    club_rate: FloatArray,
    arm_length: float,
    club_lever: float,
) -> FloatArray:
    """(N, 3) m/s, clubhead velocity: arm about a fixed shoulder plus club about the wrist."""
    velocity: FloatArray = arm_length * cross(arm_rate, arm) + club_lever * cross(club_rate, shaft)
    return velocity


def wrist_speed(
    shaft: FloatArray,
    arm_rate: FloatArray,
    club_rate: FloatArray,
    velocity: FloatArray,
    club_lever: float,
) -> FloatArray:
    """(N,) m/s, part of the clubhead speed due to the club turning against the forearm."""
    own = club_lever * cross(club_rate - arm_rate, shaft)
    return dot(own, directions(velocity))


def roll_between(start: FloatArray, end: FloatArray) -> float:
    """rad, turn about the segment's own long axis y from one (4,) xyzw quaternion to another.

    The twist of a swing-twist split; positive about the proximal axis.
    """
    x0, y0, z0, w0 = start.tolist()
    x1, y1, z1, w1 = end.tolist()
    # The y and w parts of conj(start) · end.
    y = w0 * y1 - y0 * w1 + x0 * z1 - z0 * x1
    w = w0 * w1 + x0 * x1 + y0 * y1 + z0 * z1
    twist = 2.0 * math.atan2(y, w)
    return math.remainder(twist, 2.0 * math.pi)

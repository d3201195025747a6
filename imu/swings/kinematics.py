"""What the movement of forearm and club looks like: axes, hinge, rates, planes, speeds.

Everything here is free of the heading: turning the world about the vertical changes nothing
but directions. Frames as in ``imu.types``; radians and metres. Components stand first: a vector
is (3, …) and a quaternion (4, …) w, x, y, z, whatever the axes behind them (readings, samples).
"""

from __future__ import annotations

import numpy as np

from imu.types import FloatArray

_TINY = 1e-12


def distal_axis(quats: FloatArray) -> FloatArray:
    """(3, …) world direction of the distal long axis (−y of the segment); quats (4, …)."""
    w, x, y, z = quats
    axis = np.empty((3, *w.shape))
    axis[0] = 2.0 * (z * w - x * y)
    axis[1] = 2.0 * (x * x + z * z) - 1.0
    axis[2] = -2.0 * (y * z + x * w)
    return axis


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Scalar product of (3, …) arrays."""
    product: FloatArray = np.einsum("i...,i...->...", a, b)
    return product


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of (3, …) arrays (faster than numpy's general one)."""
    (a0, a1, a2), (b0, b1, b2) = a, b
    first = a1 * b2
    product = np.empty((3, *first.shape))
    np.subtract(first, a2 * b1, out=product[0])
    np.subtract(a2 * b0, a0 * b2, out=product[1])
    np.subtract(a0 * b1, a1 * b0, out=product[2])
    return product


def length(vectors: FloatArray) -> FloatArray:
    """Lengths of (3, …) vectors."""
    size: FloatArray = np.sqrt(dot(vectors, vectors))
    return size


def across(rate: FloatArray, axis: FloatArray) -> FloatArray:
    """(3, …) angular velocity with its part along ``axis`` removed."""
    part: FloatArray = dot(rate, axis) * axis
    np.subtract(rate, part, out=part)
    return part


def directions(vectors: FloatArray) -> FloatArray:
    """(3, …) unit vectors; zero vectors stay zero."""
    unit: FloatArray = vectors / np.maximum(length(vectors), _TINY)
    return unit


def hinge(axes: FloatArray) -> FloatArray:
    """rad, angle between arm and shaft axes (3, 2, …): 0 in line, about π/2 fully hinged."""
    arm, shaft = axes[:, 0], axes[:, 1]
    angle: FloatArray = np.arctan2(length(cross(arm, shaft)), dot(arm, shaft))
    return angle


def hinge_rate(axes: FloatArray, rates: FloatArray) -> FloatArray:
    """rad/s, rate of the hinge angle from both angular velocities; positive when closing.

    axes, rates : (3, 2, …) of arm and club.
    """
    normal = directions(cross(axes[:, 0], axes[:, 1]))
    return dot(rates[:, 1] - rates[:, 0], normal)


def inclination(club_rate_across: FloatArray, normal: FloatArray) -> FloatArray:
    """rad, tilt of the plane the shaft is turning in, from the horizontal.

    90° less the elevation of the club's angular velocity across the shaft; the sense of
    ``normal`` (3, …), the delivery's plane normal, decides which way is up.
    """
    up = np.where(normal[2] >= 0.0, 1.0, -1.0)
    sine = up * club_rate_across[2] / np.maximum(length(club_rate_across), _TINY)
    tilt: FloatArray = 0.5 * np.pi - np.arcsin(np.minimum(np.maximum(sine, -1.0), 1.0))
    return tilt


def head_velocity(
    axes: FloatArray,
    rates: FloatArray,
    arm_length: FloatArray | float,
    club_lever: FloatArray | float,
) -> FloatArray:
    """(3, …) m/s, clubhead velocity: arm about a fixed shoulder plus club about the wrist.

    axes, rates : (3, 2, …) of arm and club.
    """
    turning = cross(rates, axes)
    velocity: FloatArray = arm_length * turning[:, 0] + club_lever * turning[:, 1]
    return velocity


def wrist_speed(
    axes: FloatArray, rates: FloatArray, velocity: FloatArray, club_lever: FloatArray | float
) -> FloatArray:
    """m/s, part of the clubhead speed due to the club turning against the forearm.

    axes, rates : (3, 2, …) of arm and club. velocity : (3, …) m/s, of the clubhead.
    """
    own = club_lever * cross(rates[:, 1] - rates[:, 0], axes[:, 1])
    return dot(own, directions(velocity))


def twist(start: FloatArray, end: FloatArray) -> FloatArray:
    """rad, turn about the segment's own long axis y from (4, …) orientations to others.

    The twist of a swing-twist split; positive about the proximal axis; within half a turn.
    """
    (w0, x0, y0, z0), (w1, x1, y1, z1) = start, end
    # The y and w parts of conj(start) · end.
    y = w0 * y1 - y0 * w1 + x0 * z1 - z0 * x1
    w = w0 * w1 + x0 * x1 + y0 * y1 + z0 * z1
    turn = 2.0 * np.arctan2(y, w)
    turn -= 2.0 * np.pi * np.rint(turn / (2.0 * np.pi))
    return turn


def seen_from(quats: FloatArray, vectors: FloatArray) -> FloatArray:
    """(3, …) world vectors in the frames of (4, …) orientations."""
    axis = -quats[1:]
    twice = 2.0 * cross(axis, vectors)
    seen: FloatArray = vectors + quats[0] * twice + cross(axis, twice)
    return seen

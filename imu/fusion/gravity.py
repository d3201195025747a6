"""What rest tells: the direction of gravity in a swing, and each sensor's biases.

At rest the mean specific force in the world is gravity's reaction, straight up. A resting body
sways, so the mean over the spell carries the error stated by ``imu.fusion.rest``. Rests anywhere
in the recording also give the gyroscope's bias (mean rate) and bind the accelerometer's errors
(its reading must have the length of gravity in every attitude: the multi-position calibration of
Lötters et al. 1998, Sens Actuators A 68:221-228).
"""

from __future__ import annotations

import numpy as np

from imu.fusion.joint import RotationField, outer
from imu.fusion.parameters import ACC_BIAS, ACC_MATRIX, GYR_BIAS, OFFSET, SIZE, SensorErrors
from imu.fusion.quaternion import to_matrix
from imu.fusion.rest import RestSpells
from imu.fusion.track import Track, skew
from imu.types import FloatArray
from imu.units import STANDARD_GRAVITY

_UP = np.array([0.0, 0.0, STANDARD_GRAVITY])
_SHORTEST = 0.12
"""s of rest within a swing's window that are worth reading."""
_FORCE_FLOOR = 0.02
_RATE_FLOOR = 0.002
"""m/s² and rad/s, least standard errors of what a rest tells."""


def spells_within(spells: RestSpells, start: float, end: float) -> list[tuple[float, float, float]]:
    """Parts of rest spells inside [start, end] s: begin and end, s, and force error, m/s²."""
    inside = []
    near = (spells.span[:, 1] >= start + _SHORTEST) & (spells.span[:, 0] <= end - _SHORTEST)
    for (first, last), error in zip(spells.span[near], spells.acc_se[near], strict=True):
        low, high = max(first, start), min(last, end)
        if high - low >= _SHORTEST:
            spread = float(np.sqrt(np.mean(error**2))) * (last - first) / (high - low)
            inside.append((low, high, float(np.hypot(spread, _FORCE_FLOOR))))
    return inside


def upright_row(
    track: Track,
    field: RotationField,
    errors: SensorErrors,
    role: str,
    spell: tuple[float, float, float],
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Error (3,), derivatives by shared (3, 56) and own (3, S) unknowns, and sigma of one rest."""
    low, high, sigma = spell
    first, last = np.searchsorted(track.time, [low, high])
    taper = np.sin(np.pi * (np.arange(last - first) + 0.5) / (last - first)) ** 2
    taper /= taper.sum()
    matrix = to_matrix(track.orientation[first:last])
    mean = np.einsum("n,nij,nj->i", taper, matrix, track.force[first:last])
    middle = int(np.argmin(np.abs(track.time[field.rows] - 0.5 * (low + high))))
    turned = -skew(mean)
    by_shared = np.zeros((3, SIZE))
    offset = OFFSET[role]
    by_shared[:, offset : offset + 12] = turned @ field.rate[middle]
    average = np.einsum("n,nij->ij", taper, matrix)
    acc = slice(offset + ACC_BIAS.start, offset + ACC_BIAS.stop)
    by_shared[:, acc] = -average @ (np.eye(3) + errors.acc_matrix)
    entries = slice(offset + ACC_MATRIX.start, offset + ACC_MATRIX.stop)
    read = taper @ track.force_read[first:last]
    by_shared[:, entries] = outer(average[None], read[None])[0]
    return mean - _UP, by_shared, turned @ field.own(slice(middle, middle + 1))[0], sigma


def bias_evidence(
    spells: RestSpells, errors: SensorErrors, role: str
) -> tuple[FloatArray, FloatArray]:
    """Information matrix (56, 56) and gradient (56,) from all rests of one sensor.

    Spells that disagree with the rest are weighted down (Student's t, ν = 4).
    """
    information = np.zeros((SIZE, SIZE))
    gradient = np.zeros(SIZE)
    if not len(spells):
        return information, gradient
    offset = OFFSET[role]
    center = np.median(spells.gyr, axis=0)
    gyr = slice(offset + GYR_BIAS.start, offset + GYR_BIAS.stop)
    weight = 1.0 / (spells.gyr_se**2 + _RATE_FLOOR**2)
    off = (spells.gyr - center) ** 2 * weight
    weight = weight * 5.0 / (4.0 + off)
    information[gyr, gyr] += np.diag(weight.sum(axis=0))
    gradient[gyr] += (weight * (spells.gyr - errors.gyr_bias)).sum(axis=0)
    force, read = errors.force(spells.acc)
    length = np.linalg.norm(force, axis=1)
    along = force / length[:, None]
    row = np.zeros((len(spells), SIZE))
    acc = slice(offset + ACC_BIAS.start, offset + ACC_BIAS.stop)
    entries = slice(offset + ACC_MATRIX.start, offset + ACC_MATRIX.stop)
    row[:, acc] = -along @ (np.eye(3) + errors.acc_matrix)
    row[:, entries] = (along[:, :, None] * read[:, None, :]).reshape(-1, 9)
    error = length - STANDARD_GRAVITY
    variance = np.mean(spells.acc_se**2, axis=1) + _FORCE_FLOOR**2
    weight = 1.0 / variance * 5.0 / (4.0 + error**2 / variance)
    information += row.T @ (row * weight[:, None])
    gradient -= row.T @ (weight * error)
    return information, gradient

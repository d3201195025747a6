"""Where the segments' long axes lie in their sensors: the mounting, from the swings themselves.

Each piece of evidence is a direction near the sensor's nominal axis, written as two small angles
in the plane across it, with a covariance; they are combined by their precisions, and the errors
widened when they disagree more than they should (Birge 1932, Phys Rev 40:207-227).

Forearm
* *strap*: a sensor strapped along the forearm lies within some five degrees of it.
* *arc*: in the downswing the straight lead arm turns about the shoulder. With ρ the lever from
  shoulder to sensor, R a − g = a_hub + R (ω × (ω × ρ) + ω′ × ρ), where g, what a sensor at rest
  feels, is straight up; the shoulder's own acceleration a_hub is a smooth random curve (Gaussian
  process, 2 m/s², 0.1 s). ρ less the lever from wrist to sensor (``imu.fusion.joint``) runs along
  the forearm, whatever the sensor's offset from it.
* *roll*: spells in which the forearm turns about one fixed axis near the nominal one
  (pronation while waggling, twirling, or the calibration move).

Club
* *clamp*: a clamp holds the sensor along the shaft to within about a degree.
* *roll*: spells in which the shaft is rolled about itself (calibration move).
* *height*: the lever from wrist to sensor meets the shaft at the angle given by the sensor's
  height above the shaft's middle, shaft radius and half a sensor: 16 mm, give or take 5. The
  shaft so lies on a cone about the lever; the wrist is taken to hinge on the shaft's line.

The rest of the frame: the thumb's side of the forearm is where the shaft stands at the greatest
hinge (radial deviation); the club's frame is set square with the forearm's at address.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.estimate import SessionFit
from imu.fusion.parameters import LEVER, OFFSET
from imu.fusion.quaternion import cross
from imu.fusion.samples import SwingSamples
from imu.fusion.start import Seat
from imu.fusion.track import Track, skew
from imu.types import CLUB, FOREARM, BoolArray, FloatArray, Stream
from imu.units import DEG, STANDARD_GRAVITY

STRAP_SIGMA = 5.0 * DEG
CLAMP_SIGMA = 1.5 * DEG
SENSOR_HEIGHT, SENSOR_HEIGHT_SIGMA = 0.016, 0.005
"""m, of the sensor's middle over the shaft's."""
ASKEW_SIGMA = 15.0 * DEG
"""When a sensor was set askew, its nominal axis is only the direction it was flung in."""
_ARC_FLOOR = 0.8 * DEG
_ROLL_FLOOR = 0.4 * DEG
"""Least standard errors of what an arc and a roll tell."""
_ARC_FROM, _ARC_TO, _ARC_STEP = -0.45, -0.008, 0.012
"""s from impact between which the arc is read, and at what spacing."""
_HUB_ACCELERATION, _HUB_TIME, _ARC_NOISE = 2.0, 0.1, 0.3
"""m/s², s and m/s²: the shoulder's own acceleration, how long it lasts, and noise."""
_ARM_LENGTH_DOUBT = 0.15
"""m off the declared length that doubles the variance."""
_ROLL_WINDOW = 1.0
_ROLL_RATE = 0.4
"""s in which a roll is looked for, and rad/s (root mean square) that it must reach."""
_ROLL_NEAR, _ROLL_FAR = {FOREARM: 15.0 * DEG, CLUB: 6.0 * DEG}, 15.0 * DEG
"""How far its axis may lie from the nominal one; a slanting one's, where many spells agree."""
_ROLL_TOGETHER = 1.5 * DEG
"""Spells of one roll of a slanting shaft agree this well."""
_FEW_SPELLS, _MANY_SPELLS = 2, 4
_ROLL_PURITY = {FOREARM: 0.01, CLUB: 0.003}
"""Most of the squared rate that may lie along the second axis, as a part of that about the main."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """A direction as small angles (2,) rad across the nominal axis, and covariance (2, 2).

    length, length_se : m, of the segment along the axis, where the evidence tells it (NaN).
    """

    name: str
    angles: FloatArray
    covariance: FloatArray
    length: float = float("nan")
    length_se: float = float("nan")


@dataclass(frozen=True, eq=False)
class LongAxis:
    """A segment's distal axis in its sensor's axes.

    axis : (3,) unit. across : (2, 3) unit vectors the covariance (2, 2), rad², refers to.
    evidence : what it rests on.
    """

    axis: FloatArray
    across: FloatArray
    covariance: FloatArray
    evidence: tuple[Evidence, ...]


def forearm_axis(
    swings: Sequence[SwingSamples],
    tracks: Sequence[Mapping[str, Track]],
    fit: SessionFit,
    seat: Seat,
    stream: Stream,
    arm_length: float,
) -> LongAxis:
    """Elbow-to-wrist axis in the forearm sensor."""
    nominal = seat.axis
    basis = across_basis(nominal)
    sigma = STRAP_SIGMA if seat.along_box else ASKEW_SIGMA
    evidence = [Evidence("strap", np.zeros(2), sigma**2 * np.eye(2))]
    evidence += _arc(swings, tracks, fit, nominal, basis, arm_length)
    evidence += _roll(stream, fit, FOREARM, nominal, basis)
    return _combine(nominal, basis, evidence)


def club_axis(fit: SessionFit, seat: Seat, stream: Stream) -> LongAxis:
    """Grip-to-head axis in the club sensor."""
    nominal = seat.axis
    basis = across_basis(nominal)
    if seat.along_box:
        evidence = [Evidence("clamp", np.zeros(2), CLAMP_SIGMA**2 * np.eye(2))]
    else:
        # Set askew: only the lever is left, off the shaft by the sensor's height.
        lever = fit.shared.sensors[CLUB].lever
        reach = float(lever @ nominal)
        sigma = SENSOR_HEIGHT / max(reach, 0.1) / np.sqrt(2.0)
        evidence = [Evidence("lever", basis @ lever / reach, sigma**2 * np.eye(2))]
    evidence += _roll(stream, fit, CLUB, nominal, basis)
    evidence += _height(fit, nominal, basis, _combine(nominal, basis, evidence))
    return _combine(nominal, basis, evidence)


def _height(
    fit: SessionFit, nominal: FloatArray, basis: FloatArray, before: LongAxis
) -> list[Evidence]:
    """The cone about the lever, as evidence along the line from lever to the axis so far."""
    lever = fit.shared.sensors[CLUB].lever
    reach = float(lever @ nominal)
    if reach < 0.05:
        return []
    found = (before.axis @ basis.T) / float(before.axis @ nominal)
    gap = found - basis @ lever / reach
    size = float(np.linalg.norm(gap))
    entries = _lever_entries(CLUB)
    spread = basis @ fit.covariance[entries, entries] @ basis.T / reach**2
    sigma_sq = (SENSOR_HEIGHT_SIGMA / reach) ** 2 + float(np.trace(spread)) / 2.0
    if size < 2.0 * np.sqrt(np.linalg.eigvalsh(before.covariance)[-1]) / 3.0:
        return []  # the side of the cone can't be told
    outward = gap / size
    angles = found + outward * (SENSOR_HEIGHT / reach - size)
    sideways = np.array([-outward[1], outward[0]])
    covariance = sigma_sq * np.outer(outward, outward)
    covariance += (20.0 * DEG) ** 2 * np.outer(sideways, sideways)
    return [Evidence("height", angles, covariance)]


def across_basis(axis: FloatArray) -> FloatArray:
    """(2, 3) unit vectors across ``axis`` and each other."""
    helper = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = np.cross(axis, helper)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(axis, first)])


def _lever_entries(role: str) -> slice:
    return slice(OFFSET[role] + LEVER.start, OFFSET[role] + LEVER.stop)


def _combine(nominal: FloatArray, basis: FloatArray, evidence: list[Evidence]) -> LongAxis:
    precision = np.zeros((2, 2))
    pull = np.zeros(2)
    for piece in evidence:
        inverse = np.linalg.inv(piece.covariance)
        precision += inverse
        pull += inverse @ piece.angles
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    angles = covariance @ pull
    misfit = sum(
        float((piece.angles - angles) @ np.linalg.solve(piece.covariance, piece.angles - angles))
        for piece in evidence
    )
    freedom = 2 * (len(evidence) - 1)
    if freedom and misfit > freedom:
        covariance = covariance * misfit / freedom
    axis = nominal + angles @ basis
    axis = axis / np.linalg.norm(axis)
    # The basis is laid across the axis found, turned as little as may be.
    first = basis[0] - (basis[0] @ axis) * axis
    first /= np.linalg.norm(first)
    return LongAxis(axis, np.stack([first, np.cross(axis, first)]), covariance, tuple(evidence))


def _arc(
    swings: Sequence[SwingSamples],
    tracks: Sequence[Mapping[str, Track]],
    fit: SessionFit,
    nominal: FloatArray,
    basis: FloatArray,
    arm_length: float,
) -> list[Evidence]:
    """The straight arm's turn about the shoulder, swing by swing, then together."""
    information, pull = np.zeros((3, 3)), np.zeros(3)
    single = []
    up = np.array([0.0, 0.0, STANDARD_GRAVITY])
    for swing, pair in zip(swings, tracks, strict=True):
        track, impact = pair[FOREARM], swing.window.impact
        stride = max(1, round(_ARC_STEP / swing.step))
        rows = np.arange(0, len(track.time), stride)
        time = track.time[rows]
        inside = (time > impact + _ARC_FROM) & (time < impact + _ARC_TO)
        keep = inside & swing.usable(time, fit.shared.at(time))
        keep &= ~swing.clipped_axes(FOREARM, time, fit.shared.at(time)).any(axis=1)
        rows, time = rows[keep], time[keep]
        if len(rows) < 8:
            continue
        turning = skew(track.rate[rows])
        matrix = track.matrix(rows)
        design = matrix @ (turning @ turning + skew(track.rate_change[rows]))
        felt = np.einsum("nij,nj->ni", matrix, track.force[rows]) - up
        apart = (time[:, None] - time[None, :]) / _HUB_TIME
        spread = _HUB_ACCELERATION**2 * np.exp(-0.5 * apart**2) + _ARC_NOISE**2 * np.eye(len(time))
        whiten = np.linalg.inv(np.linalg.cholesky(spread))
        white = np.einsum("mn,nij->mij", whiten, design).reshape(-1, 3)
        target = (whiten @ felt).ravel()
        own = white.T @ white
        information += own
        pull += white.T @ target
        single.append(np.linalg.solve(own, white.T @ target))
    if not single:
        return []
    wrist = np.linalg.solve(information, pull) - fit.shared.sensors[FOREARM].lever
    length = float(wrist @ nominal)
    if length < 0.2:
        return []
    entries = _lever_entries(FOREARM)
    spread = np.linalg.inv(information) + fit.covariance[entries, entries]
    if len(single) > 2:
        spread = spread + np.cov(np.array(single).T) / len(single)
    covariance = basis @ spread @ basis.T / length**2 + _ARC_FLOOR**2 * np.eye(2)
    # A length far from the declared arm's says that the shoulder did not stay put.
    doubt = (length - arm_length) / _ARM_LENGTH_DOUBT
    covariance *= 1.0 + doubt**2
    length_se = float(np.sqrt(nominal @ spread @ nominal))
    return [Evidence("arc", basis @ wrist / length, covariance, length, length_se)]


def _roll(
    stream: Stream, fit: SessionFit, role: str, nominal: FloatArray, basis: FloatArray
) -> list[Evidence]:
    """Spells in which the segment turned about one axis near its own.

    Other movements of the club turn about one axis for a second now and then, so far from the
    nominal axis only those spells count that agree with most, and outweigh those near it.
    """
    rate, _ = fit.shared.sensors[role].rate(stream.gyr)
    cell = np.floor((stream.time - stream.time[0]) / (0.5 * _ROLL_WINDOW)).astype(np.int64)
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    sums = np.empty((len(starts), 3, 3))
    turning = np.ascontiguousarray(rate.T)
    for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):
        sums[:, i, j] = sums[:, j, i] = np.add.reduceat(turning[i] * turning[j], starts)
    counts = np.diff(np.append(starts, len(rate)))
    total = sums[1:] + sums[:-1]
    count = counts[1:] + counts[:-1]
    if not len(total):
        return []
    values, vectors = np.linalg.eigh(total / count[:, None, None])
    main = vectors[:, :, 2]
    along = main @ nominal
    main = main * np.sign(along)[:, None]
    off = np.arccos(np.clip(np.abs(along), 0.0, 1.0))
    purity = values[:, 1] / np.maximum(values[:, 2], 1e-12)
    fast = values[:, 2] > _ROLL_RATE**2
    pure = fast & (purity < _ROLL_PURITY[role])
    angles = (main @ basis.T) / np.maximum(np.abs(along), 0.5)[:, None]
    weight = 1.0 / (purity + 0.0005)
    chosen = pure & (off < _ROLL_NEAR[role])
    slanting = _agreeing(angles, weight, pure & (off < _ROLL_FAR))
    if role == CLUB and weight[slanting].sum() > weight[chosen].sum():
        chosen = slanting
    if np.count_nonzero(chosen) < _FEW_SPELLS:
        return []
    angles, weight = angles[chosen], weight[chosen]
    mean = weight @ angles / weight.sum()
    away = angles - mean
    scatter = (away * weight[:, None]).T @ away / weight.sum()
    spells = 0.5 * len(angles)
    covariance = scatter / max(spells, 1.0) + _ROLL_FLOOR**2 * np.eye(2)
    return [Evidence("roll", mean, covariance)]


def _agreeing(angles: FloatArray, weight: FloatArray, among: BoolArray) -> BoolArray:
    """(N,) the spells ``among`` all that agree with most of them; none when they are few."""
    (rows,) = np.nonzero(among)
    together = np.zeros(len(among), dtype=bool)
    if len(rows) < _MANY_SPELLS:
        return together
    apart = np.linalg.norm(angles[rows, None] - angles[rows], axis=2)
    middle = int(np.argmax((apart < _ROLL_TOGETHER) @ weight[rows]))
    rows = rows[apart[middle] < 2.0 * _ROLL_TOGETHER]
    together[rows] = len(rows) >= _MANY_SPELLS
    return together


@dataclass(frozen=True, eq=False)
class Mounting:
    """Sensor axes to segment axes, (3, 3) by role, and the long axes they rest on."""

    matrix: Mapping[str, FloatArray]
    axes: Mapping[str, LongAxis]


def mounting(
    swings: Sequence[SwingSamples],
    tracks: Sequence[Mapping[str, Track]],
    axes: Mapping[str, LongAxis],
) -> Mounting:
    """Complete the segment frames of both sensors (see the head of this module)."""
    arm, shaft = axes[FOREARM].axis, axes[CLUB].axis
    thumbs, grips = [], []
    for swing, pair in zip(swings, tracks, strict=True):
        window, time = swing.window, swing.time
        first, last = np.searchsorted(time, [window.top - 0.1, window.impact])
        forearm = pair[FOREARM].matrix(slice(first, last))
        club = pair[CLUB].matrix(slice(first, last))
        seen = np.einsum("nji,nj->ni", forearm, club @ shaft)
        widest = int(np.argmin(seen @ arm))
        thumbs.append(_flat(seen[widest], arm))
    thumb = _flat(np.mean(thumbs, axis=0), arm)
    for swing, pair in zip(swings, tracks, strict=True):
        row = int(np.searchsorted(swing.time, swing.window.takeaway))
        world = pair[FOREARM].matrix_at(row) @ thumb
        grips.append(_flat(pair[CLUB].matrix_at(row).T @ world, shaft))
    grip = _flat(np.mean(grips, axis=0), shaft)
    return Mounting({FOREARM: _frame(arm, thumb), CLUB: _frame(shaft, grip)}, axes)


def _flat(vector: FloatArray, axis: FloatArray) -> FloatArray:
    """Unit vector of the part of ``vector`` across ``axis``."""
    part = vector - (vector @ axis) * axis
    return np.asarray(part / max(float(np.linalg.norm(part)), 1e-9), dtype=np.float64)


def _frame(distal: FloatArray, thumb: FloatArray) -> FloatArray:
    """(3, 3) sensor to segment: rows x = y × z, y proximal, z towards the thumb."""
    y = -distal
    return np.stack([cross(y, thumb), y, thumb])

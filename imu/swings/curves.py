"""Curves of one swing over time, in the columns and units of ``imu.columns.CURVE_COLUMNS``.

Signed parts of the wrist follow the ISB recommendation (Wu et al. 2005, J Biomech
38:981-992): flexion, ulnar deviation and pronation positive. They are zero at address, since
the sensor sees the club against the forearm through the grip, not the hand against the radius.
After mirroring, the lead arm is a left arm. Its thumb side is the side to which the shaft is
hinged at its greatest hinge, so the sense of the forearm frame about its long axis does not
matter here.
"""

from __future__ import annotations

import numpy as np

from imu.fusion.movements import Movements
from imu.swings import kinematics as kin
from imu.swings.measure import SwingMeasurement
from imu.types import Club, FloatArray, Motion
from imu.units import DEG


def swing_curves(
    motion: Motion, measurement: SwingMeasurement, club: Club, arm_length: float
) -> dict[str, np.ndarray]:
    """Curves of one swing, one value a sample.

    measurement : of this motion; rates are taken in its plane. arm_length : m, hub to wrist.
    Gives ``t_s``, ``t_from_impact_s``, hinge and its signed parts, rates, clubhead speed, plane
    inclination, orientations (wxyz, segment to world) and ``reconstructed``; the caller adds
    what it alone knows (swing number, club clock, standard error).
    """
    time = motion.time
    # One movement: the axis of readings is dropped.
    movement = Movements.of(motion)
    quats, rates = movement.quats[:, :, 0], movement.rates[:, :, 0]
    axes = kin.distal_axis(quats)
    shaft = axes[:, 1]
    across = kin.across(rates[:, 1], shaft)
    address = _sample(time, measurement, "address_begin", "address_end")
    impact = _sample(time, measurement, "impact", "impact")
    normal = measurement.places.normal
    velocity = kin.head_velocity(axes, rates, arm_length, club.wrist_to_head)
    greatest = _sample(time, measurement, "onset", "onset", otherwise=impact)
    ulnar, flexion, pronation = _wrist_parts(quats[:, 0], shaft, address, greatest)
    curves: dict[str, np.ndarray] = {
        "t_s": np.asarray(time),
        "t_from_impact_s": time - measurement.events["impact"],
        "hinge_deg": kin.hinge(axes) / DEG,
        "ulnar_deviation_deg": ulnar / DEG,
        "flexion_deg": flexion / DEG,
        "pronation_deg": pronation / DEG,
        "hinge_rate_deg_s": kin.hinge_rate(axes, rates) / DEG,
        "arm_rate_deg_s": kin.dot(rates[:, 0], normal) / DEG,
        "club_rate_deg_s": kin.dot(across, normal) / DEG,
        "clubhead_speed_m_s": kin.length(velocity),
        "plane_inclination_deg": kin.inclination(across, normal) / DEG,
    }
    for segment, name in enumerate(("arm", "club")):
        for part, values in zip("wxyz", quats[:, segment], strict=True):
            curves[f"{name}_q{part}"] = values
    curves["reconstructed"] = np.asarray(motion.reconstructed)
    return curves


def _sample(
    time: FloatArray, measurement: SwingMeasurement, begin: str, end: str, otherwise: int = 0
) -> int:
    middle = 0.5 * (measurement.anchors[begin] + measurement.anchors[end])
    if np.isnan(middle):
        return otherwise
    return int(np.clip(np.searchsorted(time, middle), 1, len(time) - 1))


def _wrist_parts(
    forearm: FloatArray, shaft: FloatArray, address: int, greatest: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Ulnar deviation, flexion and pronation against address, rad, each (N,).

    The shaft seen from the forearm has a direction; ulnar deviation is its angle in the plane
    of thumb and long axis, flexion its lean out of that plane, so that a hinge past 90° stays
    well defined. Pronation is the forearm's turn about its own long axis.
    """
    seen = kin.seen_from(forearm, shaft)
    thumb = 1.0 if seen[2, greatest] >= 0.0 else -1.0
    # For a left arm, volar is thumb × proximal; with proximal = y that is −(thumb) x.
    volar = -thumb
    lean_thumb = np.unwrap(np.arctan2(thumb * seen[2], -seen[1]))
    lean_volar = np.arcsin(np.clip(volar * seen[0], -1.0, 1.0))
    twist = np.unwrap(kin.twist(forearm[:, [address]], forearm))
    twist = twist - twist[address]
    ulnar = -(lean_thumb - lean_thumb[address])
    # Counter-clockwise seen from the elbow supinates a left forearm.
    return ulnar, lean_volar - lean_volar[address], -twist

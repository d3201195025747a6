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

from imu.swings import kinematics as kin
from imu.swings.measure import SwingMeasurement
from imu.types import Club, FloatArray, Motion
from imu.units import DEG


def swing_curves(
    motion: Motion, measurement: SwingMeasurement, club: Club, arm_length: float
) -> dict[str, np.ndarray]:
    """Curves of one swing, one value a sample.

    Gives ``t_s``, ``t_from_impact_s``, hinge and its signed parts, rates, clubhead speed, plane
    inclination, orientations (wxyz, segment to world) and ``reconstructed``; the caller adds
    what it alone knows (swing number, club clock, standard error).
    """
    time = motion.time
    arm = kin.distal_axis(motion.forearm.as_quat())
    shaft = kin.distal_axis(motion.club.as_quat())
    across = kin.across(motion.club_rate, shaft)
    address = _sample(time, measurement, "address_begin", "address_end")
    impact = _sample(time, measurement, "impact", "impact")
    # Where the shaft did not pass level, the later half of the downswing stands in, as for events.
    halfway = _sample(time, measurement, "club_top", "impact", otherwise=impact - 1)
    level = _sample(time, measurement, "shaft_parallel", "shaft_parallel", otherwise=halfway)
    delivery = kin.directions(across[min(level, impact - 1) : impact + 1]).mean(axis=0)
    normal = delivery / max(kin.length(delivery), 1e-12)
    velocity = kin.head_velocity(
        arm, shaft, motion.forearm_rate, motion.club_rate, arm_length, club.wrist_to_head
    )
    greatest = _sample(time, measurement, "onset", "onset", otherwise=impact)
    ulnar, flexion, pronation = _wrist_parts(motion, shaft, address, greatest)
    curves: dict[str, np.ndarray] = {
        "t_s": np.asarray(time),
        "t_from_impact_s": time - measurement.events["impact"],
        "hinge_deg": kin.hinge(arm, shaft) / DEG,
        "ulnar_deviation_deg": ulnar / DEG,
        "flexion_deg": flexion / DEG,
        "pronation_deg": pronation / DEG,
        "hinge_rate_deg_s": kin.hinge_rate(arm, shaft, motion.forearm_rate, motion.club_rate) / DEG,
        "arm_rate_deg_s": motion.forearm_rate @ normal / DEG,
        "club_rate_deg_s": across @ normal / DEG,
        "clubhead_speed_m_s": np.sqrt(kin.dot(velocity, velocity)),
        "plane_inclination_deg": kin.inclination(across, normal) / DEG,
    }
    for name, orientation in (("arm", motion.forearm), ("club", motion.club)):
        wxyz = orientation.as_quat(scalar_first=True)
        for index, part in enumerate("wxyz"):
            curves[f"{name}_q{part}"] = wxyz[:, index]
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
    motion: Motion, shaft: FloatArray, address: int, greatest: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Ulnar deviation, flexion and pronation against address, rad, each (N,).

    The shaft seen from the forearm has a direction; ulnar deviation is its angle in the plane
    of thumb and long axis, flexion its lean out of that plane, so that a hinge past 90° stays
    well defined. Pronation is the forearm's turn about its own long axis.
    """
    seen = motion.forearm.inv().apply(shaft)
    thumb = 1.0 if seen[greatest, 2] >= 0.0 else -1.0
    # For a left arm, volar is thumb × proximal; with proximal = y that is −(thumb) x.
    volar = -thumb
    lean_thumb = np.unwrap(np.arctan2(thumb * seen[:, 2], -seen[:, 1]))
    lean_volar = np.arcsin(np.clip(volar * seen[:, 0], -1.0, 1.0))
    turn = motion.forearm[address].inv() * motion.forearm
    _, y, _, w = turn.as_quat().T
    twist = np.unwrap(2.0 * np.arctan2(y, w))
    twist = twist - twist[address]
    ulnar = -(lean_thumb - lean_thumb[address])
    # Counter-clockwise seen from the elbow supinates a left forearm.
    return ulnar, lean_volar - lean_volar[address], -twist

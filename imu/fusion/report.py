"""The fit in plain values and words: what was determined, by what, and how well."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from imu.fusion.axes import LongAxis
from imu.fusion.estimate import NOISE_FLOOR
from imu.fusion.parameters import ACC_BIAS, CLOCK_SHIFT, GYR_BIAS, LEVER, OFFSET
from imu.fusion.samples import SENSORS
from imu.fusion.session import SolvedSession, declared_distances
from imu.fusion.setup_check import sensor_distances
from imu.types import CLUB, FOREARM, FloatArray, Manifest
from imu.units import DEG

_BY = {
    "strap": "the strap's fit",
    "arc": "the arm's turn about the shoulder",
    "roll": "rolling about itself",
    "clamp": "the clamp's fit",
    "height": "the sensor's height over the shaft",
    "lever": "the lever from the wrist",
}
_ROLL_WORDS = {
    FOREARM: "forearm: turning the palm up and down for five seconds, the upper arm still, before "
    "the first swing would tell its axis better",
    CLUB: "club: rolling it between the fingers for a few seconds before the first swing "
    "would sharpen the shaft's axis, and with it the hinge angle",
}


def describe_parts(
    parts: Sequence[tuple[SolvedSession, tuple[int, ...]]], manifest: Manifest
) -> dict[str, Any]:
    """The calibration of a session that may have been solved in parts.

    parts : each with the numbers of its swings. The part with most swings is described; where
    there are several, ``parts`` holds every one, with its swings.
    """
    main = max(parts, key=lambda part: len(part[1]))[0]
    told = describe_fit(main, manifest)
    if len(parts) > 1:
        told["parts"] = [
            {"swings": list(numbers), **describe_fit(solved, manifest)} for solved, numbers in parts
        ]
    return told


def describe_fit(solved: SolvedSession, manifest: Manifest) -> dict[str, Any]:
    """Calibration as plain JSON values. Sensor axes are those of the (mirrored) sensor."""
    fit, mounted, seats, rests = solved.fit, solved.mounted, solved.seats, solved.rests
    sigma = np.sqrt(np.diag(fit.covariance))
    sensors: dict[str, Any] = {}
    for role in SENSORS:
        errors, offset = fit.shared.sensors[role], OFFSET[role]
        axis = mounted.axes[role]
        own = sigma[offset:]
        tilt = float(np.arccos(np.clip(axis.axis @ seats[role].axis, -1.0, 1.0)))
        sensors[role] = {
            "long_axis": _plain(axis.axis),
            "long_axis_se_deg": _plain(np.sqrt(np.diag(axis.covariance)) / DEG),
            "long_axis_from_nominal_deg": tilt / DEG,
            "set_along_the_segment": seats[role].along_box,
            "long_axis_evidence": [piece.name for piece in axis.evidence],
            "sensor_to_segment": [_plain(row) for row in mounted.matrix[role]],
            "lever_from_wrist_m": _plain(errors.lever),
            "lever_from_wrist_se_m": _plain(own[LEVER]),
            "gyr_bias_rad_s": _plain(errors.gyr_bias),
            "gyr_bias_se_rad_s": _plain(own[GYR_BIAS]),
            "gyr_matrix": [_plain(row) for row in errors.gyr_matrix],
            "acc_bias_m_s2": _plain(errors.acc_bias),
            "acc_bias_se_m_s2": _plain(own[ACC_BIAS]),
            "acc_matrix": [_plain(row) for row in errors.acc_matrix],
            "rests": len(rests[role]),
        }
    return {
        "mirrored": manifest.player.handedness == "left",
        "sensors": sensors,
        "joint_residual_m_s2": NOISE_FLOOR * fit.scale,
        "residual_correlation_rows": fit.correlation,
        "steps": fit.steps,
        "converged": fit.converged,
        "words": _words(solved, manifest),
    }


def _words(solved: SolvedSession, manifest: Manifest) -> list[str]:
    """What was determined by what, how well, and what would improve it."""
    fit, axes = solved.fit, solved.mounted.axes
    said = []
    reach, reach_se = sensor_distances(solved)
    declared = declared_distances(manifest)
    for role in SENSORS:
        spread = float(np.sqrt(np.trace(axes[role].covariance) / 2.0)) / DEG
        shares = _shares(axes[role])
        told = ", ".join(
            f"{_BY[name]} {100.0 * share:.0f} %" for name, share in shares.items() if share > 0.005
        )
        said.append(f"{role}: long axis known to {spread:.1f}° ({told})")
        if not solved.seats[role].along_box:
            said.append(
                f"{role}: the sensor sits askew on its segment; set with one edge along it, "
                "its axis would be known better"
            )
        between = "to the wrist" if role == FOREARM else "from the wrist"
        said.append(
            f"{role}: sensor {1e3 * reach[role]:.0f} mm {between}, give or take "
            f"{2e3 * reach_se[role]:.0f} (declared {1e3 * declared[role]:.0f}), from the two "
            "sensors' agreement at the wrist"
        )
        if not len(solved.rests[role]):
            said.append(
                f"{role}: never at rest, so its biases rest on the swings alone; "
                "standing still for three seconds would help"
            )
        if "roll" not in shares:
            said.append(_ROLL_WORDS[role])
    said.append(
        f"declared and not seen by the sensors: the club's length, {manifest.club.length:.2f} m; "
        "clubhead speed is wrong by the share it is wrong by"
    )
    shift_se = float(np.sqrt(fit.covariance[CLOCK_SHIFT, CLOCK_SHIFT]))
    said.append(f"clocks: the joint ties them to {shift_se * 1e3:.2f} ms")
    if not fit.converged:
        said.append("the fit had not settled when it stopped: treat the numbers with care")
    return said


def _shares(axis: LongAxis) -> dict[str, float]:
    """By name of the evidence, its share of what is known of a long axis."""
    known = {piece.name: np.trace(np.linalg.inv(piece.covariance)) for piece in axis.evidence}
    total = sum(known.values())
    return {name: float(value / total) for name, value in known.items()}


def _plain(values: FloatArray) -> list[float]:
    return [float(value) for value in values]

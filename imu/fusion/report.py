"""The fit in plain values and words: what was determined, by what, and how well."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from imu.fusion.axes import Mounting
from imu.fusion.estimate import SessionFit
from imu.fusion.parameters import ACC_BIAS, GYR_BIAS, LEVER, OFFSET
from imu.fusion.rest import RestSpells
from imu.fusion.samples import SENSORS
from imu.fusion.start import Seat
from imu.types import FloatArray
from imu.units import DEG


def describe_fit(
    fit: SessionFit,
    mounted: Mounting,
    seats: Mapping[str, Seat],
    rests: Mapping[str, RestSpells],
    handedness: str,
) -> dict[str, Any]:
    """Calibration as plain JSON values. Sensor axes are those of the (mirrored) sensor."""
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
        "mirrored": handedness == "left",
        "sensors": sensors,
        "joint_residual_m_s2": 0.1 * fit.scale,
        "residual_correlation_rows": fit.correlation,
        "steps": fit.steps,
        "converged": fit.converged,
        "words": _words(fit, mounted, seats, rests),
    }


def _words(
    fit: SessionFit,
    mounted: Mounting,
    seats: Mapping[str, Seat],
    rests: Mapping[str, RestSpells],
) -> list[str]:
    """What was determined by what, and what would improve it."""
    said = []
    for role in SENSORS:
        axis = mounted.axes[role]
        spread = float(np.sqrt(np.trace(axis.covariance) / 2.0)) / DEG
        names = ", ".join(piece.name for piece in axis.evidence)
        said.append(f"{role}: long axis known to {spread:.1f}° (from {names})")
        if not seats[role].along_box:
            said.append(
                f"{role}: the sensor sits askew on its segment; set with one edge along it, "
                "its axis would be known better"
            )
        if not len(rests[role]):
            said.append(
                f"{role}: never at rest, so its biases rest on the swings alone; "
                "standing still for three seconds would help"
            )
    if not any(piece.name == "roll" for piece in mounted.axes["club"].evidence):
        said.append(
            "rolling the club between the fingers for a few seconds before the first swing "
            "would sharpen the shaft's axis, and with it the hinge angle"
        )
    shift_se = float(np.sqrt(fit.covariance[-2, -2]))
    said.append(f"clocks: the joint ties them to {shift_se * 1e3:.2f} ms")
    if not fit.converged:
        said.append("the fit had not settled when it stopped: treat the numbers with care")
    return said


def _plain(values: FloatArray) -> list[float]:
    return [float(value) for value in values]

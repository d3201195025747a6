"""An invented session, smooth and seeded, for tests that need an analysis but no sensors."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from imu.columns import CURVE_COLUMNS, EVENTS, METRICS, SWING_COLUMNS
from imu.types import Analysis

PLANE = Rotation.from_euler("y", 35.0, degrees=True)
"""Tilts the swing plane (turning about x, along the target line's normal) from the vertical."""


def _axes_to_rotation(long_axis: np.ndarray, normal: np.ndarray) -> Rotation:
    """Segment frames whose distal long axis (−y) and plane normal (z) are given, (N, 3) each."""
    y = -long_axis
    z = np.broadcast_to(normal, y.shape)
    x = np.cross(y, z)
    return Rotation.from_matrix(np.stack([x, y, z], axis=-1))


def invented_analysis(count: int = 24, seed: int = 7, rate_hz: float = 500.0) -> Analysis:
    """``count`` swings, 15 s apart, whose spread comes from a seeded generator."""
    random = np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    curves: list[pd.DataFrame] = []
    for number in range(1, count + 1):
        backswing = 0.82 + 0.03 * random.standard_normal()
        downswing = 0.25 + 0.009 * random.standard_normal()
        release = 0.078 + 0.010 * random.standard_normal()
        greatest = 94.0 + 3.0 * random.standard_normal()
        at_impact = 21.0 + 2.5 * random.standard_normal()
        impact = 15.0 * number
        top, takeaway = -downswing, -downswing - backswing
        t = np.arange(takeaway - 0.3, 0.75, 1.0 / rate_hz)
        arm = np.radians(
            PchipInterpolator(
                [-3, takeaway, takeaway + backswing / 2, top - 0.01, -0.11, 0, 0.12, 0.55, 3],
                [0, 0, -62, -141, -88, 6, 70, 142, 142],
            )(t)
        )
        hinge = PchipInterpolator(
            [
                -3,
                takeaway,
                takeaway + backswing / 2,
                top,
                -release - 0.04,
                -release,
                0,
                0.1,
                0.5,
                3,
            ],
            [16, 16, 52, greatest - 4, greatest, greatest - 10, at_impact, 40, 96, 96],
        )(t)
        side = np.sign(arm + 1e-9)
        club = arm + np.radians(hinge) * np.where(side < 0, -1.0, 1.0) * np.tanh(np.abs(arm) * 4)
        normal = PLANE.apply([1.0, 0.0, 0.0])

        def axis(angle: np.ndarray) -> np.ndarray:
            flat = np.column_stack([np.zeros_like(angle), np.sin(angle), -np.cos(angle)])
            return PLANE.apply(flat)

        arm_q = _axes_to_rotation(axis(arm), normal).as_quat()
        club_q = _axes_to_rotation(axis(club), normal).as_quat()
        arm_rate, club_rate = np.gradient(arm, t), np.gradient(club, t)
        table = dict.fromkeys(CURVE_COLUMNS, np.full(len(t), np.nan))
        table |= {
            "swing": np.full(len(t), number),
            "t_s": impact + t,
            "t_club_clock_us": (impact + t) * 1e6,
            "t_from_impact_s": t,
            "hinge_deg": hinge,
            "hinge_rate_deg_s": np.gradient(hinge, t),
            "hinge_se_deg": np.full(len(t), 0.8),
            "ulnar_deviation_deg": -hinge * 0.8,
            "flexion_deg": 10 * np.sin(3 * t),
            "pronation_deg": 30 * np.tanh(5 * t),
            "arm_rate_deg_s": np.degrees(arm_rate),
            "club_rate_deg_s": np.degrees(club_rate),
            "clubhead_speed_m_s": np.abs(0.62 * arm_rate) + np.abs(1.07 * club_rate),
            "plane_inclination_deg": np.full(len(t), 55.0),
            "reconstructed": np.zeros(len(t), bool),
        }
        for prefix, quaternion in (("arm", arm_q), ("club", club_q)):
            for name, column in zip("xyzw", quaternion.T, strict=True):
                table[f"{prefix}_q{name}"] = column
        curves.append(pd.DataFrame(table))
        events = {
            "takeaway": takeaway,
            "arm_top": top - 0.012,
            "club_top": top,
            "release": -release,
            "shaft_parallel": -0.045,
            "impact": 0.0,
            "finish": 0.5,
        }
        row: dict[str, object] = dict.fromkeys(SWING_COLUMNS, np.nan)
        row |= {"swing": number, "kind": "ball", "start_s": impact - 2, "end_s": impact + 1}
        for event in EVENTS:
            row[f"{event}_s"] = impact + events[event]
            row[f"{event}_s_se"] = 0.001
            row[f"{event}_club_clock_us"] = (impact + events[event]) * 1e6
        values = {
            "backswing_ms": 1e3 * backswing,
            "downswing_ms": 1e3 * downswing,
            "tempo_ratio": backswing / downswing,
            "overlap_ms": 12 + 4 * random.standard_normal(),
            "release_ms": 1e3 * release,
            "release_onset_ms": 1e3 * release + 40,
            "hinge_max_deg": greatest,
            "hinge_at_top_deg": greatest - 4,
            "hinge_at_impact_deg": at_impact,
            "clubhead_speed_m_s": 41 + 0.8 * random.standard_normal(),
        }
        for metric in METRICS:
            if metric.name in values:
                value = values[metric.name]
            else:
                middle = 0.5 * (metric.low + metric.high)
                width = 0.03 * (metric.high - metric.low)
                value = middle + width * random.standard_normal()
            row[metric.name] = value
            row[metric.se_name] = abs(value) * 0.01
            row[metric.se_swing_name] = abs(value) * 0.005
        row |= {"order_of_peaks": "arm, club", "quality": "good", "notes": ""}
        rows.append(row)
    if count > 4:
        rows[3] |= {"quality": "fair", "notes": "7 samples lost near the top"}
    return Analysis(
        recording_id=f"{seed:064x}",
        version="0.1.0",
        handedness="right",
        settings={},
        swings=pd.DataFrame(rows, columns=list(SWING_COLUMNS)),
        curves=pd.concat(curves, ignore_index=True)[list(CURVE_COLUMNS)],
        calibration={},
        clock={},
        rejected=pd.DataFrame(columns=["start_s", "end_s", "reason"]),
    )

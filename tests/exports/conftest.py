"""An invented analysis with the columns of the real one, for tests of what is written from it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from imu.columns import CURVE_COLUMNS, EVENTS, METRICS, SWING_COLUMNS
from imu.settings import AnalysisSettings
from imu.types import Analysis

CENTRES = {
    "backswing_ms": (780.0, 18.0),
    "downswing_ms": (262.0, 7.0),
    "overlap_ms": (24.0, 6.0),
    "release_ms": (71.0, 5.0),
    "release_onset_ms": (96.0, 7.0),
    "release_arm_angle_deg": (62.0, 4.0),
    "lag_at_parallel_deg": (74.0, 3.0),
    "hinge_max_deg": (101.0, 2.4),
    "hinge_at_top_deg": (92.0, 2.5),
    "hinge_at_impact_deg": (19.0, 2.1),
    "wrist_share": (0.84, 0.03),
    "plane_shift_deg": (7.0, 2.0),
    "clubhead_speed_m_s": (37.4, 0.7),
    "waggle_count": (2.0, 0.0),
}


def invented_analysis(count: int = 14, seed: int = 7) -> Analysis:
    """``count`` swings, the last a practice swing, swing 3 with a number missing."""
    random = np.random.default_rng(seed)
    impact = 20.0 + 25.0 * np.arange(count)
    columns: dict[str, Any] = {
        "swing": np.arange(1, count + 1),
        "kind": ["ball"] * (count - 1) + ["practice"],
        "start_s": impact - 3.0,
        "end_s": impact + 2.0,
        "order_of_peaks": "arm hinge club",
        "quality": "good",
        "notes": "",
    }
    for event, before in zip(EVENTS, (1.04, 0.286, 0.262, 0.071, 0.05, 0.0, -0.5), strict=True):
        columns[f"{event}_s"] = impact - before
        columns[f"{event}_s_se"] = 0.001
        columns[f"{event}_club_clock_us"] = (impact - before) * 1e6 + 5_000_000_000.0
    for metric in METRICS:
        centre, sd = CENTRES.get(metric.name, ((metric.low + metric.high) / 2, 0.0))
        sd = sd or 0.03 * (metric.high - metric.low)
        columns[metric.name] = random.normal(centre, sd, count)
        columns[metric.se_name] = 0.2 * sd
        columns[metric.se_swing_name] = 0.1 * sd
    columns["tempo_ratio"] = columns["backswing_ms"] / columns["downswing_ms"]
    swings = pd.DataFrame(columns)[list(SWING_COLUMNS)]
    swings.loc[2, "overlap_ms"] = np.nan
    swings.loc[2, "notes"] = "overlap: the arm's change of direction fell in a gap"

    pieces = []
    for number, at in zip(swings["swing"], impact, strict=True):
        time = np.arange(-1.2, 0.4, 0.005)
        release = swings.loc[number - 1, "release_ms"] / 1000.0
        opened = 1.0 / (1.0 + np.exp(-(time + 0.45 * release) / 0.022))
        cocked = 1.0 / (1.0 + np.exp(-(time + 0.6) / 0.08))
        hinge = 18.0 + 80.0 * cocked * (1.0 - opened) + 0.8 * random.normal()
        piece = dict.fromkeys(CURVE_COLUMNS, np.zeros(len(time))) | {
            "swing": np.full(len(time), number),
            "t_s": time + at,
            "t_club_clock_us": (time + at) * 1e6,
            "t_from_impact_s": time,
            "hinge_deg": hinge,
            "hinge_se_deg": np.full(len(time), 0.8),
            "hinge_rate_deg_s": np.gradient(hinge, time),
            "club_rate_deg_s": 1900.0 * np.exp(-((time / 0.09) ** 2)) - 200 * cocked,
            "arm_rate_deg_s": 800.0 * np.exp(-(((time + 0.06) / 0.12) ** 2)) - 150 * cocked,
            "arm_qw": np.ones(len(time)),
            "club_qw": np.ones(len(time)),
            "reconstructed": np.abs(time) < 0.004,
        }
        pieces.append(pd.DataFrame(piece))
    rejected = pd.DataFrame(
        {"start_s": [5.0], "end_s": [6.5], "reason": ["waggle: the club never went back"]}
    )
    return Analysis(
        recording_id="0123456789abcdef",
        version="0.1.0",
        handedness="right",
        settings=AnalysisSettings().as_dict(),
        swings=swings,
        curves=pd.concat(pieces, ignore_index=True),
        calibration={"forearm_mounting_deg": np.array([1.0, 2.0]), "residual_m_s2": np.nan},
        clock={"offset_ms": np.float64(3.2), "offset_se_ms": 0.3},
        rejected=rejected,
        warnings=("The gyro of the club clipped in 3 swings.",),
    )


@pytest.fixture
def analysis() -> Analysis:
    return invented_analysis()

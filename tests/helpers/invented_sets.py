"""Invented sets: swing tables with the columns of ``imu.columns``, from a seed, without a golfer.

Every metric is drawn by itself, so that what a test builds in is all that there is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from imu.columns import EVENTS, METRICS
from imu.types import Analysis, Club, Manifest, Player
from imu.variation.sets import SwingSet, pool

TYPICAL: dict[str, tuple[float, float]] = {
    "backswing_ms": (820, 25),
    "downswing_ms": (260, 10),
    "tempo_ratio": (3.1, 0.12),
    "overlap_ms": (30, 8),
    "release_ms": (75, 6),
    "release_onset_ms": (120, 8),
    "release_arm_angle_deg": (62, 4),
    "lag_at_parallel_deg": (70, 4),
    "hinge_max_deg": (98, 3),
    "hinge_at_top_deg": (90, 3),
    "hinge_at_impact_deg": (22, 3),
    "hinge_at_impact_from_address_deg": (2, 3),
    "wrist_share": (0.85, 0.04),
    "plane_shift_deg": (6, 3),
    "near_line_m": (0.6, 0.05),
    "near_line_ms": (13, 1),
    "peak_hinge_rate_deg_s": (1300, 60),
    "peak_hinge_rate_ms": (12, 3),
    "peak_club_rate_deg_s": (2300, 60),
    "peak_club_rate_ms": (8, 2),
    "peak_arm_rate_deg_s": (950, 40),
    "peak_arm_rate_ms": (70, 6),
    "clubhead_speed_m_s": (42, 0.8),
    "closure_deg": (3, 4),
    "closure_rate_deg_s": (1500, 150),
    "address_time_s": (6, 1.5),
    "waggle_count": (2, 0.8),
}
"""Mean and SD of the invented player's metrics; of others the middle of the plausible range."""

NOISE_SHARE = 0.2
"""Standard error of every metric, as a part of its SD."""


def swing_table(
    count: int,
    seed: int,
    sd_factor: float | Mapping[str, float] = 1.0,
    shift: Mapping[str, float] | None = None,
    first_start_s: float = 20.0,
) -> pd.DataFrame:
    """A swing table of ``count`` ball swings with independent normal metrics."""
    generator = np.random.default_rng(seed)
    start = first_start_s + 20.0 * np.arange(count)
    columns: dict[str, Any] = {
        "swing": np.arange(1, count + 1),
        "kind": "ball",
        "start_s": start,
        "end_s": start + 4,
    }
    shift = shift or {}
    for metric in METRICS:
        usual = ((metric.low + metric.high) / 2, 0.05 * (metric.high - metric.low))
        mean, sd = TYPICAL.get(metric.name, usual)
        factor = sd_factor if isinstance(sd_factor, float) else sd_factor.get(metric.name, 1.0)
        values = mean + shift.get(metric.name, 0.0) + factor * sd * generator.standard_normal(count)
        columns[metric.name] = values
        columns[metric.se_name] = np.full(count, NOISE_SHARE * sd)
    impact = start + 2.0
    before = {
        "takeaway": (columns["backswing_ms"] + columns["downswing_ms"]) / 1e3,
        "arm_top": (columns["downswing_ms"] + columns["overlap_ms"]) / 1e3,
        "club_top": columns["downswing_ms"] / 1e3,
        "release": columns["release_ms"] / 1e3,
        "shaft_parallel": np.full(count, 0.05),
        "impact": np.zeros(count),
        "finish": np.full(count, -0.5),
    }
    for event in EVENTS:
        columns[f"{event}_s"] = impact - before[event]
        columns[f"{event}_s_se"] = np.full(count, 0.0005)
        columns[f"{event}_club_clock_us"] = np.round(1e6 * columns[f"{event}_s"])
    columns.update(order_of_peaks="arm, hinge, club", quality="good", notes="")
    return pd.DataFrame(columns)


def curve_table(
    swings: pd.DataFrame, seed: int, noise_deg: float = 0.3, step: float = 0.002
) -> pd.DataFrame:
    """Smooth invented curves whose hinge opens at each swing's own release and impact hinge."""
    generator = np.random.default_rng(seed)
    pieces = []
    for row in swings.itertuples():
        time = np.arange(-1.3, 0.2, step)
        release = row.release_ms / 1e3
        opening = 1 / (1 + np.exp(-(time + release / 2) / 0.012))
        folding = 1 / (1 + np.exp(-(time + row.downswing_ms / 1e3 + 0.25) / 0.07))
        hinge = 15 + (row.hinge_max_deg - 15) * folding
        hinge = hinge + (row.hinge_at_impact_deg - hinge) * opening
        hinge = hinge + noise_deg * generator.standard_normal()
        club = row.peak_club_rate_deg_s * np.exp(-((time / 0.08) ** 2))
        arm = row.peak_arm_rate_deg_s * np.exp(-(((time + 0.07) / 0.1) ** 2))
        tilt = 0.5 * np.radians(hinge)
        nothing = np.zeros(len(time))
        pieces.append(
            pd.DataFrame(
                {
                    "swing": row.swing,
                    "t_s": row.impact_s + time,
                    "t_from_impact_s": time,
                    "hinge_deg": hinge,
                    "hinge_rate_deg_s": np.gradient(hinge, step),
                    "arm_rate_deg_s": arm,
                    "club_rate_deg_s": club,
                    "plane_inclination_deg": 55 + 0.1 * hinge,
                    "club_qw": np.cos(tilt),
                    "club_qx": np.sin(tilt),
                    "club_qy": nothing,
                    "club_qz": nothing,
                }
            )
        )
    return pd.concat(pieces, ignore_index=True)


def analysis_of(swings: pd.DataFrame, recording_id: str, curves: bool = False) -> Analysis:
    """The swing table as an analysis."""
    return Analysis(
        recording_id=recording_id,
        version="test",
        handedness="right",
        settings={},
        swings=swings,
        curves=curve_table(swings, 5) if curves else pd.DataFrame(),
        calibration={},
        clock={},
        rejected=pd.DataFrame(),
    )


def manifest_of(
    block: str = "practice",
    session: str = "spring",
    day: str = "2026-03-01",
    hour: int = 10,
    player: str = "Ada Fairway",
    club: str = "7 iron",
    length: float = 0.94,
) -> Manifest:
    """Who, what and when."""
    return Manifest(
        player=Player(player),
        club=Club(club, length),
        name=f"{block} {day} {hour}",
        session=session,
        block=block,
        recorded_at=f"{day}T{hour:02d}:00:00+00:00" if day else "",
    )


def swing_set(
    count: int,
    seed: int,
    block: str = "practice",
    name: str = "",
    curves: bool = False,
    sd_factor: float | Mapping[str, float] = 1.0,
    shift: Mapping[str, float] | None = None,
    **context: Any,
) -> SwingSet:
    """One recording as a set."""
    swings = swing_table(count, seed, sd_factor, shift)
    manifest = manifest_of(block, **context)
    everything = pool([(manifest, analysis_of(swings, f"rec-{block}-{seed}", curves), None)])
    return SwingSet(name or block, everything.swings, everything.curves)

"""Agreement with the simulator's own reading of its exact paths, written independently.

The simulator differentiates smooth formulas; the measurement sees only sampled orientations.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imu.settings import AnalysisSettings
from imu.simulate.session import SessionPlan, simulate_session
from imu.swings.measure import measure_swing
from imu.types import Club, Motion, SwingWindow

TOLERANCE = {
    "backswing_ms": 1.5, "downswing_ms": 0.6, "overlap_ms": 0.6, "tempo_ratio": 0.02,
    "release_ms": 0.1, "release_onset_ms": 0.5, "release_arm_angle_deg": 0.1,
    "lag_at_parallel_deg": 0.02, "hinge_max_deg": 0.02, "hinge_at_top_deg": 0.1,
    "hinge_at_impact_deg": 0.05, "hinge_at_impact_from_address_deg": 0.3, "wrist_share": 0.03,
    "plane_shift_deg": 0.4, "near_line_m": 0.005, "near_line_ms": 0.1,
    "peak_hinge_rate_deg_s": 3.0, "peak_hinge_rate_ms": 0.8, "peak_club_rate_deg_s": 3.0,
    "peak_club_rate_ms": 0.8, "peak_arm_rate_deg_s": 3.0, "peak_arm_rate_ms": 0.8,
    "clubhead_speed_m_s": 0.05, "closure_deg": 0.4, "closure_rate_deg_s": 10.0,
    "address_time_s": 0.01, "waggle_count": 0.0,
}  # fmt: skip


def test_every_metric_agrees_with_the_exact_paths(rates):
    plan = SessionPlan(actions=("stand", "ball", "practice", "ball", "ball"))
    truth = simulate_session(plan, "clean", 5).truth
    club = Club("club", truth.data["club_length_m"], truth.data["wrist_from_butt_m"])
    for swing in truth.swings:
        curves = truth.curves[truth.curves["swing"] == swing["swing"]]
        time = curves["t_s"].to_numpy()
        segments = [
            Rotation.from_quat(
                curves[[f"{name}_q{part}" for part in "wxyz"]].to_numpy(), scalar_first=True
            )
            for name in ("arm", "club")
        ]
        step = float(time[1] - time[0])
        motion = Motion(
            time, *segments, *[rates(segment, step) for segment in segments],
            np.zeros(len(time), dtype=bool),
        )  # fmt: skip
        events, values = swing["events_s"], swing["values"]
        window = SwingWindow(
            start=time[0],
            end=time[-1],
            kind=swing["kind"],
            takeaway=events["takeaway"],
            top=events["club_top"],
            impact=events["impact"],
            impact_se=1e-3,
            finish=events["finish"],
            waggles=int(values["waggle_count"]),
            settled=events["takeaway"] - values["address_time_s"],
        )
        found = measure_swing(
            motion, window, club, truth.data["arm_length_m"], AnalysisSettings()
        ).metrics
        assert set(found) == set(TOLERANCE)
        for name, tolerance in TOLERANCE.items():
            assert found[name] == pytest.approx(values[name], abs=tolerance), name

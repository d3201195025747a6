"""Two humps of nearly equal height leave the time of a peak in doubt, and this is said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imu.settings import AnalysisSettings
from imu.swings.measure import measure_swing
from imu.swings.rivals import rival_errors
from imu.types import BALL, Club, SwingWindow
from imu.units import DEG

SETTINGS = AnalysisSettings()
CLUB = Club("club", 1.0)


def humped(planar, second: float):
    """A planar swing whose arm rate peaks at 130 and 70 ms before impact."""
    time = np.arange(0.0, 2.5, 0.001)
    impact, down = 2.0, 0.25
    since = time - (impact - down)
    forward = np.where(
        since > 0.0,
        12.0 * np.exp(-(((since - 0.12) / 0.022) ** 2))
        + second * np.exp(-(((since - 0.18) / 0.022) ** 2))
        + 20.0 * np.clip(since, 0.0, 0.05),
        0.0,
    )
    back = np.where((since > -0.8) & (since <= 0.0), -4.0 * np.sin(math.pi * since / 0.8) ** 2, 0.0)
    rate = (forward + back) * (time < impact + 0.1)
    angle = np.cumsum(rate) * 0.001
    angle -= np.interp(impact, time, angle)
    motion = planar(time, angle, angle, rate, rate, 60 * DEG)
    window = SwingWindow(0.0, 2.5, BALL, 0.95, impact - down, impact, 1e-4, 2.1)
    return measure_swing(motion, window, CLUB, 0.6, SETTINGS)


def test_equal_humps_leave_half_the_distance(planar):
    found = humped(planar, 12.0)
    doubt = rival_errors(found, {"peak_arm_rate_deg_s": 10.0})
    assert doubt["peak_arm_rate_ms"] == pytest.approx(60.0 * math.sqrt(0.5), abs=4.0)


def test_a_clear_peak_leaves_no_doubt(planar):
    found = humped(planar, 9.0)
    assert found.metrics["peak_arm_rate_ms"] == pytest.approx(130.0, abs=1.0)
    doubt = rival_errors(found, {"peak_arm_rate_deg_s": 10.0})
    assert doubt["peak_arm_rate_ms"] < 0.01


def test_a_rival_within_the_error_counts_by_its_chance(planar):
    found = humped(planar, 11.8)
    lacking = 0.2 / DEG
    doubt = rival_errors(found, {"peak_arm_rate_deg_s": lacking})
    # The rival lies one standard error lower: Φ(−1) = 0.1587 (normal table).
    assert doubt["peak_arm_rate_ms"] == pytest.approx(60.0 * math.sqrt(0.1587), abs=3.0)

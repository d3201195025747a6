"""Where impact is put in a swing without a ball."""

import numpy as np
import pytest

from imu.settings import AnalysisSettings
from imu.swings.measure import measure_swing
from imu.swings.practice import ReturnLead, as_if_struck, return_lead
from imu.types import BALL, PRACTICE, Club, SwingWindow
from imu.units import DEG

SETTINGS = AnalysisSettings()
NO_LEAD = ReturnLead(0.0, 0.003, 0)


def _swing(planar, stops_at: float):
    """Back to -120 deg and forward to ``stops_at`` (rad), smoothly; address at 0."""
    time = np.arange(0.0, 2.5, 0.001)
    top = -120.0 * DEG
    back = np.clip((time - 0.5) / 0.8, 0.0, 1.0)
    down = np.clip((time - 1.3) / 0.4, 0.0, 1.0)
    ease = [u * u * u * (10.0 - 15.0 * u + 6.0 * u * u) for u in (back, down)]
    angle = top * ease[0] + (stops_at - top) * ease[1]
    rate = np.gradient(angle, time)
    return planar(time, angle, angle, rate, rate, 50.0 * DEG)


def _window(kind: str, impact: float) -> SwingWindow:
    return SwingWindow(0.0, 2.4, kind, 0.5, 1.3, impact, 0.001, 2.0)


def test_impact_is_where_the_shaft_is_back_at_its_address_direction(planar):
    motion = _swing(planar, 60.0 * DEG)
    placed, remark = as_if_struck(motion, _window(PRACTICE, 1.5), SETTINGS, NO_LEAD)
    down = motion.time > 1.4
    shaft = motion.club.as_matrix()[:, :, 1]
    nearest = motion.time[down][np.argmax((shaft @ shaft[0])[down])]
    assert placed.kind == BALL
    assert placed.impact == pytest.approx(nearest, abs=0.002)
    assert "return to its address direction" in remark


def test_a_swing_that_stops_short_of_address_says_so_and_is_hardly_known(planar):
    motion = _swing(planar, -25.0 * DEG)
    window = _window(PRACTICE, 1.5)
    placed, remark = as_if_struck(motion, window, SETTINGS, NO_LEAD)
    assert placed.kind == PRACTICE
    assert placed.impact == window.impact
    assert placed.impact_se > 10.0 * window.impact_se
    assert remark == "no ball"
    found = measure_swing(motion, placed, Club("club", 0.95), 0.6, SETTINGS)
    assert "did not return" in found.notes["impact"]
    assert "greatest club rate stands in" in found.notes["impact"]


def test_the_usual_lead_comes_from_strikes_that_can_be_compared(planar):
    full, short = _swing(planar, 60.0 * DEG), _swing(planar, -25.0 * DEG)
    home = as_if_struck(full, _window(PRACTICE, 1.5), SETTINGS, NO_LEAD)[0].impact
    struck = _window(BALL, home - 0.004)
    usual = return_lead([full] * 4 + [short], [struck] * 5, SETTINGS)
    assert usual.strikes == 4
    assert usual.lead == pytest.approx(0.004, abs=1e-6)
    few = return_lead([full] * 2, [struck] * 2, SETTINGS)
    assert few.lead == 0.0


@pytest.mark.parametrize(("lead", "said"), [(0.0034, "less 3.4 ms"), (-0.0021, "plus 2.1 ms")])
def test_the_remark_says_which_way_impact_was_moved(planar, lead, said):
    usual = ReturnLead(lead, 0.001, 5)
    _, remark = as_if_struck(_swing(planar, 60.0 * DEG), _window(PRACTICE, 1.5), SETTINGS, usual)
    assert f"{said} as in this recording's strikes" in remark

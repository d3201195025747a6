"""What lowers a swing's grade, and how it is said. Grades and limits are definitions of ours."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from imu.columns import METRIC_BY_NAME
from imu.fusion.setup_finding import SetupFinding
from imu.swings.quality import FAIR, GOOD, POOR, Quality, judge, judge_setup, missing_in_words
from imu.types import BALL, SwingWindow

WINDOW = SwingWindow(0.0, 3.0, BALL, 0.6, 1.4, 1.7, 1e-3, 2.2)
USUAL = {"downswing_ms": 300.0, "release_ms": 70.0, "hinge_max_deg": 95.0}


def graded(bridged: float = 0.0, misfit: float = 1.0, hinge_se: float = 1.0, **metrics) -> Quality:
    time = np.arange(0.0, 3.0, 0.001)
    motion = SimpleNamespace(
        time=time, reconstructed=np.abs(time - 1.5005 - 0.5 * bridged) < 0.5 * bridged
    )
    measured = SimpleNamespace(metrics={**USUAL, **metrics})
    return judge(motion, WINDOW, measured, {"hinge_max_deg": hinge_se}, misfit)  # type: ignore[arg-type]


def test_a_usual_swing_is_good_and_nothing_is_said() -> None:
    assert graded() == Quality(GOOD, ())


@pytest.mark.parametrize(
    ("fault", "grade", "said"),
    [
        ({"bridged": 0.02}, FAIR, "20 ms of the downswing bridged"),
        ({"bridged": 0.1}, POOR, "of the downswing lost or clipped"),
        ({"misfit": 2.0}, FAIR, "agree less well"),
        ({"misfit": 4.0}, POOR, "do not agree"),
        ({"misfit": math.nan}, POOR, "could nowhere be compared"),
        ({"hinge_se": 6.0}, POOR, "hinge uncertain by 6°"),
        ({"release_ms": math.nan}, POOR, "release before impact could not be measured"),
        ({"hinge_max_deg": math.nan}, POOR, "greatest hinge could not be measured"),
        ({"bridged": 0.02, "misfit": 4.0}, POOR, "do not agree"),
        ({"bridged": 0.1, "misfit": 2.0}, POOR, "agree less well"),
    ],
)
def test_each_fault_lowers_the_grade_and_says_why(fault, grade: str, said: str) -> None:
    found = graded(**fault)
    assert found.grade == grade
    assert any(said in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("release_arm_angle_deg", 18.44, "arm angle at release 18.4° is outside"),
        ("backswing_ms", 1452.3, "backswing time 1452 ms is outside the usual 500 to 1400 ms"),
        ("closure_rate_deg_s", -612.0, "shaft roll rate at impact −612 °/s is outside"),
        ("wrist_share", 1.735, "wrist share of speed after parallel 1.74 is outside"),
    ],
)
def test_an_unusual_number_is_said_in_plain_figures_and_costs_no_grade(
    name: str, value: float, said: str
) -> None:
    found = graded(**{name: value})
    assert found.grade == GOOD
    assert len(found.reasons) == 1
    assert found.reasons[0].startswith(said)


def test_a_fault_of_the_set_up_lowers_the_grade_no_further_than_it_says() -> None:
    loose = SetupFinding("loose sensor", "", "", "", (1,), "fair")
    harmless = SetupFinding("declared arm length contradicted", "", "", "")
    assert judge_setup(Quality(GOOD, ()), [loose, harmless]) == Quality(
        FAIR, ("loose sensor, see the warnings",)
    )
    assert judge_setup(Quality(POOR, ("why",)), [loose]).grade == POOR


def test_missing_numbers_are_called_by_their_labels_each_reason_once() -> None:
    late = "no change of direction before impact"
    said = missing_in_words({"backswing_ms": late, "club_top": late, "wrist_share": "no gain"})
    assert said == [
        f"backswing time, club top: {late}",
        f"{METRIC_BY_NAME['wrist_share'].label.lower()}: no gain",
    ]
    assert missing_in_words({}) == []

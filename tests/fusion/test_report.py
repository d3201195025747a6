"""The fit in plain values and words: what it rests on, and what would make it better."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from imu.fusion.parts import SolvedParts, solve_parts
from imu.fusion.report import describe_fit, describe_parts
from imu.fusion.rest import rest_spells
from imu.fusion.samples import SENSORS, cut_swing
from imu.recordings.synchronise import align
from imu.simulate.session import SessionPlan, simulate_session
from imu.swings.find import find_swings
from imu.types import CLUB, FOREARM, Manifest


def solved(first: str) -> tuple[SolvedParts, Manifest]:
    plan = SessionPlan(actions=(first, "ball", "ball"))
    recording = simulate_session(plan, "typical", 17).recording
    aligned = align(recording)
    windows = find_swings(aligned).swings
    cut = [samples for w in windows if (samples := cut_swing(aligned, w, 0.004)) is not None]
    return solve_parts(aligned, cut, range(1, len(cut) + 1), recording.manifest), recording.manifest


@pytest.fixture(scope="module")
def plain() -> tuple[SolvedParts, Manifest]:
    return solved("stand")


def test_the_calibration_is_plain_json_with_every_value_known(plain) -> None:
    told = describe_parts(plain[0].parts, plain[1])
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    for role in SENSORS:
        matrix = np.array(told["sensors"][role]["sensor_to_segment"])
        np.testing.assert_allclose(matrix @ matrix.T, np.eye(3), atol=1e-9)
        assert np.linalg.det(matrix) == pytest.approx(1.0)
        # A segment's y runs towards the body, against its distal long axis (imu.types).
        np.testing.assert_allclose(matrix[1], -np.array(told["sensors"][role]["long_axis"]))


def test_what_was_not_done_is_advised_and_what_was_done_is_not(plain) -> None:
    advice = {FOREARM: "turning the palm up and down", CLUB: "rolling it between the fingers"}
    words = " ".join(describe_parts(plain[0].parts, plain[1])["words"])
    assert all(one in words for one in advice.values())
    rolled = " ".join(describe_parts(solved("calibrate")[0].parts, plain[1])["words"])
    assert not any(one in rolled for one in advice.values())
    assert "rolling about itself" in rolled


def test_a_sensor_never_at_rest_is_told(plain) -> None:
    parts, manifest = plain
    nothing = rest_spells([], np.empty((0, 3)), np.empty((0, 3)))
    restless = replace(parts.main, rests={**parts.main.rests, CLUB: nothing})
    words = describe_fit(restless, manifest)["words"]
    assert next(one for one in words if "never at rest" in one).startswith("club: ")
    assert not any("forearm: never" in one for one in words)


def test_of_several_parts_the_one_with_most_swings_speaks_for_the_session(plain) -> None:
    main, manifest = plain[0].main, plain[1]
    other = replace(main, fit=replace(main.fit, converged=False))
    told = describe_parts([(other, (1,)), (main, (2, 3, 4))], manifest)
    assert told["converged"]
    assert [part["swings"] for part in told["parts"]] == [[1], [2, 3, 4]]
    assert any("had not settled" in one for one in told["parts"][0]["words"])
    assert not any("had not settled" in one for one in told["words"])

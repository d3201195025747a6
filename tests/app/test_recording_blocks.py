"""The record page's checklist says what to hit, what is done, and what comes next."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from planned_recordings import PLAN, swing_at

from app.components.recording_blocks import (
    blocks_shown,
    chosen_words,
    rest_left_s,
    steps_shown,
)
from app.components.recording_card import found_words, labels_of, swing_card, swing_strip
from app.recording_setup import start_arguments
from imu.recordings.notes import RecordingNotes
from imu.recordings.saved_sets import SavedPlan
from imu.variation.blocks import BlockSwing, begin, pass_over, standing
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan


def texts(part: Any) -> str:
    return json.dumps(part, default=lambda one: one.to_plotly_json(), ensure_ascii=False)


def shown(plan: Any, *seconds: float) -> tuple[str, list[tuple[str, int]]]:
    """Words shown, and the steps offered."""
    stand = standing(plan, [BlockSwing(one * 1e6) for one in seconds])
    steps = [(one.id["do"], one.id["number"]) for one in steps_shown(plan, stand)]
    return texts(blocks_shown(plan, stand)), steps


def test_before_the_first_block_a_warm_up_is_asked_for() -> None:
    words, steps = shown(PLAN, 1.0)
    assert "Warm up, then block 1 of 4: practice" in words and "Build up speed" in words
    assert steps == [("begin", 1), ("pass over", 1)]


def test_the_block_at_hand_is_marked_with_its_count() -> None:
    words, steps = shown(begin(PLAN, 1, 0, []), 10.0)
    assert "Block 1 of 4: practice" in words and '"1 of 2"' in words
    assert words.count('"aria-current": "step"') == 1
    assert steps == [("pass over", 1)]


def test_a_full_block_asks_for_rest_and_offers_the_next() -> None:
    words, steps = shown(begin(PLAN, 1, 0, []), 10.0, 20.0, 30.0)
    assert "Rest, then block 2 of 4: pressure" in words and "Fatigue" in words
    assert "1 swing since then lies in no block" in words
    assert steps == [("begin", 2), ("pass over", 2)]


def test_what_was_passed_over_can_be_taken_back() -> None:
    words, steps = shown(pass_over(begin(PLAN, 1, 0, []), 1, 5e6, []))
    assert "passed over" in words and ("back", 0) in steps


def test_the_rest_runs_from_the_end_of_the_block() -> None:
    plan = begin(PLAN, 1, 0, [])
    swings = [swing_at(10.0, host_ns=0), swing_at(20.0, host_ns=0)]
    stand = standing(plan, [BlockSwing(10e6), BlockSwing(20e6)])
    left = rest_left_s(stand, [swing_at(20.0)])
    assert left == pytest.approx(90.0)
    assert rest_left_s(standing(plan, []), []) is None
    assert rest_left_s(standing(PLAN, []), swings) is None


def test_a_swing_is_set_beside_those_of_its_kind_of_block() -> None:
    swings = [
        swing_at(10.0 * n, number=n, metrics={"tempo_ratio": [tempo, 0.01]})
        for n, tempo in enumerate((2.9, 3.0, 5.0, 5.1, 5.2, 5.3, 3.1, 3.2), start=1)
    ]
    plan = PLAN
    for number, at in ((1, 0.0), (2, 25e6), (3, 45e6), (4, 65e6)):
        plan = begin(plan, number, at, [BlockSwing(s["impact_club_clock_us"]) for s in swings])
    notes = RecordingNotes(plan=plan)
    kinds = ["practice", *3 * ["pressure"]]
    assert labels_of(swings, notes)[1:5] == kinds
    words = texts(swing_card(swings[-1], swings, notes))
    assert "2.0 SD above the mean" in words and "practice" in words
    assert "pressure" in texts(swing_strip(swings, 1, notes)[3])


def test_the_session_of_a_plan_is_told_before_starting() -> None:
    limits = Limits(set_at="2026-04-01T09:00:00+02:00")
    layout = alternating_plan(limits, swings_per_set=12, most_per_block=3, most_per_session=12)
    plan = SavedPlan("april-test", limits, layout.as_dict())
    words = texts(chosen_words(plan, 2))
    assert "4 blocks, 12 swings" in words and "3 pressure, 3 practice" in words
    assert "Recorded already" not in words
    again = texts(chosen_words(plan, 2, ["2026-04-02", "2026-04-09"]))
    assert "Recorded already, on 2026-04-02, 2026-04-09; another recording adds to it." in again
    assert "90 s of rest" in words and "set on 2026-04-01" in words and "Order:" in words


def test_a_plan_names_the_blocks_itself() -> None:
    arguments = start_arguments(
        "Robin", "right", "7-iron", 94, "practice", "", None, None, False, "april-test", "2"
    )
    assert arguments[-4:] == [
        "--plan=april-test",
        "--plan-session=2",
        "--club-length=94",
        "--step-by-hand",
    ]
    assert not any(one.startswith("--block") for one in arguments)
    none = start_arguments("", "right", "", 94, "practice", "", None, None, False, None, "2")
    assert "--block=practice" in none and not any("plan" in one for one in none)


def test_a_finished_plan_tells_its_totals() -> None:
    plan, swings = PLAN, []
    for place, block in enumerate(PLAN.blocks):
        plan = begin(plan, block.number, 100e6 * place, swings)
        swings += [BlockSwing(100e6 * place + 10e6), BlockSwing(100e6 * place + 20e6)]
    words, steps = shown(plan, *(one.impact_club_clock_us / 1e6 for one in swings))
    assert "The plan is complete" in words and "4 practice, 4 pressure" in words
    assert "Day: one day" in words and steps == []
    assert replace(plan, marks=()).labels == ()


def test_of_a_sensor_near_only_what_is_known_is_said() -> None:
    known = {"serial": "S1", "role": "club", "battery_percent": 0, "signal_dbm": -60}
    assert texts(found_words({**known, "rate_hz": 1000, "problem": ""})).endswith(
        '" on the club, battery 0 %, signal -60 dBm, 1000 Hz. "]'
    )
    silent = {"serial": "S2", "role": "", "battery_percent": None, "signal_dbm": None}
    said = texts(found_words({**silent, "problem": "did not answer"}))
    assert "None" not in said and "?" not in said and "did not answer" in said

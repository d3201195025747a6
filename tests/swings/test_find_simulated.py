"""Movements the practice sessions lack: half swings, chips, quick pairs, drops, taking off."""

from __future__ import annotations

import numpy as np
import pytest

from imu.recordings.synchronise import align
from imu.simulate.session import SessionPlan, simulate_session
from imu.swings.find import find_swings
from imu.types import BALL, CLUB, Player

ACTIONS = (
    "stand", "ball", "chip", "drop", "half", "quick_pair", "twirl", "chip", "rehearsal",
    "practice", "walk", "point", "half", "tap", "ball", "chip", "take_off",
)  # fmt: skip


@pytest.mark.parametrize(
    ("profile", "handedness", "restless", "seed"),
    [("good", "right", 1.0, 101), ("typical", "left", 3.0, 102), ("harsh", "right", 1.0, 103)],
)
def test_any_order_of_anything(profile, handedness, restless, seed):
    plan = SessionPlan(actions=ACTIONS, player=Player("", handedness), restless=restless)
    session = simulate_session(plan, profile, seed)
    aligned = align(session.recording)
    found = find_swings(aligned).swings
    truths = [*session.truth.data["swings"], *session.truth.data["partial_swings"]]
    truths.sort(key=lambda truth: truth["events_s"]["impact"])
    assert [window.kind for window in found] == [truth["kind"] for truth in truths]
    clock = aligned.clocks[CLUB]
    misses = []
    for window, truth in zip(found, truths, strict=True):
        impact = clock.to_recording(truth["events_club_clock_us"]["impact"] * 1e-6)
        takeaway = clock.to_recording(truth["events_club_clock_us"]["takeaway"] * 1e-6)
        assert abs(window.impact - impact) < 0.08
        # The sway of a player who never stands still runs into the takeaway.
        assert abs(window.takeaway - takeaway) < (0.08 if restless == 1.0 else 0.3)
        if truth["kind"] == BALL:
            misses.append((window.impact - impact) / window.impact_se)
    # Stated errors are neither wishful nor idle.
    assert np.max(np.abs(misses)) < 3.5
    assert 0.2 < np.sqrt(np.mean(np.square(misses))) < 1.6


def test_waggles_and_time_over_the_ball():
    plan = SessionPlan(actions=("stand", *["ball"] * 5), waggle_chance=1.0)
    session = simulate_session(plan, "good", 7)
    found = find_swings(align(session.recording)).swings
    for window, truth in zip(found, session.truth.swings, strict=True):
        assert window.waggles == truth["values"]["waggle_count"]
        over = window.takeaway - window.settled
        assert over == pytest.approx(truth["values"]["address_time_s"], abs=0.6)

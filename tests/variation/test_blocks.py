"""Which block of a plan is at hand follows from the marks and the swings alone."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.variation.blocks import (
    AT_HAND,
    BETWEEN,
    DONE,
    PASSED_OVER,
    TO_COME,
    WARM_UP,
    BlockSwing,
    FollowedPlan,
    PlannedBlock,
    begin,
    block_labels,
    ended_when_full,
    followed_from_dict,
    pass_over,
    standing,
    take_back,
)

BLOCKS = tuple(
    PlannedBlock(number, 1, label, 3, 90 if number > 1 else 0)
    for number, label in enumerate(("practice", "pressure", "pressure", "practice"), start=1)
)
PLAN = FollowedPlan("april-test", 1, BLOCKS)
SECOND = 1_000_000


def at(*seconds: float, counts: bool = True) -> list[BlockSwing]:
    return [BlockSwing(one * SECOND, counts) for one in seconds]


def states(plan: FollowedPlan, swings: list[BlockSwing]) -> list[tuple[int, str]]:
    return [(row.swings, row.state) for row in standing(plan, swings).blocks]


def test_nothing_is_at_hand_before_the_first_block_is_begun() -> None:
    stand = standing(PLAN, at(1, 2))
    assert stand.at_hand is None and stand.to_begin == BLOCKS[0] and not stand.complete
    assert not stand.may_take_back
    assert block_labels(PLAN, [1e6, math.nan]) == [WARM_UP, ""]


def test_a_block_fills_up_and_the_next_waits_to_be_begun() -> None:
    warm = at(1)
    plan = begin(PLAN, 1, 5 * SECOND, warm)
    two = warm + at(10, 20)
    assert states(plan, two)[0] == (2, AT_HAND)
    three = two + at(30)
    stand = standing(plan, three)
    assert stand.at_hand is None and stand.to_begin == BLOCKS[1]
    assert stand.rest_since_us == 30_500_000
    assert [row.state for row in stand.blocks] == [DONE, TO_COME, TO_COME, TO_COME]


def test_practice_swings_and_those_left_out_fill_no_block() -> None:
    plan = begin(PLAN, 1, 0, [])
    swings = at(10, 20) + at(30, counts=False)
    assert standing(plan, swings).at_hand is not None
    assert standing(plan, swings + at(40)).at_hand is None


def test_swings_while_resting_lie_in_no_block() -> None:
    swings = at(10, 20, 30, 40)
    plan = begin(PLAN, 1, 0, [])
    assert standing(plan, swings).outside == 1
    plan = begin(plan, 2, 50 * SECOND, swings)
    swings += at(60)
    seconds = [1e6 * one for one in (10, 20, 30, 40, 60)]
    assert block_labels(plan, seconds) == [*3 * ["practice"], BETWEEN, "pressure"]
    assert states(plan, swings)[:2] == [(3, DONE), (1, AT_HAND)]


def test_leaving_a_swing_out_opens_the_block_again_while_resting() -> None:
    plan = begin(PLAN, 1, 0, [])
    swings = at(10, 20) + at(30, counts=False)
    assert states(plan, swings)[0] == (2, AT_HAND)
    assert block_labels(ended_when_full(plan, swings + at(40)), [40e6, 41e6]) == [
        "practice",
        BETWEEN,
    ]


def test_beginning_twice_begins_once() -> None:
    once = begin(PLAN, 1, 0, [])
    assert begin(once, 1, SECOND, []) == once
    assert begin(once, 2, SECOND, []) == once, "block 1 is still at hand"
    full = at(10, 20, 30)
    two = begin(once, 2, 40 * SECOND, full)
    assert begin(two, 2, 41 * SECOND, full) == two
    assert begin(two, 3, 41 * SECOND, full) == two


def test_a_block_passed_over_keeps_its_swings() -> None:
    plan = begin(PLAN, 1, 0, [])
    plan = pass_over(plan, 1, 25 * SECOND, at(10, 20))
    assert states(plan, at(10, 20))[0] == (2, PASSED_OVER)
    assert block_labels(plan, [10e6, 20e6, 26e6]) == ["practice", "practice", BETWEEN]
    assert pass_over(plan, 1, 26 * SECOND, at(10, 20)) == plan
    skipped = pass_over(plan, 2, 30 * SECOND, at(10, 20))
    assert states(skipped, at(10, 20))[1] == (0, PASSED_OVER)
    assert standing(skipped, at(10, 20)).to_begin == BLOCKS[2]


def test_taking_back_is_the_exact_inverse() -> None:
    swings = at(10, 20)
    running = begin(PLAN, 1, 0, [])
    over = pass_over(running, 1, 25 * SECOND, swings)
    assert take_back(over, swings) == running
    skipped = pass_over(over, 2, 30 * SECOND, swings)
    assert take_back(skipped, swings) == over
    begun = begin(over, 2, 30 * SECOND, swings)
    assert take_back(begun, swings) == over
    assert take_back(running, []) == PLAN


def test_a_block_taken_back_after_it_was_passed_over_takes_in_what_was_swung_since() -> None:
    over = pass_over(begin(PLAN, 1, 0, []), 1, 25 * SECOND, at(10, 20))
    since = at(10, 20, 40)
    assert standing(over, since).outside == 1 and standing(over, since).may_take_back
    back = take_back(over, since)
    assert states(back, since)[0] == (3, DONE) and standing(back, since).outside == 0


def test_no_step_back_takes_a_swing_that_counts_out_of_its_block() -> None:
    swings = at(10, 20)
    running = begin(PLAN, 1, 0, [])
    assert take_back(running, swings) == running and not standing(running, swings).may_take_back
    full = at(10, 20, 30)
    assert take_back(running, full) == running
    begun = begin(running, 2, 40 * SECOND, full)
    back = take_back(begun, full)
    assert standing(back, full).to_begin == BLOCKS[1]
    assert take_back(back, full) == back


def test_the_plan_is_complete_after_its_last_block() -> None:
    plan, swings = PLAN, []
    for place, block in enumerate(BLOCKS):
        assert not standing(plan, swings).complete
        plan = begin(plan, block.number, 100 * place * SECOND, swings)
        swings += at(*(100 * place + one for one in (10, 20, 30)))
    stand = standing(plan, swings)
    assert stand.complete and [row.state for row in stand.blocks] == 4 * [DONE]
    assert plan.labels == ("practice", "pressure")


def test_it_is_read_back_as_it_was_written() -> None:
    plan = begin(pass_over(begin(PLAN, 1, 0, []), 1, SECOND, []), 2, 2 * SECOND, [])
    assert followed_from_dict(json.loads(json.dumps(plan.as_dict()))) == plan


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("blocks", [{"number": 1}]),
        ("blocks", 3),
        ("session", "one"),
        ("marks", [{"number": 9, "from_club_clock_us": 0, "until_club_clock_us": None}]),
        ("marks", [{"number": 1, "from_club_clock_us": -1, "until_club_clock_us": None}]),
        ("marks", None),
    ],
)
def test_a_damaged_plan_is_refused(key: str, value: object) -> None:
    with pytest.raises(SwingspreadError):
        followed_from_dict({**PLAN.as_dict(), key: value})


def test_two_blocks_of_one_number_are_refused() -> None:
    twice = dataclasses.replace(PLAN, blocks=(BLOCKS[0], BLOCKS[0]))
    with pytest.raises(SwingspreadError, match="same number"):
        followed_from_dict(twice.as_dict())


steps = st.lists(st.sampled_from(["swing", "practice", "begin", "pass over", "back"]), max_size=40)


@settings(deadline=None)
@given(steps)
def test_whatever_is_done_no_block_is_overfull_and_no_swing_is_in_two(done: list[str]) -> None:
    plan, swings, now = PLAN, list[BlockSwing](), 0
    for step in done:
        now += 2 * SECOND
        stand = standing(plan, swings)
        match step:
            case "swing" | "practice":
                swings.append(BlockSwing(now, step == "swing"))
            case "begin" if stand.to_begin:
                plan = begin(plan, stand.to_begin.number, now, swings)
            case "pass over":
                one = stand.at_hand.block if stand.at_hand else stand.to_begin
                plan = pass_over(plan, one.number, now, swings) if one else plan
            case "back":
                plan = take_back(plan, swings)
    closed = ended_when_full(plan, swings)
    for block in BLOCKS:
        inside = sum(
            swing.counts and mark.holds(swing.impact_club_clock_us)
            for swing in swings
            for mark in closed.marks
            if mark.number == block.number
        )
        assert inside <= block.swings
    for swing in swings:
        assert sum(mark.holds(swing.impact_club_clock_us) for mark in closed.marks) <= 1
    ends = [(mark.from_club_clock_us, mark.until_club_clock_us) for mark in closed.marks]
    assert all(until is not None for _, until in ends[:-1])
    edges = [edge for pair in ends for edge in pair if edge is not None]
    assert edges == sorted(edges)
    assert followed_from_dict(json.loads(json.dumps(plan.as_dict()))) == plan

"""Plans: counts, blocks that cancel drift, and the checklist."""

from __future__ import annotations

import json

import numpy as np
import pytest

from imu.cautions import BEFORE_SWINGING
from imu.errors import SwingspreadError
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan, smallest_seen, swings_needed_table


def test_the_table_of_swings_needed():
    # statistics notes: 80 % power, two-sided 5 %, ratios 1.25, 1.5, 1.75, 2
    table = swings_needed_table()
    spread = table[(table["change"] == "spread") & (table["power"] == 0.8)]
    assert spread["swings_per_set"].tolist() == [160, 50, 28, 19]
    higher = table[table["power"] == 0.9]["swings_per_set"].to_numpy()
    lower = table[table["power"] == 0.8]["swings_per_set"].to_numpy()
    assert (higher > lower).all()


def test_what_a_count_can_see_is_the_inverse_of_the_count_needed():
    ratio, shift = smallest_seen(50)
    assert ratio == pytest.approx(1.5, abs=0.005)
    assert smallest_seen(64)[1] == pytest.approx(0.5, abs=0.005)
    assert shift > 0.5


@pytest.mark.parametrize("swings", [8, 20, 30, 50, 120])
def test_straight_drift_favours_neither_kind_of_block(swings):
    plan = alternating_plan(swings_per_set=swings)
    for session in range(1, plan.sessions + 1):
        blocks = [block for block in plan.blocks if block.session == session]
        labels = np.repeat([block.label for block in blocks], [block.swings for block in blocks])
        place = np.arange(len(labels))
        means = [place[labels == label].mean() for label in ("practice", "pressure")]
        assert means[0] == pytest.approx(means[1])
    for label in ("practice", "pressure"):
        assert sum(b.swings for b in plan.blocks if b.label == label) == plan.swings_per_set
    assert plan.swings_per_set >= swings
    assert max(block.swings for block in plan.blocks) <= 10


@pytest.mark.parametrize("most", [12, 30, 60])
@pytest.mark.parametrize("swings", [8, 15, 25, 30, 31, 50])
def test_no_session_holds_more_than_it_may_and_few_swings_are_added(swings, most):
    plan = alternating_plan(swings_per_set=swings, most_per_session=most)
    for session in range(1, plan.sessions + 1):
        assert sum(b.swings for b in plan.blocks if b.session == session) <= most
    assert swings <= plan.swings_per_set < swings + 2 * plan.sessions


def test_more_swings_than_a_session_should_hold_are_spread_over_days():
    plan = alternating_plan(swings_per_set=50, most_per_session=60)
    assert plan.sessions == 2
    firsts = [next(b.label for b in plan.blocks if b.session == s) for s in (1, 2)]
    assert firsts == ["practice", "pressure"]


def test_the_limits_growth_decides_the_count_unless_told():
    assert alternating_plan(Limits(sd_ratio=2.0)).swings_per_set >= 19
    assert alternating_plan(sd_ratio=1.5).swings_per_set >= 50
    assert alternating_plan(shift_in_sds=0.5).swings_per_set >= 64


def test_the_checklist_names_every_block_the_cautions_and_the_pitfalls():
    plan = alternating_plan(swings_per_set=20)
    text = "\n".join(plan.checklist)
    for block in plan.blocks:
        assert f"Block {block.number}:" in text
    for caution in BEFORE_SWINGING:
        assert caution in plan.checklist
    for word in ("Fatigue", "Day", "Order"):
        assert any(pitfall.startswith(word) for pitfall in plan.pitfalls)
    json.dumps(plan.as_dict())


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"swings_per_set": 4}, "no verdict"),
        ({"swings_per_set": 10**9}, "not planned"),
        ({"sd_ratio": 1.001}, "too small"),
        ({"most_per_block": 1}, "a block"),
    ],
)
def test_plans_that_can_answer_nothing_are_refused(wrong, said):
    with pytest.raises(SwingspreadError, match=said):
        alternating_plan(**wrong)


@pytest.mark.parametrize("labels", [("practice", "Practice"), ("", "pressure"), ("a|b", "c")])
def test_labels_must_tell_the_blocks_apart(labels):
    with pytest.raises(SwingspreadError, match="name"):
        alternating_plan(swings_per_set=20, labels=labels)

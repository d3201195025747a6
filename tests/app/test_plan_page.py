"""The plan page lays out what the plan says, and refuses what cannot be."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.components.plan_checklist import checklist, limits_words
from app.pages.plan import made
from imu.errors import SwingspreadError


def texts(part: Any) -> str:
    return json.dumps(part, default=lambda one: one.to_plotly_json())


def test_every_block_is_there_to_tick_in_order() -> None:
    """50 swings a set for a ratio of 1.5 at power 0.8 (F test of two variances, as the plan's own
    tests check); blocks are of one size, so it may be a few more."""
    plan = made("spread", 1.5, 0.8, 10, 60, ("practice", "pressure"))
    each = sum(block["swings"] for block in plan["blocks"] if block["label"] == "pressure")
    assert 50 <= each <= 58
    shown = texts(checklist(plan))
    for block in plan["blocks"]:
        assert f"{block['number']}. {block['swings']} \\u00d7 {block['label']}" in shown
    assert "recorded" not in shown
    assert texts(checklist(plan, {2, 3})).count("\\u00b7 recorded") == 2
    assert "Stop on pain" in shown and "Session 2" in shown
    assert "up to 1.5 times" in limits_words(plan["limits"])


def test_labels_must_differ() -> None:
    with pytest.raises(SwingspreadError, match="different"):
        made("spread", 1.5, 0.8, 10, 60, ("practice", "Practice"))


def test_a_change_too_small_to_see_is_refused() -> None:
    with pytest.raises(SwingspreadError, match="too small"):
        made("mean", 0.01, 0.9, 10, 60, ("practice", "pressure"))

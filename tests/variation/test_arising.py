"""Where the variation arises: found where it was put, and told from timing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from imu.variation.arising import where_it_arises
from imu.variation.sets import SwingSet

SWINGS = 40


def same_swings(make_set: Callable[..., SwingSet], bumps: dict[float, float]) -> SwingSet:
    """Swings alike in shape and timing but for bumps of random size (SD, °) at given times."""
    made = make_set(SWINGS, 3, curves=True)
    swings = made.swings.copy()
    for event, before in (("takeaway", 1.05), ("club_top", 0.26)):
        swings[f"{event}_s"] = swings["impact_s"] - before
    curves = made.curves.copy()
    time = curves["t_from_impact_s"].to_numpy(float)
    which = curves["swing"].to_numpy(int) - 1
    hinge = 15 + 80 * np.exp(-(((time + 0.25) / 0.2) ** 2))
    random = np.random.default_rng(11)
    for at, sd in bumps.items():
        sizes = sd * random.standard_normal(SWINGS)
        hinge = hinge + sizes[which] * np.exp(-(((time - at) / 0.03) ** 2))
    return replace(made, swings=swings, curves=curves.assign(hinge_deg=hinge))


def test_the_greatest_spread_is_found_where_it_was_put(make_set: Callable[..., SwingSet]) -> None:
    found = where_it_arises(same_swings(make_set, {-0.6: 4.0, -0.09: 2.0}))
    assert found is not None and found.swings == SWINGS
    assert found.down.time == pytest.approx(-0.09, abs=0.003)
    assert found.back.time == pytest.approx(-0.6, abs=0.003)
    assert found.down.sd.low < 2.0 < found.down.sd.high
    assert found.back.sd.low < 4.0 < found.back.sd.high
    assert "90 ms before impact" in found.sentence and "600 ms before" in found.sentence
    assert "with timing" not in found.sentence


def test_a_takeaway_that_only_comes_sooner_or_later_is_told_as_timing(
    make_set: Callable[..., SwingSet],
) -> None:
    """Going back on each swing's own clock, with a bump of 1° (SD) halfway. There the hinge opens
    by 75 × 2 × ½ / 0.79 = 95°/s, and half of a takeaway's 60 ms reaches it: 2.8° more by timing."""
    made = same_swings(make_set, {-0.09: 1.0})
    random = np.random.default_rng(5)
    takeaway = 1.05 + 0.06 * random.standard_normal(SWINGS)
    swings = made.swings.assign(takeaway_s=made.swings["impact_s"] - takeaway)
    curves = made.curves.copy()
    time = curves["t_from_impact_s"].to_numpy(float)
    own = takeaway[curves["swing"].to_numpy(int) - 1]
    share = np.clip((time + own) / (own - 0.26), 0, 1)
    going_back = time < -0.26
    sizes = random.standard_normal(SWINGS)[curves["swing"].to_numpy(int) - 1]
    bump = sizes * np.exp(-(((share - 0.5) / 0.05) ** 2))
    curves.loc[going_back, "hinge_deg"] = (19.8 + 75 * share**2 + bump)[going_back]
    found = where_it_arises(replace(made, swings=swings, curves=curves))
    assert found is not None
    assert found.back.sd.low < 1.0 < found.back.sd.high
    assert found.back.sd_with_timing == pytest.approx(np.hypot(1.0, 2.8), rel=0.25)
    assert "with timing" in found.sentence


def test_few_swings_or_none_with_curves_say_nothing(make_set: Callable[..., SwingSet]) -> None:
    assert where_it_arises(make_set(4, 3, curves=True)) is None
    assert where_it_arises(make_set(12, 3)) is None

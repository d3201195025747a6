"""Correlation length of residuals against closed forms.

Check values: for an autoregressive series of first order with coefficient r the correlation at a
lag is r^lag, and 1 + 2 Σ r^lag = (1 + r)/(1 − r), a geometric series (exact).
"""

from __future__ import annotations

import numpy as np
import pytest

from imu.fusion.correlation import correlation_length


def stretches(coefficient: float, seed: int, size: int = 4000, number: int = 3) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(number):
        values = rng.standard_normal((size, 3))
        for row in range(1, size):
            values[row] *= np.sqrt(1.0 - coefficient**2)
            values[row] += coefficient * values[row - 1]
        made.append(values)
    return made


def side_by_side(residuals: list[np.ndarray]) -> list[np.ndarray]:
    return [3 * np.arange(len(values)) for values in residuals]


@pytest.mark.parametrize(
    ("coefficient", "tolerance"), [(0.0, 0.05), (0.5, 0.15), (0.8, 0.12)]
)  # the sum stops where the correlation falls below a twentieth: a little short
def test_length_of_a_first_order_series(coefficient: float, tolerance: float) -> None:
    residuals = stretches(coefficient, 1)
    exact = (1.0 + coefficient) / (1.0 - coefficient)
    found = correlation_length(residuals, side_by_side(residuals))
    assert found == pytest.approx(exact, rel=tolerance)


def test_rows_across_a_hole_are_no_neighbours() -> None:
    # Every second row is lost: neighbours stand two steps apart, and correlate by r².
    residuals = [values[::2] for values in stretches(0.8, 2)]
    whole = correlation_length(residuals, side_by_side(residuals))
    assert whole == pytest.approx((1.0 + 0.64) / (1.0 - 0.64), rel=0.15)
    # Independent blocks of ten with holes between: nothing is taken from one block into the next.
    block = np.repeat(np.random.default_rng(3).standard_normal((200, 3)), 10, axis=0)
    places = np.arange(2000) + 5 * (np.arange(2000) // 10)
    assert correlation_length([block], [places]) == pytest.approx(1.0 + 2.0 * 9.0, rel=0.1)


def test_one_wild_spell_does_not_decide() -> None:
    residuals = stretches(0.0, 4, number=1)
    residuals[0][100:110] = 1000.0
    assert correlation_length(residuals, side_by_side(residuals)) < 1.5


def test_of_no_rows_or_single_ones_nothing_is_known() -> None:
    empty, none = np.empty((0, 3)), np.empty(0, dtype=np.int64)
    assert correlation_length([], []) == 1.0
    assert correlation_length([empty, empty], [none, none]) == 1.0
    one = np.ones((1, 3))
    assert correlation_length([one, empty], [np.array([7]), none]) == 1.0
    assert correlation_length([np.zeros((5, 3))], [np.arange(5)]) == 1.0

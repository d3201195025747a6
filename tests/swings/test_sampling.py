"""Reads between samples against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imu.swings.sampling import (
    choose,
    crossings,
    just_before,
    mean_between,
    peak,
    smoothed,
    value_at,
)

NOWHERE = math.nan
PLACES = st.floats(-5.0, 25.0)


def whole(*samples: int) -> np.ndarray:
    return np.array(samples, dtype=np.int64)


@given(PLACES, PLACES)
def test_straight_lines_are_read_exactly_and_held_at_the_ends(one, other):
    line = 2.0 - 0.5 * np.arange(20.0)
    expected = 2.0 - 0.5 * np.clip([one, other], 0.0, 19.0)
    stack = np.array([line, 3.0 * line])
    assert value_at(stack, np.array([one, other])) == pytest.approx(expected * [1.0, 3.0])
    parts = np.array([stack, -stack])
    twice = value_at(parts, np.array([[one, other], [other, one]]))
    assert twice[0, 1] == pytest.approx(expected[::-1] * [1.0, 3.0])
    assert twice[1] == pytest.approx(-twice[0])


def test_nothing_is_read_where_no_place_was_found():
    stack = np.arange(20.0).reshape(2, 10)
    assert value_at(stack, np.array([3.5, NOWHERE])) == pytest.approx([3.5, NOWHERE], nan_ok=True)


@given(st.floats(0.1, 8.9), st.floats(0.1, 8.9))
def test_crossings_of_lines(one, other):
    lines = np.arange(10.0) - np.array([[one], [other]])
    assert crossings(lines, rising=True).place == pytest.approx([one, other])
    assert len(crossings(lines, rising=False).place) == 0
    assert crossings(-lines, rising=False).place == pytest.approx([one, other])


def test_a_sample_on_the_level_counts_once():
    values = np.array([[-1.0, 0.0, 1.0, 0.0, -1.0]])
    assert crossings(values, rising=True).place == pytest.approx([1.0])


def test_crossings_are_sought_in_each_ones_span():
    wave = np.sin(np.arange(60.0) * 2.0 * math.pi / 20.0 - 0.01)
    stack = np.array([wave, wave, wave])
    first, stop = whole(0, 15, 30), whole(60, 60, 60)
    assert choose(crossings(stack, True, first, stop), NOWHERE, "first") == pytest.approx(
        [0.03, 20.03, 40.03], abs=0.01
    )
    assert choose(crossings(stack, True, whole(0, 0, 0), whole(15, 30, 60)), NOWHERE) == (
        pytest.approx([0.03, 20.03, 40.03], abs=0.01)
    )


def test_choice_among_candidates():
    # Crossings upwards at 1, 5 and 9 in the first series, at 3 in the second, none in the third.
    stack = np.array(
        [
            [-1.0, 0, 1, -1, -1, 0, 1, -1, -1, 0, 1],
            [-1.0, -1, -1, 0, 1, 1, 1, 1, 1, 1, 1],
            [-1.0] * 11,
        ]
    )
    found = crossings(stack, rising=True)
    for near, otherwise, expected in (
        (NOWHERE, "last", [9.0, 3.0, NOWHERE]),
        (NOWHERE, "first", [1.0, 3.0, NOWHERE]),
        (4.0, "last", [5.0, 3.0, NOWHERE]),
        (np.array([NOWHERE, 8.0, 8.0]), "first", [1.0, 3.0, NOWHERE]),
        (np.array([0.0, 0.0, 0.0]), "last", [1.0, 3.0, NOWHERE]),
    ):
        assert choose(found, near, otherwise) == pytest.approx(expected, nan_ok=True)


@given(st.floats(10.0, 30.0), st.floats(10.0, 30.0), st.floats(0.01, 5.0))
def test_peak_of_a_parabola_is_exact(one, other, bend):
    tops = np.array([one, other])
    values = 7.0 - bend * (np.arange(40.0) - tops[:, None]) ** 2
    place, height = peak(values, whole(0, 0), whole(40, 40), 4, NOWHERE)
    assert place == pytest.approx(tops, abs=1e-6)
    assert height == pytest.approx([7.0, 7.0], abs=1e-6)


def test_peak_at_an_end_stands_as_it_is():
    rising = np.arange(10.0)[None] ** 2
    assert peak(rising, whole(0), whole(10), 3, NOWHERE) == (9.0, 81.0)
    stack = np.concatenate([rising, rising])
    place, height = peak(stack, whole(0, 2), whole(10, 6), 3, NOWHERE)
    assert place.tolist() == [9.0, 5.0]
    assert height.tolist() == [81.0, 25.0]


def test_peak_near_an_earlier_one_is_chosen_again():
    x = np.arange(200.0)
    humps = np.exp(-(((x - 60.0) / 8.0) ** 2)) + 1.0001 * np.exp(-(((x - 140.0) / 8.0) ** 2))
    stack = np.array([humps, humps])
    near = np.array([NOWHERE, 60.3])
    place, _ = peak(stack, whole(0, 0), whole(200, 200), 3, near)
    assert place == pytest.approx([140.0, 60.0], abs=0.01)


@given(*[st.floats(0.0, 19.0)] * 4)
@settings(max_examples=60)
def test_mean_of_a_line_is_its_middle(one, other, third, fourth):
    begin, end = np.sort([[one, other], [third, fourth]], axis=1).T
    line = 3.0 + 2.0 * np.arange(20.0)
    middle = 3.0 + begin + end
    means = mean_between(np.array([line, -line]), begin, end)
    assert means == pytest.approx(middle * [1.0, -1.0], abs=1e-6)
    # Two spans of the same series at once.
    twice = mean_between(line[None], begin[:, None], end[:, None])
    assert twice[:, 0] == pytest.approx(middle, abs=1e-6)


@given(st.floats(0.0, 19.0), st.floats(0.0, 19.0), st.integers(0, 99))
def test_mean_agrees_with_a_fine_integral(one, other, seed):
    begin, end = sorted((one, other))
    values = np.random.default_rng(seed).standard_normal(20)
    fine = np.linspace(begin, end, 20001)
    expected = np.interp(fine, np.arange(20.0), values).mean()
    found = mean_between(values[None], np.array([begin]), np.array([end]))
    assert found == pytest.approx([expected], abs=1e-3)


@given(st.floats(30.0, 39.0), st.floats(30.0, 39.0))
def test_value_before_a_shock_does_not_feel_it(one, other):
    x, places = np.arange(60.0), np.array([one, other])
    shock = np.where(x >= places[:, None], 50.0, 0.0)
    shaken = np.array([1.0 + 0.3 * x - 0.01 * x * x + shock, x + shock])
    expected = np.array([1.0 + 0.3 * places - 0.01 * places * places, places])
    assert just_before(shaken, places, 1.5, 14.0) == pytest.approx(expected, abs=1e-6)


def test_running_mean_keeps_lines_and_tames_noise():
    line = 0.1 * np.arange(100.0)[None]
    assert smoothed(line, 9.0)[:, 10:-10] == pytest.approx(line[:, 10:-10])
    noise = np.random.default_rng(1).standard_normal((2, 4000))
    assert smoothed(noise, 9.0)[:, 20:-20].std() == pytest.approx(1.0 / 3.0, rel=0.1)
    assert smoothed(line, 1.0) is line

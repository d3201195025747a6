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
    row_at,
    smoothed,
    value_at,
)

NOWHERE = math.nan


@given(st.floats(-5.0, 25.0))
def test_straight_lines_are_read_exactly_and_held_at_the_ends(place):
    line = 2.0 - 0.5 * np.arange(20.0)
    expected = 2.0 - 0.5 * min(max(place, 0.0), 19.0)
    assert value_at(line, place) == pytest.approx(expected)
    rows = np.column_stack([line, -line, 3.0 * line])
    assert row_at(rows, place) == pytest.approx(expected * np.array([1.0, -1.0, 3.0]))


@given(st.floats(0.1, 8.9))
def test_crossings_of_a_line(place):
    line = np.arange(10.0) - place
    assert crossings(line, rising=True) == pytest.approx([place])
    assert len(crossings(line, rising=False)) == 0
    assert crossings(-line, rising=False) == pytest.approx([place])


def test_a_sample_on_the_level_counts_once():
    assert crossings(np.array([-1.0, 0.0, 1.0, 0.0, -1.0]), rising=True) == pytest.approx([1.0])


def test_choice_among_candidates():
    places = np.array([1.0, 5.0, 9.0])
    assert choose(places, NOWHERE) == 9.0
    assert choose(places, NOWHERE, "first") == 1.0
    assert choose(places, 4.0) == 5.0
    assert math.isnan(choose(np.array([]), 4.0))


@given(st.floats(10.0, 30.0), st.floats(0.01, 5.0))
def test_peak_of_a_parabola_is_exact(top, bend):
    values = 7.0 - bend * (np.arange(40.0) - top) ** 2
    place, height = peak(values, 0, 40, 4, NOWHERE)
    assert place == pytest.approx(top, abs=1e-6)
    assert height == pytest.approx(7.0, abs=1e-6)


def test_peak_at_an_end_stands_as_it_is():
    rising = np.arange(10.0) ** 2
    assert peak(rising, 0, 10, 3, NOWHERE) == (9.0, 81.0)


def test_peak_near_an_earlier_one_is_chosen_again():
    x = np.arange(200.0)
    humps = np.exp(-(((x - 60.0) / 8.0) ** 2)) + 1.0001 * np.exp(-(((x - 140.0) / 8.0) ** 2))
    assert peak(humps, 0, 200, 3, NOWHERE)[0] == pytest.approx(140.0, abs=0.01)
    assert peak(humps, 0, 200, 3, 60.3)[0] == pytest.approx(60.0, abs=0.01)


@given(st.floats(0.0, 19.0), st.floats(0.0, 19.0))
@settings(max_examples=60)
def test_mean_of_a_line_is_its_middle(one, other):
    begin, end = sorted((one, other))
    line = 3.0 + 2.0 * np.arange(20.0)
    assert mean_between(line, begin, end) == pytest.approx(3.0 + (begin + end), abs=1e-6)
    rows = np.column_stack([line, -line])
    middle = 3.0 + (begin + end)
    assert mean_between(rows, begin, end) == pytest.approx([middle, -middle], abs=1e-6)


@given(st.floats(30.0, 39.0))
def test_value_before_a_shock_does_not_feel_it(place):
    x = np.arange(60.0)
    smooth = np.column_stack([1.0 + 0.3 * x - 0.01 * x * x, x])
    shaken = smooth + np.where(x >= place, 50.0, 0.0)[:, None]
    expected = [1.0 + 0.3 * place - 0.01 * place * place, place]
    assert just_before(shaken, place, 1.5, 14.0) == pytest.approx(expected, abs=1e-6)


def test_running_mean_keeps_lines_and_tames_noise():
    line = 0.1 * np.arange(100.0)
    assert smoothed(line, 9.0)[10:-10] == pytest.approx(line[10:-10])
    noise = np.random.default_rng(1).standard_normal(4000)
    assert smoothed(noise, 9.0)[20:-20].std() == pytest.approx(1.0 / 3.0, rel=0.1)
    assert smoothed(line, 1.0) is line

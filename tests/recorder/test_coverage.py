"""Ranges of received sample numbers behave as a set of numbers would."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from imu.recorder.coverage import Coverage

ranges = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 20)), max_size=25)


@given(ranges, st.integers(0, 80), st.integers(0, 40))
def test_coverage_is_a_set_of_numbers(pieces: list[tuple[int, int]], start: int, size: int) -> None:
    coverage, numbers = Coverage(), set[int]()
    for first, count in pieces:
        fresh = {n for low, high in coverage.add(first, first + count) for n in range(low, high)}
        added = set(range(first, first + count))
        assert fresh == added - numbers
        numbers |= added
    assert len(coverage) == len(numbers)
    missing = coverage.missing(start, start + size)
    assert {n for low, high in missing for n in range(low, high)} == set(
        range(start, start + size)
    ) - numbers
    assert missing == sorted(missing) and all(low < high for low, high in missing)

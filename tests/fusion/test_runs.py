"""Runs of flags, counted by hand."""

import numpy as np
import pytest

from imu.fusion.runs import runs


@pytest.mark.parametrize(
    ("flags", "expected"),
    [
        ("", []),
        ("....", []),
        ("####", [(0, 4)]),
        ("#..##.#", [(0, 1), (3, 5), (6, 7)]),
        (".##.", [(1, 3)]),
    ],
)
def test_first_and_one_past_the_last_of_each_run(flags: str, expected: list) -> None:
    found = runs(np.array([flag == "#" for flag in flags], dtype=bool))
    assert found.shape == (len(expected), 2)
    assert [tuple(run) for run in found.tolist()] == expected

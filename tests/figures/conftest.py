"""The invented session, for tests that look at how things are drawn.

Benchmarks load this file by its path, outside pytest, so it finds the helpers by itself.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))

from invented_swings import invented_analysis

from imu.types import Analysis


@pytest.fixture(scope="session")
def make_analysis() -> Callable[..., Analysis]:
    """The maker itself, for tests that choose the number of swings."""
    return invented_analysis


@pytest.fixture(scope="session")
def analysis() -> Analysis:
    """Twenty-four invented swings."""
    return invented_analysis()

"""The makers of invented sets, for tests of the statistics."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest
from invented_sets import analysis_of, manifest_of, swing_set, swing_table

from imu.types import Analysis, Manifest
from imu.variation.sets import SwingSet


@pytest.fixture(scope="session")
def make_set() -> Callable[..., SwingSet]:
    """``swing_set``."""
    return swing_set


@pytest.fixture(scope="session")
def make_table() -> Callable[..., pd.DataFrame]:
    """``swing_table``."""
    return swing_table


@pytest.fixture(scope="session")
def make_manifest() -> Callable[..., Manifest]:
    """``manifest_of``."""
    return manifest_of


@pytest.fixture(scope="session")
def make_analysis() -> Callable[..., Analysis]:
    """``analysis_of``."""
    return analysis_of

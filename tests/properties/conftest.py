"""A small library whose analyses are invented and kept, so that no page has to wait."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from invented_swings import invented_analysis
from kept_library import add_analysed
from random_recordings import random_recording

from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.types import Analysis, Club, Manifest, Player, Recording

HOSTILE = "<img src=x onerror=alert(1)>\"'><script>alert(2)</script>"


@pytest.fixture
def small_recording() -> Callable[[Manifest, int], Recording]:
    """Makes recordings with random samples."""
    return random_recording


@pytest.fixture
def make_analysis() -> Callable[..., Analysis]:
    """Makes invented analyses of so many swings."""
    return invented_analysis


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """Three recordings, one with a hostile name."""
    library = Library(tmp_path_factory.mktemp("small") / "library")
    for seed, (name, block) in enumerate(
        [("Ada", "practice"), ("Ada", "pressure"), (HOSTILE, HOSTILE)]
    ):
        facts = Manifest(
            Player(name), Club("7-iron", 0.94), f"r{seed}", block=block, recorded_at="2026-03-01"
        )
        add_analysed(library, facts, seed)
    return Store(LibraryShelf(library))

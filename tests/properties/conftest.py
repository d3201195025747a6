"""A small library whose analyses are invented and kept, so that no page has to wait."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from app.derived import keep
from app.preferences import Preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.content import make_recording
from imu.recordings.library import Library, LibraryEntry
from imu.types import Analysis, Club, Manifest, Player, Recording, Stream

HOSTILE = "<img src=x onerror=alert(1)>\"'><script>alert(2)</script>"


def _invented() -> ModuleType:
    path = Path(__file__).resolve().parents[1] / "figures" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented_swings", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def invented_recording(manifest: Manifest, seed: int) -> Recording:
    """A recording with random samples."""
    random = np.random.default_rng(seed)
    streams = {
        role: Stream(
            role,
            np.arange(50) / 100,
            random.normal(size=(50, 3)),
            random.normal(size=(50, 3)),
            np.arange(50),
            np.full(50, np.nan),
            100.0,
        )
        for role in ("forearm", "club")
    }
    return make_recording(manifest, streams)


def add_analysed(library: Library, manifest: Manifest, seed: int, count: int = 8) -> LibraryEntry:
    """A recording with random samples and an invented analysis beside it."""
    entry, _ = library.add(invented_recording(manifest, seed))
    analysis = _invented().invented_analysis(count, seed=seed, rate_hz=100.0)
    settings = Preferences().analysis_settings()
    keep(entry.folder, settings, replace(analysis, recording_id=entry.id))
    return entry


@pytest.fixture
def small_recording() -> Callable[[Manifest, int], Recording]:
    """Makes recordings with random samples."""
    return invented_recording


@pytest.fixture
def make_analysis() -> Callable[..., Analysis]:
    """Makes invented analyses of so many swings."""
    return _invented().invented_analysis


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

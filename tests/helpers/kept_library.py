"""Recordings of a library whose analyses are invented and kept, so that nothing has to wait."""

from __future__ import annotations

from dataclasses import replace

from invented_swings import invented_analysis
from random_recordings import random_recording

from app.derived import keep
from app.preferences import Preferences
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.types import Manifest


def add_analysed(library: Library, manifest: Manifest, seed: int, count: int = 8) -> LibraryEntry:
    """A recording with random samples and an invented analysis beside it."""
    entry, _ = library.add(random_recording(manifest, seed))
    analysis = invented_analysis(count, seed=seed, rate_hz=100.0)
    settings = Preferences().analysis_settings()
    keep(entry.folder, settings, replace(analysis, recording_id=entry.id))
    return entry

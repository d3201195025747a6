"""The sample recordings that come with the program."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import platformdirs

from imu.errors import SwingspreadError
from imu.recordings.library import Library
from imu.recordings.store import MANIFEST_FILE


def shipped_samples() -> Path | None:
    """The folder of sample recordings: in a clone, or where an installation put it."""
    places = (
        Path(__file__).resolve().parents[1] / "recordings",
        Path(sys.prefix) / "share" / "swingspread" / "recordings",
    )
    for place in places:
        if any(place.glob(f"*/{MANIFEST_FILE}")):
            return place
    return None


def sample_library(place: Path | None = None) -> Library | None:
    """A library of copies of the sample recordings, so that the shipped ones stay as they are.

    place : where the copies go (default: beside the user's own library). None when no samples
    came with this installation.
    """
    shipped = shipped_samples()
    if shipped is None:
        return None
    place = place or platformdirs.user_data_path("swingspread", appauthor=False) / "samples"
    try:
        return _copied(shipped, place)
    except OSError:
        scratch = Path(tempfile.mkdtemp(prefix="swingspread-samples-"))
        return _copied(shipped, scratch)


def _copied(shipped: Path, place: Path) -> Library:
    have = {entry.id: entry for entry in Library(place).entries()} if place.is_dir() else {}
    wanted = Library(shipped).entries()
    for identity in have.keys() - {entry.id for entry in wanted}:
        shutil.rmtree(have[identity].folder, ignore_errors=True)
    for entry in wanted:
        if entry.problem:
            raise SwingspreadError(entry.problem)
        if entry.id in have:
            continue
        place.mkdir(parents=True, exist_ok=True)
        part = place / f".part-{entry.folder.name}"
        shutil.rmtree(part, ignore_errors=True)
        shutil.copytree(entry.folder, part, ignore=shutil.ignore_patterns("derived", ".*"))
        part.rename(place / entry.id)
    return Library(place)

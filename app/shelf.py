"""Where recordings come from, for the pages: the user's library, and the samples beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pandas as pd

from app.derived import keep, read_cached, read_cached_swings
from imu.errors import SwingspreadError
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import RecordingNotes, read_notes, update_notes
from imu.recordings.store import MANIFEST_FILE
from imu.settings import AnalysisSettings
from imu.types import Analysis, Club, Manifest, Player, Recording
from imu.variation.blocks import FollowedPlan

Progress = Callable[[float, str], None]
NOBODY = Manifest(player=Player(), club=Club("", 1.0))


@dataclass(frozen=True)
class Entry:
    """One recording, as the pages list it. ``problem`` says why it cannot be opened, ``plan`` what
    it followed."""

    id: str
    manifest: Manifest = NOBODY
    duration_s: float = 0.0
    sample: bool = False
    problem: str = ""
    plan: FollowedPlan | None = None

    @property
    def name(self) -> str:
        """Name of the recording, or the start of its id."""
        return self.manifest.name or self.id[:8]

    @property
    def player(self) -> str:
        """Name of the player."""
        return self.manifest.player.name

    @property
    def club(self) -> str:
        """Name of the club."""
        return self.manifest.club.name

    @property
    def session(self) -> str:
        """Label of the session."""
        return self.manifest.session

    @property
    def block(self) -> str:
        """Label of the block."""
        return self.manifest.block

    @property
    def blocks(self) -> tuple[str, ...]:
        """Labels of the blocks in it, where it followed a plan."""
        return self.plan.labels if self.plan else ()

    @property
    def day(self) -> str:
        """Day of the recording, YYYY-MM-DD."""
        return self.manifest.recorded_at[:10]

    @property
    def label(self) -> str:
        """One line: player, club, block, day."""
        parts = (self.player, self.club, self.block, self.day)
        return " · ".join(part for part in parts if part) or self.name


class Shelf(Protocol):
    """What the store needs of the place where recordings live."""

    def entries(self) -> list[Entry]: ...

    def cached(self, recording_id: str, settings: AnalysisSettings) -> Analysis | None: ...

    def cached_swings(
        self, recording_id: str, settings: AnalysisSettings, columns: Sequence[str]
    ) -> pd.DataFrame | None: ...

    def analyse(
        self, recording_id: str, settings: AnalysisSettings, progress: Progress
    ) -> Analysis: ...

    def notes(self, recording_id: str) -> RecordingNotes: ...

    def change_notes(
        self, recording_id: str, change: Callable[[RecordingNotes], RecordingNotes]
    ) -> None: ...

    def recording(self, recording_id: str) -> Recording: ...

    def add(self, recording: Recording) -> tuple[str, bool]: ...

    def place(self) -> str: ...


class LibraryShelf:
    """The user's library, with the samples listed after it."""

    def __init__(self, library: Library, samples: Library | None = None) -> None:
        self.library = library
        self.samples = samples
        self._folders: dict[str, Path] = {}

    def _listed(self) -> dict[str, tuple[LibraryEntry, bool]]:
        listed: dict[str, tuple[LibraryEntry, bool]] = {}
        for library, sample in ((self.library, False), (self.samples, True)):
            for entry in library.entries() if library is not None else ():
                listed.setdefault(entry.id, (entry, sample))
        return listed

    def entries(self) -> list[Entry]:
        """All recordings, the user's own first, the newest first."""
        return [
            Entry(
                entry.id,
                entry.manifest or NOBODY,
                entry.duration_s,
                sample,
                entry.problem,
                entry.plan,
            )
            for entry, sample in self._listed().values()
        ]

    def folder(self, recording_id: str) -> Path:
        """The recording's folder. Raises SwingspreadError when it is gone."""
        if (self._folders.get(recording_id, Path()) / MANIFEST_FILE).is_file():
            return self._folders[recording_id]
        self._folders = {entry.id: entry.folder for entry, _ in self._listed().values()}
        if recording_id in self._folders:
            return self._folders[recording_id]
        raise SwingspreadError(f"Recording {recording_id[:12]} is no longer in the library.")

    def cached(self, recording_id: str, settings: AnalysisSettings) -> Analysis | None:
        """The analysis kept on disk, if there is one."""
        return read_cached(self.folder(recording_id), settings)

    def cached_swings(
        self, recording_id: str, settings: AnalysisSettings, columns: Sequence[str]
    ) -> pd.DataFrame | None:
        """These columns of the swing table kept on disk, without its far larger curves, if there
        is one; a column it does not have is left out."""
        table = read_cached_swings(self.folder(recording_id), settings, set(columns))
        return None if table is None else table.to_pandas()

    def analyse(
        self, recording_id: str, settings: AnalysisSettings, progress: Progress
    ) -> Analysis:
        """Analyse now, and keep the result."""
        from imu.pipeline import analyse

        analysis = analyse(self.recording(recording_id), settings, progress)
        keep(self.folder(recording_id), settings, analysis)
        return analysis

    def recording(self, recording_id: str) -> Recording:
        """The samples themselves."""
        for library in (self.library, self.samples):
            if library is not None and any(e.id == recording_id for e in library.entries()):
                return library.read(recording_id)
        raise SwingspreadError(f"Recording {recording_id[:12]} is no longer in the library.")

    def notes(self, recording_id: str) -> RecordingNotes:
        """What people noted on it."""
        return read_notes(self.folder(recording_id))

    def change_notes(
        self, recording_id: str, change: Callable[[RecordingNotes], RecordingNotes]
    ) -> None:
        """Change the notes."""
        update_notes(self.folder(recording_id), change)

    def add(self, recording: Recording) -> tuple[str, bool]:
        """Add to the user's library: its id, and False when it was there already."""
        entry, new = self.library.add(recording)
        return entry.id, new

    def place(self) -> str:
        """The library's folder."""
        return str(self.library.path)


def own_library(shelf: object) -> Library:
    """The person's own library. Raises SwingspreadError for a shelf that has none to change."""
    library = getattr(shelf, "library", None)
    if not isinstance(library, Library):
        raise SwingspreadError("These recordings cannot be changed.")
    return library

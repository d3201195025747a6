"""One recording named on the command line: its analysis, and the swings in it that count."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from app.derived import keep, read_cached
from app.preferences import read_preferences
from app.terminal import progress_bar
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes, read_notes
from imu.recordings.store import read_recording
from imu.settings import AnalysisSettings
from imu.types import Analysis, Manifest, Recording
from imu.variation.sets import Selection, SwingSet, pool, select

NOTED = ("direction", "outcome", "left_out")


@dataclass(frozen=True, eq=False)
class Analysed:
    """A recording of the library with its analysis; labels as people last wrote them."""

    folder: Path
    manifest: Manifest
    analysis: Analysis
    notes: RecordingNotes

    def counted(self) -> SwingSet:
        """The swings that statistics are made of, and the others with the reason.

        Struck balls of good or fair quality that nobody left out; in a recording without a
        ball, practice swings. Without any swing the set is empty.
        """
        name = self.manifest.block or self.manifest.name or self.analysis.recording_id
        everything = pool([(self.manifest, self.analysis, noted(self.notes, self.analysis))])
        if not len(everything):
            return SwingSet(name, self.analysis.swings.iloc[:0])
        kinds = ("ball",) if (everything.swings["kind"] == "ball").any() else ("practice",)
        return select(everything, Selection(kinds=kinds), name)

    def labelled(self) -> Analysis:
        """The analysis as handed out: where a plan was followed, with the block of each swing."""
        blocks = self.notes.block_labels(
            self.analysis.swings["impact_club_clock_us"].to_numpy(float)
        )
        if blocks is None:
            return self.analysis
        return replace(self.analysis, swings=self.analysis.swings.assign(block=blocks))


def noted(notes: RecordingNotes, analysis: Analysis) -> pd.DataFrame:
    """What people noted on each swing of the analysis, one row a swing."""
    return noted_on(notes, analysis.swings)


def noted_on(notes: RecordingNotes, swings: pd.DataFrame) -> pd.DataFrame:
    """What people noted on each row of a swing table; with the ``block`` of each where the
    recording followed a plan."""
    impacts = swings["impact_club_clock_us"].to_numpy(float)
    found = [notes.find(impact) if impact == impact else None for impact in impacts]
    rows = [[getattr(note, name) if note else "" for name in NOTED] for note in found]
    said = pd.DataFrame(rows, columns=list(NOTED))
    blocks = notes.block_labels(impacts)
    return said if blocks is None else said.assign(block=blocks)


def read_labelled(library: str | None, text: str) -> tuple[Path, Recording]:
    """The folder and the recording meant by ``text``, with its labels as last written.

    Raises SwingspreadError when it is not found or damaged.
    """
    shelf = Library(library)
    folder = shelf.resolve(text)
    return folder, shelf.read(str(folder))


def analysed(
    library: str | None, text: str, settings: AnalysisSettings | None = None, afresh: bool = False
) -> Analysed:
    """Analyse the recording meant by ``text``, with a progress bar, or take it from the cache.

    settings : by default those of the Settings page. afresh : analyse even when a result is kept.
    Raises SwingspreadError when the recording is not found, damaged, or lacks what an analysis
    needs.
    """
    chosen = settings or read_preferences().analysis_settings()
    shelf = Library(library)
    entry = shelf.find(text)
    notes = read_notes(entry.folder)
    analysis = None if afresh else read_cached(entry.folder, chosen)
    if analysis is None or entry.manifest is None:
        from imu.pipeline import analyse

        recording = read_recording(entry.folder)
        with progress_bar("analysing") as progress:
            analysis = analyse(recording, chosen, progress)
        keep(entry.folder, chosen, analysis)
        return Analysed(entry.folder, notes.label(recording.manifest), analysis, notes)
    return Analysed(entry.folder, entry.manifest, analysis, notes)

"""All that is kept of a player or of recordings, as files: what `delete` would remove."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

from app.deletion import Traces, find_traces
from app.handing_out import FORMATS, FROM_ANALYSIS, write_all
from imu.errors import SwingspreadError
from imu.exports.archive import copy_recording
from imu.exports.writing import write_export
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.names import recording_file_name
from imu.recordings.saved_sets import SavedSets, read_saved_sets, sets_document


def everything_of(
    library: Library, texts: Sequence[str], journals: Path
) -> tuple[list[Path], Callable[[Path], list[Path]]]:
    """The recordings meant, and what writes all that is kept of them into a folder: every format,
    recordings not finished, saved sets that name nobody else.

    Raises SwingspreadError when a text names nothing. What cannot be made of a recording is told
    in a file in its place.
    """
    traces = find_traces(library, texts, journals)

    def fill(out: Path) -> list[Path]:
        files = [file for entry in traces.entries for file in _recording(library, entry, out)]
        return [*files, *_journals(traces, out), *_sets(library, traces, out)]

    return [entry.folder for entry in traces.entries], fill


def _recording(library: Library, entry: LibraryEntry, out: Path) -> list[Path]:
    place = out / "recordings" / recording_file_name(entry.name, entry.id)
    files = copy_recording(entry.folder, place / "recording")
    # A dataset is never added to another; that of an earlier run for this recording is made anew.
    for earlier in (place / "motion-bids").glob("sub-*"):
        shutil.rmtree(earlier, ignore_errors=True)
    apart = [(one,) for one in FORMATS if one not in (*FROM_ANALYSIS, "recording")]
    for formats in (*apart, FROM_ANALYSIS):
        try:
            where = place / formats[0] if len(formats) == 1 else place
            files += write_all(str(library.path), [entry.folder], formats, where)
        except SwingspreadError as problem:
            files.append(write_export(place / f"no-{formats[0]}.txt", f"{problem}\n"))
    return files


def _journals(traces: Traces, out: Path) -> list[Path]:
    return [
        write_export(out / "journals" / folder.name / source.name, source.read_bytes())
        for folder in traces.journals
        for source in sorted(folder.path.iterdir())
        if source.is_file()
    ]


def _sets(library: Library, traces: Traces, out: Path) -> list[Path]:
    if not traces.sets:
        return []
    kept = read_saved_sets(library.path).sets
    chosen = SavedSets({name: kept[name] for name in traces.sets if name in kept})
    return [write_export(out / "sets.json", sets_document(chosen))]

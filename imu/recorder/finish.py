"""Closing a recording: from its journals into the library, once and for good."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from imu.errors import SwingspreadError
from imu.recorder.assemble import recording_from_folder
from imu.recorder.folder import JournalFolder
from imu.recorder.plan_steps import end_last_block
from imu.recordings.atomic import write_file
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import NOTES_FILE, read_notes

NO_SAMPLE = "holds no sample of any sensor"
"""Why a folder is not finished and never can be."""


@dataclass(frozen=True)
class Finished:
    """A recording put into the library, and what went wrong while it was made."""

    folder: JournalFolder
    entry: LibraryEntry
    faults: tuple[str, ...]


def finish_recording(folder: JournalFolder, library: Library) -> Finished | None:
    """Put what the journals hold into the library; None when they hold no sample.

    The journals stay as they are. Doing it again changes nothing. Raises SwingspreadError when
    someone still records there, or the disk refuses (the journals are then safe all the same).
    """
    with contextlib.closing(folder.hold()):
        recording = recording_from_folder(folder)
        if recording is None:
            return None
        entry, _ = library.add(recording)
        if read_notes(folder.path).plan is not None:
            end_last_block(folder)
        try:
            _take_notes(folder, entry.folder)
            folder.mark_finished(entry.id)
        except OSError as problem:
            raise SwingspreadError(f"{folder.path}: cannot be written ({problem})") from problem
        return Finished(folder, library.find(entry.id), recording.faults)


def _take_notes(folder: JournalFolder, kept: Path) -> None:
    """Copy what was noted while recording, whole, unless the recording has notes already."""
    noted = folder.path / NOTES_FILE
    if noted.is_file():
        with contextlib.suppress(FileExistsError):
            write_file(kept / NOTES_FILE, noted.read_bytes(), replace=False)


def finish_all(
    folders: list[JournalFolder], library: Library, told: Callable[[JournalFolder, str], None]
) -> list[Finished]:
    """Finish several recordings; ``told`` hears why one could not be finished."""
    done = []
    for folder in folders:
        try:
            finished = finish_recording(folder, library)
        except SwingspreadError as problem:
            told(folder, str(problem))
            continue
        if finished is None:
            told(folder, NO_SAMPLE)
        else:
            done.append(finished)
    return done

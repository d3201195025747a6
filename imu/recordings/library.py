"""The user's library: a folder with one recording folder in it for every recording.

A recording's folder is named by its id, so that two processes adding the same recording meet at
one name and only one of them wins. There is no index that could go stale: listing reads every
small manifest. A folder copied in by hand, under any name, is found as well; a second folder of
the same recording is told, and counts for nothing.
"""

from __future__ import annotations

import difflib
import json
import os
import stat
import unicodedata
from dataclasses import replace
from pathlib import Path

import platformdirs

from imu.errors import SwingspreadError
from imu.moments import moment
from imu.number_words import counted
from imu.recordings.atomic import remove_folder, sweep_leftovers
from imu.recordings.content import ID_LENGTH, content_hash, is_content_id
from imu.recordings.library_entry import LibraryEntry, read_entry, remembered_entry
from imu.recordings.manifest import LaterVersionError
from imu.recordings.notes import read_notes
from imu.recordings.store import (
    MANIFEST_FILE,
    RecordingExistsError,
    read_recording,
    restore_recording,
    write_recording,
)
from imu.types import Recording

LONGEST_LIST = 8
"""Candidates shown in an error message before the rest are only counted."""


def default_library() -> Path:
    """The library in the platform's folder for a user's data."""
    return platformdirs.user_data_path("swingspread", appauthor=False) / "library"


def _id_of(folder: Path) -> str | None:
    """The id that a folder's manifest states; None when it cannot be read."""
    try:
        return str(json.loads((folder / MANIFEST_FILE).read_bytes())["id"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _each_once(found: list[LibraryEntry]) -> list[LibraryEntry]:
    """The entries, with a further folder of one recording as one that cannot be opened."""
    first: dict[str, LibraryEntry] = {}
    for entry in sorted(
        found, key=lambda entry: (bool(entry.problem), entry.folder.name != entry.id)
    ):
        first.setdefault(entry.id, entry)
    each = []
    for entry in found:
        kept = first[entry.id]
        if entry is kept or entry.problem:
            each.append(entry)
            continue
        why = (
            f"{entry.folder}: a copy of the recording in {kept.folder.name}; move one of them away"
        )
        each.append(LibraryEntry(entry.folder.name, entry.folder, None, problem=why))
    return each


def _put_right(recording: Recording, folder: Path, full_hash: str) -> bool:
    """Whether the recording in the folder had to be put right, which it then is.

    Raises SwingspreadError when it is another recording, or one that only a later version reads.
    """
    try:
        found = read_recording(folder)
    except LaterVersionError:
        raise
    except SwingspreadError:
        restore_recording(recording, folder, full_hash)
        return True
    if found.id != full_hash[:ID_LENGTH]:
        raise SwingspreadError(
            f"{folder}: holds recording {found.id} under another one's id; rename the folder to "
            f"{found.id}"
        )
    return False


def _as_folder(text: str) -> Path:
    """The folder a text may mean; as it stands where its ~ names no user."""
    try:
        return Path(text).expanduser()
    except RuntimeError:
        return Path(text)


def _holds_manifest(folder: Path) -> bool:
    """True for a recording's folder; False for any other, and where that cannot be seen."""
    return stat.S_ISREG(_mode(folder / MANIFEST_FILE))


def _mode(path: Path) -> int:
    """What lies at a path, as in `stat`; 0 for nothing, and where that cannot be seen."""
    try:
        return path.stat().st_mode
    except (OSError, ValueError):
        return 0


def _alike(text: str) -> str:
    return unicodedata.normalize("NFC", text).strip().casefold()


class Library:
    """Recordings in one folder.

    path : the folder; None for the default in the platform's data folder. It is made when the
    first recording is added. Raises SwingspreadError when it is a file, or in the home of a user
    that does not exist.
    """

    def __init__(self, path: Path | str | None = None) -> None:
        try:
            self.path = Path(path).expanduser() if path is not None else default_library()
        except RuntimeError as problem:
            raise SwingspreadError(
                f"{path}: no user of that name; write the library's folder out"
            ) from problem
        mode = _mode(self.path)
        if mode and not stat.S_ISDIR(mode):
            raise SwingspreadError(f"{self.path}: a file, where the library folder should be")

    def folders(self) -> list[Path]:
        """Every folder in the library that holds a manifest, or may not be looked into, in order
        of name."""
        try:
            with os.scandir(self.path) as found:
                names = sorted(
                    item.name for item in found if not item.name.startswith(".") and item.is_dir()
                )
        except FileNotFoundError:
            return []
        except OSError as problem:
            raise SwingspreadError(f"{self.path}: cannot be read ({problem.strerror})") from problem
        candidates = [self.path / name for name in names]
        return [
            folder
            for folder in candidates
            if _holds_manifest(folder) or not os.access(folder, os.X_OK)
        ]

    def entries(self) -> list[LibraryEntry]:
        """All recordings, the newest first, then by name; damaged ones and copies last."""
        found = _each_once([remembered_entry(folder) for folder in self.folders()])
        found.sort(key=lambda entry: (entry.name, entry.id))
        found.sort(key=lambda entry: moment(entry.recorded_at), reverse=True)
        found.sort(key=lambda entry: bool(entry.problem))
        return found

    def find(self, text: str) -> LibraryEntry:
        """The recording meant by an id, the unique beginning of one, a name, or a folder.

        An exact id comes first, then an exact name, a name but for case, the beginning of an
        id, and last a folder anywhere on the disk; with a path separator in ``text``, the folder
        comes first. Raises SwingspreadError listing what there is when none or several fit.
        """
        wanted = text.strip()
        if not wanted:
            raise SwingspreadError("no recording named; give an id, a name or a folder")
        folder = _as_folder(wanted)
        is_folder = _holds_manifest(folder)
        if is_folder and (len(folder.parts) > 1 or folder.is_absolute() or wanted == "."):
            return read_entry(folder)
        if is_content_id(wanted) and _holds_manifest(self.path / wanted):
            return read_entry(self.path / wanted)
        entries = self.entries()
        tests = (
            lambda entry: entry.id == wanted or entry.folder.name == wanted,
            lambda entry: entry.name == unicodedata.normalize("NFC", wanted),
            lambda entry: bool(entry.name) and _alike(entry.name) == _alike(wanted),
            lambda entry: entry.id.startswith(wanted.lower()),
        )
        for test in tests:
            fitting = [entry for entry in entries if test(entry)]
            if len({entry.id for entry in fitting}) == 1:
                return fitting[0]
            if fitting:
                raise SwingspreadError(self._several(wanted, fitting))
        if is_folder:
            return read_entry(folder)
        raise SwingspreadError(self._none(wanted, entries))

    def _several(self, wanted: str, fitting: list[LibraryEntry]) -> str:
        lines = [f"  {entry.line()}" for entry in fitting[:LONGEST_LIST]]
        if len(fitting) > LONGEST_LIST:
            lines.append(f"  and {len(fitting) - LONGEST_LIST} more")
        return "\n".join(
            [f"{wanted!r} fits {len(fitting)} recordings; give more of the id:", *lines]
        )

    def _none(self, wanted: str, entries: list[LibraryEntry]) -> str:
        if stat.S_ISDIR(_mode(_as_folder(wanted))):
            return f"{wanted}: a folder, but no recording in it ({MANIFEST_FILE} missing)"
        if not entries:
            return f"no recording {wanted!r}: the library {self.path} is empty; import one first"
        known = {_alike(entry.name): entry for entry in entries if entry.name}
        close = difflib.get_close_matches(_alike(wanted), known, n=3, cutoff=0.6)
        hint = "".join(f"\n  did you mean  {known[name].line()}" for name in close)
        count = counted(len(entries), "recording")
        return (
            f"no recording {wanted!r} in {self.path} ({count}); `swingspread list` shows them{hint}"
        )

    def resolve(self, text: str) -> Path:
        """The folder of the recording meant by ``text``; see `find`."""
        return self.find(text).folder

    def read(self, text: str, verify: bool = False) -> Recording:
        """The recording meant by ``text``, with its labels as people last wrote them."""
        folder = self.resolve(text)
        recording = read_recording(folder, verify=verify)
        return replace(recording, manifest=read_notes(folder).label(recording.manifest))

    def _holding(self, identity: str) -> Path | None:
        """The folder of the recording with this id, whole or damaged."""
        folder = self.path / identity
        if folder.is_dir():
            return folder
        return next((one for one in self.folders() if _id_of(one) == identity), None)

    def add(self, recording: Recording) -> tuple[LibraryEntry, bool]:
        """Add a recording; returns its entry, and False when it was there already.

        A recording with the same samples and facts is never stored twice; one that lies there
        but cannot be read is put right. Raises SwingspreadError when the disk refuses; the
        library is then as before.
        """
        full_hash = content_hash(recording.manifest, recording.streams)
        if self.path.is_dir():
            sweep_leftovers(self.path)
        folder = self._holding(full_hash[:ID_LENGTH])
        if folder is None:
            folder = self.path / full_hash[:ID_LENGTH]
            try:
                write_recording(recording, folder, full_hash)
                return read_entry(folder), True
            except RecordingExistsError:  # another process was quicker
                if not folder.is_dir():
                    raise
        put_right = _put_right(recording, folder, full_hash)
        return read_entry(folder), put_right

    def delete(self, entry: LibraryEntry) -> None:
        """Delete a recording with its notes, derived results and copies, for good.

        Raises SwingspreadError when it lies outside this library or the disk refuses.
        """
        if entry.folder.resolve().parent != self.path.resolve():
            raise SwingspreadError(f"{entry.folder}: not in the library {self.path}; not deleted")
        identity = _id_of(entry.folder) or entry.id
        copies = [one for one in self.folders() if _id_of(one) == identity and one != entry.folder]
        try:
            for folder in (*copies, entry.folder):
                remove_folder(folder)
        except FileNotFoundError as problem:
            raise SwingspreadError(f"{entry.folder}: already deleted") from problem
        except OSError as problem:
            raise SwingspreadError(
                f"{entry.folder}: could not be deleted ({problem.strerror}: {problem.filename}); "
                "delete by hand what is left there"
            ) from problem

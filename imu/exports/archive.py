"""Many files as one archive."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

from imu.errors import SwingspreadError
from imu.exports.writing import not_written, write_export
from imu.recordings.store import MANIFEST_FILE


def write_archive(target: Path, fill: Callable[[Path], list[Path]]) -> list[str]:
    """Make a ZIP file of what ``fill`` writes into the folder it is given, whole or not at all.

    Returns the names in the archive. Raises SwingspreadError when the disk refuses; an older
    archive is then untouched.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".archive-", dir=target.parent) as scratch:
            content, packed = Path(scratch) / "content", Path(scratch) / "packed.zip"
            content.mkdir()
            names = [file.relative_to(content).as_posix() for file in fill(content)]
            with packed.open("xb") as handle:
                with zipfile.ZipFile(handle, "w", zipfile.ZIP_DEFLATED) as archive:
                    for name in names:
                        archive.write(content / name, name)
                handle.flush()
                os.fsync(handle.fileno())
            packed.replace(target)
    except OSError as problem:
        raise not_written(target, problem) from problem
    return names


def copy_recording(recording: Path, folder: Path) -> list[Path]:
    """Copy a recording folder as it lies in the library, with the notes on it and without what
    can be worked out again. Returns the copies, the manifest last.

    Raises SwingspreadError when a file cannot be read or the disk refuses.
    """
    try:
        files = [file for file in recording.iterdir() if file.is_file()]
        contents = {file.name: file.read_bytes() for file in files if file.name[0] != "."}
    except OSError as problem:
        raise SwingspreadError(f"{recording}: cannot be read ({problem.strerror})") from problem
    names = sorted(contents, key=lambda name: (name == MANIFEST_FILE, name))
    return [write_export(folder / name, contents[name]) for name in names]

"""Putting an exported file in its place, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from imu.errors import SwingspreadError
from imu.recordings.atomic import write_file


def write_export(target: Path, content: bytes | str) -> Path:
    """Write ``content`` (text as UTF-8) to ``target`` in one step; its folder is made if missing.

    Raises SwingspreadError naming the file when the disk refuses; an older file is then
    untouched, unless the message says otherwise.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_file(target, data)
    except OSError as problem:
        raise not_written(target, problem) from problem
    return target


def not_written(target: Path, problem: OSError) -> SwingspreadError:
    """The error to raise when the disk refuses a file."""
    return SwingspreadError(
        f"{target}: could not be written ({problem.strerror or problem}). "
        "Free some space, or choose a folder you may write to"
    )

"""Putting an exported file in its place, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from imu.errors import SwingspreadError
from imu.recordings.atomic import write_file


def write_export(target: Path, content: bytes | str) -> Path:
    """Write ``content`` (text as UTF-8) to ``target`` in one step; its folder is made if missing.

    Raises SwingspreadError naming the file when the disk refuses; an older file is then
    untouched.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_file(target, data)
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise SwingspreadError(
            f"{target}: could not be written ({reason}). "
            "Free some space, or choose a folder you may write to"
        ) from problem
    return target

"""A small JSON file of what people said, kept beside recordings, with the version of its layout."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from imu.errors import SwingspreadError


def read_kept(
    path: Path, latest: int, damaged: Callable[[Path, str], SwingspreadError]
) -> dict[str, Any] | None:
    """The file's content; None when there is no file.

    latest : the newest version of its layout that can be read. damaged : makes the error for a
    part that cannot be. Raises SwingspreadError when the file cannot be read.
    """
    try:
        document = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as problem:
        raise SwingspreadError(f"{path}: cannot be read ({problem.strerror})") from problem
    except (ValueError, RecursionError) as problem:
        raise damaged(path, "the JSON") from problem
    if not isinstance(document, dict):
        raise damaged(path, "the JSON")
    version = document.get("schema_version")
    if type(version) is not int:
        raise damaged(path, "schema_version")
    if version > latest:
        raise SwingspreadError(f"{path}: written by a later version; update swingspread to open it")
    return document

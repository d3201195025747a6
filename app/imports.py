"""Files dropped on the page: which is which, and into the library with them."""

from __future__ import annotations

import base64
import binascii
import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from app.shelf import Shelf
from imu.errors import SwingspreadError
from imu.recordings.importer import import_csv
from imu.types import CLUB, FOREARM

_ROLE_WORDS = ((FOREARM, r"(?<!w)arm|wrist"), (CLUB, r"club|shaft|grip"))
"""Words of a file's name; "warm-up" names no arm."""
_TABLES = (".csv", ".csv.gz", ".txt", ".txt.gz", ".tsv", ".tsv.gz")


@dataclass(frozen=True)
class Dropped:
    """One file as the browser sent it."""

    name: str
    content: bytes


@dataclass(frozen=True)
class BroughtIn:
    """What became of the files."""

    id: str
    new: bool
    remarks: tuple[str, ...]


def dropped_files(names: Sequence[str], contents: Sequence[str]) -> list[Dropped]:
    """Decode what an upload component hands over (data URLs).

    Raises SwingspreadError for one that did not arrive whole.
    """
    files = []
    for name, content in zip(names, contents, strict=True):
        try:
            data = base64.b64decode(content.partition(",")[2], validate=True)
        except (binascii.Error, ValueError) as problem:
            raise SwingspreadError(f"{name}: did not arrive whole; drop it again") from problem
        files.append(Dropped(PurePath(name.replace("\\", "/")).name or "file", data))
    return files


def sort_out(files: Sequence[Dropped]) -> dict[str, Dropped]:
    """Files by what they are: forearm, club, meta, map.

    Raises SwingspreadError naming what is missing, doubled or not to be told.
    """
    found: dict[str, Dropped] = {}
    for file in files:
        role = _role(file)
        if role in found:
            raise SwingspreadError(
                f"{found[role].name} and {file.name} both look like the {role} file; "
                "drop one of each"
            )
        found[role] = file
    for role in (FOREARM, CLUB):
        if role not in found:
            raise SwingspreadError(
                f"No {role} file among {', '.join(file.name for file in files) or 'nothing'}: "
                f"a CSV file with “{role}” in its name is needed"
            )
    return found


def _role(file: Dropped) -> str:
    lower = file.name.lower()
    if lower.endswith(".json"):
        try:
            keys = json.loads(file.content)
        except (ValueError, RecursionError) as problem:
            raise SwingspreadError(f"{file.name}: not valid JSON ({problem})") from problem
        return "map" if isinstance(keys, dict) and "handedness" not in keys else "meta"
    if not lower.endswith(_TABLES):
        raise SwingspreadError(
            f"{file.name}: not a CSV or JSON file; export CSV from the logger and drop that"
        )
    roles = [role for role, words in _ROLE_WORDS if re.search(words, lower)]
    if len(roles) != 1:
        raise SwingspreadError(
            f"{file.name}: put “forearm” or “club” in the file's name, so that it is plain "
            "which sensor it comes from"
        )
    return roles[0]


def bring_in(
    shelf: Shelf, files: Sequence[Dropped], answers: Mapping[str, Any], labels: Mapping[str, str]
) -> BroughtIn:
    """Import dropped files into the user's library.

    answers : content of a meta file, used when none was dropped. labels : name, player, session
    and block as typed; blank ones leave the meta file's. Raises SwingspreadError; nothing is then
    kept.
    """
    found = sort_out(files)
    with tempfile.TemporaryDirectory(prefix="swingspread-import-") as scratch:
        paths = {}
        for role, file in found.items():
            paths[role] = Path(scratch) / role / file.name  # two may have one name
            paths[role].parent.mkdir()
            paths[role].write_bytes(file.content)
        recording = import_csv(
            paths[FOREARM],
            paths[CLUB],
            paths.get("meta", answers),
            paths.get("map"),
            name=labels.get("name") or None,
            player=labels.get("player") or None,
            session=labels.get("session") or None,
            block=labels.get("block") or None,
        )
        identity, new = shelf.add(recording)
    return BroughtIn(identity, new, recording.faults)

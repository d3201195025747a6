"""Sets of swings and plans kept under a name, in one small file beside the recordings.

A set is kept as what it asks for, not as a list of numbers, so that it stays true when a
recording is analysed anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings.atomic import NotForcedError, locked, write_file
from imu.recordings.kept_file import read_kept
from imu.recordings.names import clean_label
from imu.variation.blocks import FollowedPlan, PlannedBlock, blocks_from_layout
from imu.variation.limits import Limits, limits_from_dict
from imu.variation.selection import Selection, selection_from_dict

SETS_FILE = "sets.json"
LOCK_FILE = ".sets.lock"
SCHEMA_VERSION = 1


@dataclass(frozen=True)
class SavedSet:
    """A selection under a name. saved_at : ISO 8601."""

    name: str
    selection: Selection
    saved_at: str = ""


@dataclass(frozen=True)
class SavedPlan:
    """Limits set beforehand, with the layout of the test as plain values, under a name."""

    name: str
    limits: Limits
    layout: Mapping[str, Any] = field(default_factory=dict)

    def blocks(self) -> tuple[PlannedBlock, ...]:
        """Its blocks in order. Raises SwingspreadError when it holds none that can be read."""
        try:
            blocks = blocks_from_layout(self.layout.get("blocks", ()))
        except SwingspreadError as problem:
            raise SwingspreadError(f"plan {self.name!r}: {problem}; lay out a new one") from problem
        if not blocks:
            raise SwingspreadError(f"plan {self.name!r} has no blocks; lay out a new one")
        return blocks

    def sessions(self) -> tuple[int, ...]:
        """Numbers of its sessions, a day each."""
        return tuple(dict.fromkeys(block.session for block in self.blocks()))

    def follow(self, session: int) -> FollowedPlan:
        """One session of it to record by. Raises SwingspreadError when there is none such."""
        blocks = tuple(block for block in self.blocks() if block.session == session)
        if not blocks:
            count = counted(len(self.sessions()), "session")
            raise SwingspreadError(f"plan {self.name!r} has {count}, no session {session}")
        kinds = tuple(dict.fromkeys(block.label for block in self.blocks()))
        return FollowedPlan(self.name, session, blocks, kinds=kinds)


@dataclass(frozen=True)
class SavedSets:
    """All sets and plans of a library, by name."""

    sets: Mapping[str, SavedSet] = field(default_factory=dict)
    plans: Mapping[str, SavedPlan] = field(default_factory=dict)

    def with_set(self, one: SavedSet) -> SavedSets:
        """These with one more set, in place of any of the same name."""
        return replace(self, sets={**self.sets, one.name: one})

    def without_set(self, name: str) -> SavedSets:
        """These without a set. Raises SwingspreadError when there is none of that name."""
        self.find_set(name)
        return replace(self, sets={key: one for key, one in self.sets.items() if key != name})

    def with_plan(self, one: SavedPlan) -> SavedSets:
        """These with one more plan. Raises SwingspreadError when the name is taken: limits
        changed after the fact would be worth nothing."""
        if one.name in self.plans:
            raise SwingspreadError(
                f"a plan {one.name!r} is kept already and stays as it is; choose another name"
            )
        return replace(self, plans={**self.plans, one.name: one})

    def find_set(self, name: str) -> SavedSet:
        """The set of a name. Raises SwingspreadError listing what there is."""
        if name not in self.sets:
            known = ", ".join(sorted(self.sets)) or "none yet"
            raise SwingspreadError(f"no saved set {name!r}; there are: {known}")
        return self.sets[name]

    def find_plan(self, name: str) -> SavedPlan:
        """The plan of a name. Raises SwingspreadError listing what there is."""
        if name not in self.plans:
            known = ", ".join(sorted(self.plans)) or "none yet"
            raise SwingspreadError(f"no saved plan {name!r}; there are: {known}")
        return self.plans[name]


def check_set_name(name: str) -> str:
    """A name a set can be kept under. Raises SwingspreadError for one that reads as a selection
    or is empty."""
    label = clean_label(name, "set name")
    if not label or "=" in label:
        raise SwingspreadError(f"{name!r} cannot be a set's name: use words, without =")
    return label


def read_saved_sets(library: Path) -> SavedSets:
    """The sets and plans of a library folder; empty when nothing was saved.

    Raises SwingspreadError when the file is damaged or of a later version.
    """
    path = library / SETS_FILE
    document = read_kept(path, SCHEMA_VERSION, _damaged)
    if document is None:
        return SavedSets()
    try:
        sets = {
            str(name): SavedSet(
                str(name), selection_from_dict(one["selection"]), str(one.get("saved_at", ""))
            )
            for name, one in document.get("sets", {}).items()
        }
        plans = {
            str(name): SavedPlan(
                str(name), limits_from_dict(one["limits"]), dict(one.get("layout", {}))
            )
            for name, one in document.get("plans", {}).items()
        }
    except SwingspreadError as problem:
        raise _damaged(path, str(problem)) from problem
    except (AttributeError, KeyError, TypeError, ValueError) as problem:
        raise _damaged(path, "a set or plan") from problem
    return SavedSets(sets, plans)


def update_saved_sets(library: Path, change: Callable[[SavedSets], SavedSets]) -> SavedSets:
    """Read, change and write in one step that other processes wait for.

    Raises SwingspreadError when the file is damaged or cannot be written; it is then as before,
    unless the message says otherwise.
    """
    path = library / SETS_FILE
    try:
        library.mkdir(parents=True, exist_ok=True)
        with locked(library / LOCK_FILE):
            saved = change(read_saved_sets(library))
            write_file(path, sets_document(saved))
    except NotForcedError as problem:
        raise SwingspreadError(f"{path}: {problem.strerror}") from problem
    except OSError as problem:
        raise SwingspreadError(
            f"{path}: could not be written ({problem.strerror}); it is as it was before"
        ) from problem
    return saved


def sets_document(saved: SavedSets) -> bytes:
    """The file's content: JSON text that ``read_saved_sets`` reads back."""
    document = {
        "schema_version": SCHEMA_VERSION,
        "sets": {
            name: {"selection": one.selection.as_dict(), "saved_at": one.saved_at}
            for name, one in sorted(saved.sets.items())
        },
        "plans": {
            name: {"limits": one.limits.as_dict(), "layout": dict(one.layout)}
            for name, one in sorted(saved.plans.items())
        },
    }
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def _damaged(path: Path, what: str) -> SwingspreadError:
    return SwingspreadError(
        f"{path}: {what} is damaged; mend the file, or move it away to start afresh"
    )

"""One recording as the library lists it, read from its folder or remembered."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from imu.errors import SwingspreadError
from imu.recordings.manifest import manifest_from_json
from imu.recordings.names import roles_in_order
from imu.recordings.notes import NOTES_FILE, read_notes
from imu.recordings.store import MANIFEST_FILE, read_document
from imu.types import Manifest
from imu.variation.blocks import FollowedPlan


@dataclass(frozen=True)
class LibraryEntry:
    """One recording as listed: labels as people last wrote them, and sizes.

    samples, lost : per role, forearm and club first. duration_s : the longest stream. problem :
    why the recording cannot be opened, "" when it can; the manifest is then empty. plan : the plan
    it followed.
    """

    id: str
    folder: Path
    manifest: Manifest | None
    samples: Mapping[str, int] = field(default_factory=dict)
    lost: Mapping[str, int] = field(default_factory=dict)
    duration_s: float = 0.0
    problem: str = ""
    plan: FollowedPlan | None = None

    @property
    def blocks(self) -> tuple[str, ...]:
        """Labels of the blocks in it, where it followed a plan."""
        return self.plan.labels if self.plan else ()

    @property
    def name(self) -> str:
        """The display name, "" when none was given."""
        return self.manifest.name if self.manifest else ""

    @property
    def recorded_at(self) -> str:
        """ISO 8601 time of recording, "" when unknown."""
        return self.manifest.recorded_at if self.manifest else ""

    def line(self) -> str:
        """One line for people: id, name, player, club, block."""
        if self.manifest is None:
            return f"{self.id}  cannot be opened"
        facts = self.manifest
        parts = [facts.name, facts.player.name, facts.club.name, facts.session, facts.block]
        return "  ".join([self.id, *(part for part in parts if part)])


def read_entry(folder: Path) -> LibraryEntry:
    """The entry of a recording's folder, with the reason where it cannot be opened."""
    try:
        document = read_document(folder)
        manifest = manifest_from_json(document, str(folder / MANIFEST_FILE))
        notes = read_notes(folder)
        manifest = notes.label(manifest)
        held = document["streams"]
        streams = {role: held[role] for role in roles_in_order(held)}
        duration = max((float(facts["duration_s"]) for facts in streams.values()), default=0.0)
        if not math.isfinite(duration):
            raise ValueError(f"a duration of {duration} s")
        return LibraryEntry(
            id=str(document["id"]),
            folder=folder,
            manifest=manifest,
            samples={role: int(float(facts["samples"])) for role, facts in streams.items()},
            lost={role: int(float(facts["lost_samples"])) for role, facts in streams.items()},
            duration_s=duration,
            plan=notes.plan,
        )
    except SwingspreadError as problem:
        return LibraryEntry(folder.name, folder, None, problem=str(problem))
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        reason = f"{folder / MANIFEST_FILE}: damaged; restore it from a copy, or import again"
        return LibraryEntry(folder.name, folder, None, problem=reason)


_REMEMBERED: dict[Path, tuple[tuple[int, ...], LibraryEntry]] = {}
"""Entries as last read in this process, with what showed that their files were those."""


def remembered_entry(folder: Path) -> LibraryEntry:
    """The entry, read again only when its files are not those read before.

    The program replaces files, and never writes into them, so a new file has a new inode, time
    or size.
    """
    mark: list[int] = []
    for name in (MANIFEST_FILE, NOTES_FILE):
        try:
            facts = (folder / name).stat()
            mark += [facts.st_ino, facts.st_mtime_ns, facts.st_size]
        except OSError:
            mark.append(-1)
    known = _REMEMBERED.get(folder)
    if known is not None and known[0] == tuple(mark):
        return known[1]
    entry = read_entry(folder)
    if not entry.problem:
        _REMEMBERED[folder] = (tuple(mark), entry)
    return entry

"""What people say of a recording: labels, shot results, swings left out, blocks of a plan begun.

Kept in ``notes.json`` beside the samples, outside the content hash, so the recording itself
never changes. A swing is known by its impact in the club sensor's own clock, not by its number:
numbers may shift when a recording is analysed anew, the moment of impact does not.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from imu.errors import SwingspreadError
from imu.recordings.atomic import NotForcedError, locked, write_file
from imu.recordings.kept_file import read_kept
from imu.recordings.names import clean_label
from imu.types import FloatArray, Manifest
from imu.variation.blocks import FollowedPlan, block_labels, followed_from_dict

NOTES_FILE = "notes.json"
LOCK_FILE = ".notes.lock"
SCHEMA_VERSION = 2
"""Version 2 adds the plan followed and the player renamed; notes with neither are written as
version 1, which earlier versions of the program read."""
SAME_SWING_S = 0.5
"""Impacts closer than this are the same swing: no two swings follow each other so quickly."""
LATEST_IMPACT_US = 2**63 - 1
"""No clock counts further."""

LABELS = ("name", "session", "block", "player")
"""What can be called otherwise than it was when recorded."""
DIRECTIONS = ("", "left", "straight", "right")
OUTCOMES = ("", "good", "bad")


@dataclass(frozen=True)
class SwingNote:
    """A person's word on one swing.

    impact_club_clock_us : µs, the swing's impact in the club sensor's own clock.
    direction : "left", "straight", "right" or "" when not noted. outcome : "good", "bad" or "".
    left_out : the reason the swing is left out of statistics, "" when it counts.
    """

    impact_club_clock_us: int
    direction: str = ""
    outcome: str = ""
    left_out: str = ""


@dataclass(frozen=True)
class RecordingNotes:
    """All notes on a recording. A label of None means: as recorded.

    remarks : free text, which stands beside the notes the recording was made with.
    plan : the plan it follows, with where each block began; a label for all of it then says
    nothing of its blocks.
    """

    name: str | None = None
    session: str | None = None
    block: str | None = None
    player: str | None = None
    remarks: str = ""
    swings: tuple[SwingNote, ...] = ()
    plan: FollowedPlan | None = None

    def find(self, impact_club_clock_us: float) -> SwingNote | None:
        """The note on the swing with this impact (µs, club clock), or None."""
        near = [
            note
            for note in self.swings
            if abs(note.impact_club_clock_us - impact_club_clock_us) <= SAME_SWING_S * 1e6
        ]
        return min(
            near,
            key=lambda note: abs(note.impact_club_clock_us - impact_club_clock_us),
            default=None,
        )

    def with_swing(self, note: SwingNote) -> RecordingNotes:
        """These notes with ``note`` in place of any earlier note on the same swing.

        Raises SwingspreadError for a direction or outcome that is not among the known ones.
        """
        if note.direction not in DIRECTIONS or note.outcome not in OUTCOMES:
            raise SwingspreadError(
                f"shot result {note.direction!r}, {note.outcome!r}: use left, straight or right, "
                "and good or bad"
            )
        note = replace(note, left_out=clean_label(note.left_out, "reason"))
        earlier = self.find(note.impact_club_clock_us)
        kept = [item for item in self.swings if item is not earlier]
        if note.direction or note.outcome or note.left_out:
            kept.append(note)
        return replace(self, swings=tuple(sorted(kept, key=lambda item: item.impact_club_clock_us)))

    def label(self, manifest: Manifest) -> Manifest:
        """The manifest with its labels as people last wrote them, and remarks in its notes."""
        changes: dict[str, Any] = {
            key: value
            for key in ("name", "session", "block")
            if (value := getattr(self, key)) is not None
        }
        if self.player is not None:
            changes["player"] = replace(manifest.player, name=self.player)
        if self.remarks:
            changes["notes"] = "; ".join(filter(None, [manifest.notes, self.remarks]))
        if self.plan is not None and self.plan.marks:
            changes["block"] = " + ".join(self.plan.labels)
        return replace(manifest, **changes) if changes else manifest

    def block_labels(self, impacts_club_clock_us: Sequence[float] | FloatArray) -> list[str] | None:
        """The block of each swing by its impact (µs, club clock), where a plan was followed; None
        where the recording is one block."""
        if self.plan is None or not self.plan.marks:
            return None
        return block_labels(self.plan, [float(one) for one in impacts_club_clock_us])


def _wrong(path: Path, key: str) -> SwingspreadError:
    return SwingspreadError(
        f"{path}: {key} is damaged; mend the file, or move it away to start the notes afresh"
    )


def _swing_from_json(item: Any, path: Path, number: int) -> SwingNote:
    names = {field.name for field in fields(SwingNote)}
    impact = item.get("impact_club_clock_us") if isinstance(item, dict) else None
    if type(impact) is not int or abs(impact) > LATEST_IMPACT_US:
        raise _wrong(path, f"swings[{number}]")
    values = {key: value for key, value in item.items() if key in names}
    texts = [value for key, value in values.items() if key != "impact_club_clock_us"]
    if not all(isinstance(value, str) for value in texts):
        raise _wrong(path, f"swings[{number}]")
    return SwingNote(**values)


def read_notes(folder: Path | str) -> RecordingNotes:
    """The notes of a recording folder; empty when nobody wrote any.

    Raises SwingspreadError when the file is damaged or of a later version.
    """
    path = Path(folder) / NOTES_FILE
    document = read_kept(path, SCHEMA_VERSION, _wrong)
    if document is None:
        return RecordingNotes()
    swings = document.get("swings", [])
    if not isinstance(swings, list):
        raise _wrong(path, "swings")
    labels: dict[str, Any] = {key: document.get(key) for key in LABELS}
    labels["remarks"] = document.get("remarks") or ""
    for key, value in labels.items():
        if value is not None and not isinstance(value, str):
            raise _wrong(path, key)
    noted = tuple(_swing_from_json(item, path, number) for number, item in enumerate(swings))
    return RecordingNotes(swings=noted, plan=_plan_from_json(document, path), **labels)


def _plan_from_json(document: dict[str, Any], path: Path) -> FollowedPlan | None:
    value = document.get("plan")
    if value is None:
        return None
    if not isinstance(value, dict):
        raise _wrong(path, "plan")
    try:
        return followed_from_dict(value)
    except SwingspreadError as problem:
        raise _wrong(path, "plan") from problem


def _to_json(notes: RecordingNotes) -> bytes:
    labels = {key: getattr(notes, key) for key in (*LABELS, "remarks")}
    swings = [
        {field.name: getattr(note, field.name) for field in fields(SwingNote)}
        for note in notes.swings
    ]
    document = {
        "schema_version": SCHEMA_VERSION if notes.plan or notes.player is not None else 1,
        **{key: value for key, value in labels.items() if value is not None},
        "swings": swings,
        **({"plan": notes.plan.as_dict()} if notes.plan else {}),
    }
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def update_notes(
    folder: Path | str, change: Callable[[RecordingNotes], RecordingNotes]
) -> RecordingNotes:
    """Read, change and write the notes in one step that other processes wait for.

    Raises SwingspreadError when the notes are damaged, a label is not allowed, or the folder
    cannot be written; the notes on disk are then as before, unless the message says otherwise.
    """
    folder = Path(folder)
    try:
        with locked(folder / LOCK_FILE):
            notes = change(read_notes(folder))
            labels: dict[str, Any] = {
                key: clean_label(value, key)
                for key in LABELS
                if (value := getattr(notes, key)) is not None
            }
            notes = replace(notes, **labels)
            write_file(folder / NOTES_FILE, _to_json(notes))
    except NotForcedError as problem:
        raise SwingspreadError(f"{folder}: writing the notes: {problem.strerror}") from problem
    except OSError as problem:
        raise SwingspreadError(
            f"{folder}: the notes could not be written ({problem.strerror}); "
            "they are as they were before"
        ) from problem
    return notes

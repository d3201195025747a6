"""What a set of swings consists of, as plain data: saved, bookmarked, or typed in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from imu.errors import SwingspreadError
from imu.types import Manifest


@dataclass(frozen=True)
class SwingKey:
    """A swing by its recording and the moment of impact in the club sensor's clock (µs).

    Swing numbers may shift when a recording is analysed anew; this does not.
    """

    recording_id: str
    impact_club_clock_us: float


@dataclass(frozen=True)
class LeftOut:
    """A swing left out by hand, and why."""

    swing: SwingKey
    reason: str


@dataclass(frozen=True)
class Selection:
    """What a set consists of. Within a field any value may match; between fields all must.

    An empty field leaves that aspect free. since, until : ISO dates, both included. kinds :
    "ball", "practice". qualities : of the swing's quality flag; others are left out with their
    reason. picked : only these swings, of whatever kind. left_out : never these, with the reason.
    """

    recordings: tuple[str, ...] = ()
    players: tuple[str, ...] = ()
    clubs: tuple[str, ...] = ()
    sessions: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    directions: tuple[str, ...] = ()
    outcomes: tuple[str, ...] = ()
    since: str = ""
    until: str = ""
    kinds: tuple[str, ...] = ("ball",)
    qualities: tuple[str, ...] = ("good", "fair")
    picked: tuple[SwingKey, ...] = ()
    left_out: tuple[LeftOut, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values; ``selection_from_dict`` reads them back."""
        return asdict(self)


def may_hold(
    selection: Selection, manifest: Manifest, recording_id: str, blocks: Sequence[str] = ()
) -> bool:
    """Whether a recording can hold swings that ``selection`` asks for, by its labels alone.

    blocks : labels of the blocks within it, when it has several. Saves analysing recordings that
    are not meant.
    """
    if selection.recordings:
        by_name = _has((manifest.name,), selection.recordings)
        if not (by_name or recording_id.startswith(selection.recordings)):
            return False
    if selection.picked and all(key.recording_id != recording_id for key in selection.picked):
        return False
    date = manifest.recorded_at[:10]
    if selection.since and date < selection.since:
        return False
    if selection.until and (date > selection.until or not date):
        return False
    return all(
        not wanted or _has(labels, wanted)
        for labels, wanted in (
            ((manifest.player.name,), selection.players),
            ((manifest.club.name,), selection.clubs),
            ((manifest.session,), selection.sessions),
            ((*blocks, manifest.block), selection.blocks),
        )
    )


def _has(labels: Sequence[str], wanted: tuple[str, ...]) -> bool:
    folded = {value.casefold() for value in wanted}
    return any(label.casefold() in folded for label in labels)


def selection_from_dict(values: Mapping[str, Any]) -> Selection:
    """Read back ``Selection.as_dict``. Raises SwingspreadError naming an unknown or odd field."""
    known = {one.name for one in fields(Selection)}
    made: dict[str, Any] = {}
    for name, value in values.items():
        if name not in known:
            raise SwingspreadError(f"a set cannot be chosen by {name!r}")
        try:
            if name in ("since", "until"):
                made[name] = str(value)
            elif name == "picked":
                made[name] = tuple(_key(one) for one in value)
            elif name == "left_out":
                made[name] = tuple(LeftOut(_key(one["swing"]), str(one["reason"])) for one in value)
            else:
                made[name] = tuple(str(one) for one in value)
        except (TypeError, KeyError, ValueError) as problem:
            raise SwingspreadError(f"the set's {name} cannot be read: {value!r}") from problem
    return Selection(**made)


def _key(value: Mapping[str, Any]) -> SwingKey:
    return SwingKey(str(value["recording_id"]), float(value["impact_club_clock_us"]))

"""Kept plans and the recordings that followed them: which session is next, what to compare."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Protocol, TypeVar

from imu.errors import SwingspreadError
from imu.recordings.library import Library, default_library
from imu.recordings.saved_sets import SavedPlan, read_saved_sets
from imu.variation.blocks import FollowedPlan
from imu.variation.selection import Selection
from imu.variation.selection_words import write_selection


class Followed(Protocol):
    """What is asked of a recording here; a listed one of the library or of the pages."""

    @property
    def id(self) -> str: ...

    @property
    def plan(self) -> FollowedPlan | None: ...


OneFollowed = TypeVar("OneFollowed", bound=Followed)


def recordings_of(plan: str, entries: Iterable[OneFollowed]) -> list[OneFollowed]:
    """Recordings in which a block of the plan was begun."""
    return [
        one for one in entries if one.plan is not None and one.plan.name == plan and one.plan.marks
    ]


def blocks_recorded(plan: str, entries: Iterable[Followed]) -> set[int]:
    """Numbers of the plan's blocks that were begun and not passed over at once."""
    return {
        mark.number
        for one in recordings_of(plan, entries)
        if one.plan is not None
        for mark in one.plan.marks
        if mark.until_club_clock_us != mark.from_club_clock_us
    }


def next_session(plan: SavedPlan, entries: Iterable[Followed]) -> int | None:
    """The first session of the plan that no recording holds; None when all are recorded."""
    held = {one.plan.session for one in recordings_of(plan.name, entries) if one.plan}
    return next((number for number in plan.sessions() if number not in held), None)


def session_to_follow(
    place: Path, entries: Iterable[Followed], name: str, session: int | None
) -> FollowedPlan:
    """The session of a kept plan to record by: the one asked for, or the first not yet recorded.

    place : the library's folder. Raises SwingspreadError when there is none.
    """
    plan = read_saved_sets(place).find_plan(name)
    number = session if session is not None else next_session(plan, entries)
    if number is None:
        count = len(plan.sessions())
        said = "its session is" if count == 1 else f"all its {count} sessions are"
        raise SwingspreadError(
            f"plan {name!r}: {said} recorded; name the one to record again with --plan-session"
        )
    return plan.follow(number)


def planned_sides(plan: str, entries: Sequence[Followed]) -> tuple[str, str] | None:
    """The two kinds of block to compare, as lines that name the swings; None before both kinds
    were swung."""
    held = recordings_of(plan, entries)
    kinds = dict.fromkeys(kind for one in held if one.plan for kind in one.plan.kinds)
    swung = {label for one in held if one.plan for label in one.plan.labels}
    labels = [kind for kind in kinds if kind in swung]
    if len(labels) < 2:
        return None
    ids = tuple(one.id for one in held)
    first, second = (write_selection(Selection(ids, blocks=(label,))) for label in labels[:2])
    return first, second


def plan_at_hand(place: Path, entries: Sequence[Followed]) -> str:
    """The plan, kept in the library at ``place``, that all of these recordings followed; "" when
    there is none."""
    names = {one.plan.name if one.plan else "" for one in entries}
    name = names.pop() if len(names) == 1 else ""
    try:
        return name if name in read_saved_sets(place).plans else ""
    except SwingspreadError:
        return ""


def compare_words(plan: str, library: Library) -> str:
    """The command that compares what was planned; "" before both kinds of block were swung."""
    both = planned_sides(plan, library.entries())
    if both is None:
        return ""
    command = ["swingspread", "compare", *both, "--plan", plan]
    if library.path != default_library():
        command += ["--library", str(library.path)]
    return f"compare the blocks with:\n  {shlex.join(command)}"

"""Following a plan in a recording that is going on: from block to block, in its notes.

Whoever takes a step (the command at a key, the page at a tap) writes it here; whoever looks on
reads it from the same notes, so nothing is forgotten with a closed page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from imu.recorder.folder import JournalFolder
from imu.recorder.live_events import block_swings, club_clock_now_us, live_swings
from imu.recordings.notes import RecordingNotes, update_notes
from imu.variation.blocks import (
    BlockSwing,
    FollowedPlan,
    begin,
    ended_when_full,
    pass_over,
    take_back,
)

Step = Callable[[FollowedPlan, float, list[BlockSwing]], FollowedPlan]


def follow_plan(folder: JournalFolder, plan: FollowedPlan) -> None:
    """Write down that the recording follows ``plan``. Raises SwingspreadError."""
    update_notes(folder.path, lambda notes: replace(notes, plan=plan))


def begin_block(folder: JournalFolder, number: int) -> None:
    """Begin block ``number`` now, if it is the one to begin."""
    _step(folder, lambda plan, now_us, swings: begin(plan, number, now_us, swings))


def pass_block_over(folder: JournalFolder, number: int) -> None:
    """Leave block ``number``, at hand or next, as it is."""
    _step(folder, lambda plan, now_us, swings: pass_over(plan, number, now_us, swings))


def take_step_back(folder: JournalFolder) -> None:
    """Take the latest step back, if that moves no swing."""
    _step(folder, lambda plan, _now_us, swings: take_back(plan, swings))


def end_last_block(folder: JournalFolder) -> None:
    """End the last block where it had its swings, not where the recording ends."""
    _step(folder, lambda plan, _now_us, swings: ended_when_full(plan, swings))


def _step(folder: JournalFolder, step: Step) -> None:
    heard = live_swings(folder)
    now_us = club_clock_now_us(heard)

    def change(notes: RecordingNotes) -> RecordingNotes:
        if notes.plan is None:
            return notes
        return replace(notes, plan=step(notes.plan, now_us, block_swings(heard, notes)))

    update_notes(folder.path, change)

"""A plan followed on the command line: what to hit, and on to the next block by itself or a key."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import threading
import time
from collections.abc import Callable

from app.recording_screen import RecordingScreen
from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder
from imu.recorder.live_events import block_swings, live_swings
from imu.recorder.plan_steps import begin_block, pass_block_over, take_step_back
from imu.recordings.names import printable
from imu.recordings.notes import NOTES_FILE, read_notes
from imu.variation.blocks import (
    BlockStanding,
    FollowedPlan,
    PlannedBlock,
    Standing,
    standing,
    totals,
)
from imu.variation.plan import DAY, FATIGUE, ORDER

LOOK_EVERY = 0.1
KEYS = "Enter: begin the next block.  p Enter: pass the block over.  b Enter: a step back."


class PlanGuide:
    """Says which block is at hand, and takes the steps.

    by_hand : the next block begins only when told to, here or on the Record page; otherwise when
    the rest is over, the first at once where nobody can press a key. clock : s, for the rest.
    """

    def __init__(
        self,
        folder: JournalFolder,
        screen: RecordingScreen,
        by_hand: bool = False,
        keys: bool | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder, self._screen, self._by_hand, self._clock = folder, screen, by_hand, clock
        self._keys = sys.stdin is not None and sys.stdin.isatty() if keys is None else keys
        self._seen: tuple[object, ...] = ()
        self._told: tuple[object, ...] = ()
        self._rest_until: float | None = None
        self._problem = ""
        self.plan: FollowedPlan | None = None
        self.standing: Standing | None = None

    async def follow(self) -> None:
        """Look on and guide until cancelled."""
        loop = asyncio.get_running_loop()
        if self._keys:
            self._say(KEYS)
            read_lines(lambda line: loop.call_soon_threadsafe(self._try, lambda: self.press(line)))
        while True:
            self._try(self.look)
            await asyncio.sleep(LOOK_EVERY)

    def _try(self, do: Callable[[], None]) -> None:
        """A disk that refuses is told, and tried again; the recording goes on."""
        try:
            do()
        except (SwingspreadError, OSError) as problem:
            if self._problem != str(problem):
                self._say(f"the plan: {problem}")
            self._problem = str(problem)

    def look(self) -> None:
        """Read how the plan stands, tell what changed, go on when the rest is over."""
        self._read()
        stand = self.standing
        if stand is None:
            return
        self._tell(stand)
        over = self._rest_until is not None and self._clock() >= self._rest_until
        if stand.at_hand is None and stand.to_begin is not None and over:
            self._rest_until = None
            if not self._by_hand:
                begin_block(self._folder, stand.to_begin.number)
                self.look()
            elif stand.to_begin.rest_s:
                self._say(f"rest is over; begin {self._words(stand.to_begin)} when ready")

    def press(self, line: str) -> None:
        """What a person typed: begin, pass over, or a step back."""
        self._read()
        stand, word = self.standing, line.strip().lower()
        if stand is None:
            return
        at_hand = stand.at_hand
        if word == "b":
            if not stand.may_take_back:
                self._say("no step back: the block has swings already")
            take_step_back(self._folder)
        elif word == "p" and (at_hand or stand.to_begin):
            number = at_hand.block.number if at_hand else stand.to_begin.number  # type: ignore[union-attr]
            pass_block_over(self._folder, number)
        elif not word and at_hand is None and stand.to_begin is not None:
            begin_block(self._folder, stand.to_begin.number)
        elif not word and at_hand is not None:
            self._say(f"{_count(at_hand)}; p and Enter passes the rest of it over")
        self.look()

    def _say(self, text: str) -> None:
        self._screen.say(printable(text))

    def _read(self) -> None:
        seen = tuple(
            (path, path.stat().st_mtime_ns, path.stat().st_size)
            for path in (self._folder.path / NOTES_FILE, *self._folder.accounts("swings"))
            if path.exists()
        )
        if seen == self._seen:
            return
        notes = read_notes(self._folder.path)
        self.plan = notes.plan
        if notes.plan is not None:
            swings = block_swings(live_swings(self._folder), notes)
            self.standing = standing(notes.plan, swings)
        self._seen = seen

    def _tell(self, stand: Standing) -> None:
        row = stand.at_hand
        told = (
            row.block.number if row else None,
            row.swings if row else 0,
            stand.to_begin.number if stand.to_begin else None,
            stand.rest_since_us,
        )
        if told == self._told:
            return
        before, self._told = self._told, told
        if row is not None:
            self._rest_until = None
            if not before or before[0] != row.block.number:
                self._say(f"now {self._words(row.block)}")
            elif row.swings:
                self._say(_count(row))
        elif stand.to_begin is not None:
            if not before:
                self._say(ORDER)
            self._tell_rest(stand, stand.to_begin)
        else:
            self._tell_end(stand)

    def _tell_rest(self, stand: Standing, block: PlannedBlock) -> None:
        if stand.rest_since_us is None:
            waits = self._by_hand or self._keys
            self._rest_until = None if waits else self._clock()
            if waits:
                self._say(f"warm up, then begin {self._words(block)}")
            return
        self._rest_until = self._clock() + block.rest_s
        done = [one for one in stand.blocks if one.block.number < block.number]
        how = "" if self._by_hand else ", which begins by itself"
        self._say(
            f"{_count(done[-1])}, {done[-1].state}. Rest {block.rest_s} s, then "
            f"{self._words(block)}{how}"
        )
        self._say(FATIGUE)

    def _tell_end(self, stand: Standing) -> None:
        self._say(f"the plan is complete: {totals(stand)}. Ctrl-C ends the recording")
        self._say(DAY)

    def _words(self, block: PlannedBlock) -> str:
        count = len(self.plan.blocks) if self.plan else 0
        place = [one.number for one in self.plan.blocks].index(block.number) + 1 if self.plan else 0
        return f"block {place} of {count}: {block.swings} × {block.label}"


def _count(row: BlockStanding) -> str:
    return f"block of {row.block.label}: {row.swings} of {row.block.swings} swings"


def read_lines(told: Callable[[str], object], source: int = 0) -> None:
    """Hear every line typed, in a thread of its own that ends with the program.

    source : file descriptor, the terminal's by default.
    """
    if hasattr(signal, "SIGTTIN") and threading.current_thread() is threading.main_thread():
        # Sent to the background, a program that reads the terminal would be halted, and with it
        # the recording; so the reading fails instead.
        signal.signal(signal.SIGTTIN, signal.SIG_IGN)

    def read() -> None:
        kept = b""
        while True:
            # Not through sys.stdin: its lock, held by a waiting reader, would hinder the exit.
            try:
                piece = os.read(source, 1024)
            except OSError:
                time.sleep(1.0)
                continue
            if not piece:
                return
            *lines, kept = (kept + piece).split(b"\n")
            for line in lines:
                told(line.decode("utf-8", "replace"))

    threading.Thread(target=read, daemon=True).start()

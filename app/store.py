"""Analyses for the pages: worked out once, kept in memory and beside the recording.

The server holds samples, the browser holds ids. Long work runs in a thread of its own with
progress and cancel, so that a page never waits on it.
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from app.chosen import noted, noted_on
from app.preferences import Preferences
from app.saved_sets import chosen_rows, fitting, selection_of, set_in, shown_name
from app.shelf import Entry, Shelf
from imu.columns import headline_metrics
from imu.errors import SwingspreadError
from imu.figures.alignment import AlignedCurves, align_curves
from imu.recordings.notes import RecordingNotes, SwingNote
from imu.settings import AnalysisSettings
from imu.types import Analysis
from imu.variation.selection import Selection
from imu.variation.sets import context_of, with_context

ANALYSES_KEPT = 40
"""Analyses held in memory; older ones are read again from disk."""

SESSION_COLUMNS: tuple[str, ...] = (
    "swing",
    "kind",
    "quality",
    "start_s",
    "impact_club_clock_us",
    *(f"{metric.name}{end}" for metric in headline_metrics() for end in ("", "_se", "_se_swing")),
)
"""Columns of the swing table that the table of sessions is made of."""

KEY_STEP = 10_000
"""Swings of the second recording shown are keyed from 10,001, of the third from 20,001, …"""


@dataclass(frozen=True, eq=False)
class SwingSet:
    """Swings of one or more recordings shown together.

    swings : the swing table with the columns of ``imu.variation.sets.CONTEXT_COLUMNS``, ``key``
    (unique) and ``name`` ("Swing 14"). parts : per recording, its curves and its rows of
    ``swings``.
    """

    ids: tuple[str, ...]
    entries: tuple[Entry, ...]
    swings: pd.DataFrame
    parts: tuple[tuple[pd.DataFrame, pd.DataFrame], ...]
    analyses: tuple[Analysis, ...]

    def only(self, keep: pd.Series) -> SwingSet:
        """The rows of ``swings`` where ``keep`` is true."""
        swings = self.swings[keep]
        parts = tuple(
            (curves, rows[rows["key"].isin(swings["key"])]) for curves, rows in self.parts
        )
        return SwingSet(self.ids, self.entries, swings, parts, self.analyses)

    def counted(self) -> SwingSet:
        """Without swings left out by hand or of poor quality."""
        return self.only((self.swings["left_out"] == "") & (self.swings["quality"] != "poor"))


class Cancelled(Exception):
    """The person asked to stop."""


@dataclass
class Job:
    """One analysis under way."""

    fraction: float = 0.0
    text: str = "Waiting"
    done: bool = False
    error: str = ""
    cancel: threading.Event = field(default_factory=threading.Event)


class Store:
    """Everything the pages ask for, by id."""

    def __init__(self, shelf: Shelf, preferences: Preferences | None = None) -> None:
        self.shelf = shelf
        self.preferences = preferences or Preferences()
        self._analyses: OrderedDict[tuple[Any, ...], Analysis] = OrderedDict()
        self._tables: dict[tuple[Any, ...], pd.DataFrame] = {}
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self._one_at_a_time = threading.Lock()
        self._aligned = lru_cache(maxsize=24)(self._align)

    @property
    def settings(self) -> AnalysisSettings:
        """Thresholds of the analyses."""
        return self.preferences.analysis_settings()

    def prefer(self, preferences: Preferences) -> None:
        """Take over new preferences; analyses follow when next asked for."""
        self.preferences = preferences

    def entries(self) -> list[Entry]:
        """All recordings, the user's own first, the newest first."""
        return self.shelf.entries()

    def selection(self, token: str) -> Selection | None:
        """What the saved set, or selection, that ``token`` stands for asks for; None when it is a
        recording. Raises SwingspreadError when there is no such set."""
        return selection_of(self.shelf.place(), token)

    def resolve(self, wanted: Sequence[str]) -> tuple[Entry, ...]:
        """Entries of the ids (or unique beginnings of ids) and saved sets in ``wanted``, in that
        order, each once.

        Raises SwingspreadError for one that is not in the library.
        """
        entries = self.shelf.entries()
        found: dict[str, Entry] = {}
        for beginning in dict.fromkeys(wanted):
            selection = self.selection(beginning)
            if selection is not None:
                held = fitting(selection, entries, shown_name(beginning))
                found |= {entry.id: entry for entry in held}
                continue
            matches = [entry for entry in entries if entry.id.startswith(beginning)]
            if len(matches) != 1 or not beginning:
                raise SwingspreadError(
                    f"Recording {beginning or '(none)'} is not in this library. "
                    "It may have been moved; choose another on the start page."
                )
            found[matches[0].id] = matches[0]
        return tuple(found.values())

    def tokens(self, wanted: Sequence[str]) -> list[str]:
        """``wanted`` with every recording by its whole id. Raises SwingspreadError."""
        return [
            token if set_in(token) else self.resolve([token])[0].id
            for token in dict.fromkeys(wanted)
        ]

    def analysis(self, recording_id: str) -> Analysis | None:
        """The analysis if it is at hand (memory or disk), else None."""
        key = (recording_id, self.settings)
        with self._lock:
            if key in self._analyses:
                self._analyses.move_to_end(key)
                return self._analyses[key]
        found = self.shelf.cached(recording_id, self.settings)
        if found is not None:
            self._keep(key, found)
        return found

    def has(self, recording_id: str) -> bool:
        """Whether the recording's analysis is at hand."""
        return self.analysis(recording_id) is not None

    def start(self, ids: Sequence[str]) -> None:
        """Begin the analyses that are missing, one after another, in the background."""
        for recording_id in ids:
            with self._lock:
                job = self._jobs.get(recording_id)
                if job is not None and not job.done:
                    continue
                job = self._jobs[recording_id] = Job()
            threading.Thread(target=self._work, args=(recording_id, job), daemon=True).start()

    def stop(self, ids: Sequence[str]) -> None:
        """Ask running analyses to stop."""
        for recording_id in ids:
            if job := self._jobs.get(recording_id):
                job.cancel.set()

    def under_way(self) -> list[str]:
        """Recordings whose analysis is asked for and not done."""
        with self._lock:
            return [recording_id for recording_id, job in self._jobs.items() if not job.done]

    def progress(self, ids: Sequence[str]) -> tuple[float, str, str]:
        """Fraction done, what is being done, and the first error, over ``ids``."""
        fractions, text, error = [], "", ""
        for recording_id in ids:
            job = self._jobs.get(recording_id)
            if job is None or job.done:
                fractions.append(1.0)
                error = error or (job.error if job else "")
            else:
                fractions.append(job.fraction)
                text = text or job.text
        return (sum(fractions) / max(len(fractions), 1), text, error)

    def swings_of(self, recording_id: str) -> pd.DataFrame | None:
        """``SESSION_COLUMNS`` of the swing table, from memory or disk: all that many sessions
        together need."""
        key = (recording_id, self.settings)
        if key in self._tables:
            return self._tables[key]
        with self._lock:
            analysis = self._analyses.get(key)
        if analysis is not None:
            there = [name for name in SESSION_COLUMNS if name in analysis.swings]
            found: pd.DataFrame | None = analysis.swings[there]
        else:
            found = self.shelf.cached_swings(recording_id, self.settings, SESSION_COLUMNS)
        if found is not None:
            self._tables[key] = found
        return found

    def session_swings(self, entries: Sequence[Entry]) -> pd.DataFrame:
        """Swings of these recordings with what is known and noted of them, without curves and
        with the headline metrics alone.

        Raises SwingspreadError for one that has not been analysed.
        """
        tables, said, facts = [], [], []
        for entry in entries:
            swings = self.swings_of(entry.id)
            if swings is None:
                raise SwingspreadError(f"{entry.name} has not been analysed yet.")
            tables.append(swings)
            said.append(noted_on(self.shelf.notes(entry.id), swings))
            facts.append(context_of(entry.manifest, entry.id))
        rows = np.repeat(np.arange(len(tables)), [len(table) for table in tables])
        context = pd.DataFrame(facts).iloc[rows].reset_index(drop=True)
        every, noted_down = pd.concat(tables, ignore_index=True), pd.concat(said, ignore_index=True)
        if "block" in noted_down:
            own = noted_down.pop("block")
            context["block"] = own.where(own.notna(), context["block"])
        return pd.concat([every, context, noted_down], axis=1)

    def swing_set(self, ids: Sequence[str]) -> SwingSet:
        """Swings of the recordings and saved sets ``ids`` with what people noted on them.

        Their analyses must be ready. Raises SwingspreadError when one is not.
        """
        entries = self.resolve(ids)
        if not entries:
            raise SwingspreadError("No recording is chosen; choose one on the start page.")
        parts, analyses = [], []
        for position, entry in enumerate(entries):
            analysis = self.analysis(entry.id)
            if analysis is None:
                raise SwingspreadError(f"{entry.name} has not been analysed yet.")
            said = noted(self.shelf.notes(entry.id), analysis)
            swings = with_context(analysis.swings, entry.manifest, entry.id, said)
            number = swings["swing"].astype(int)
            lead = (entry.block or entry.name) if len(entries) > 1 else "Swing"
            swings = swings.assign(
                key=number + position * KEY_STEP, name=[f"{lead} {value}" for value in number]
            )
            parts.append((analysis.curves, swings))
            analyses.append(analysis)
        every = pd.concat([rows for _, rows in parts], ignore_index=True)
        found = tuple(entry.id for entry in entries)
        whole = SwingSet(found, entries, every, tuple(parts), tuple(analyses))
        return self._within_sets(whole, ids)

    def _within_sets(self, whole: SwingSet, tokens: Sequence[str]) -> SwingSet:
        """Only the swings that the sets among ``tokens`` ask for, beside whole recordings."""
        if not any(set_in(token) for token in tokens):
            return whole
        every = whole.swings
        keep = pd.Series(False, index=every.index)
        left_out = every["left_out"].copy()
        for token in tokens:
            selection = self.selection(token)
            if selection is None:
                keep |= every["recording_id"].str.startswith(token)
                continue
            said = chosen_rows(every, selection, shown_name(token))
            keep |= said.notna()
            by_hand = said.notna() & (said != "") & (left_out == "") & (every["quality"] != "poor")
            left_out[by_hand] = said[by_hand]
        return replace(whole, swings=every.assign(left_out=left_out)).only(keep)

    def note_swing(
        self,
        recording_id: str,
        swing: int,
        direction: str | None = None,
        outcome: str | None = None,
        left_out: str | None = None,
    ) -> None:
        """Note something on one swing: where the ball went, the shot, or why it is left out;
        None leaves what was noted before."""
        analysis = self.analysis(recording_id)
        if analysis is None:
            raise SwingspreadError("The recording has not been analysed yet.")
        rows = analysis.swings[analysis.swings["swing"] == swing]
        impact = float(rows["impact_club_clock_us"].iloc[0]) if len(rows) else math.nan
        if not math.isfinite(impact):
            raise SwingspreadError(f"Swing {swing} has no moment of impact to note it by.")

        def change(notes: RecordingNotes) -> RecordingNotes:
            note = notes.find(impact) or SwingNote(round(impact))
            if direction is not None:
                note = replace(note, direction=direction)
            if outcome is not None:
                note = replace(note, outcome=outcome)
            if left_out is not None:
                note = replace(note, left_out=left_out)
            return notes.with_swing(note)

        self.shelf.change_notes(recording_id, change)

    def leave_out(self, shown: SwingSet, keys: Sequence[str], reason: str) -> int:
        """Leave the swings ``keys`` of ``shown`` out of all statistics, or count them again when
        ``reason`` is empty. Returns how many; raises SwingspreadError for none."""
        rows = shown.swings[shown.swings["key"].astype(str).isin(set(keys))]
        impacts = rows.loc[rows["impact_club_clock_us"].notna()]
        if not len(impacts):
            raise SwingspreadError("None of these swings has an impact to note it by.")
        for recording_id, group in impacts.groupby("recording_id", sort=False):
            moments = group["impact_club_clock_us"].to_numpy(float)

            def change(notes: RecordingNotes, moments: Any = moments) -> RecordingNotes:
                for impact in moments:
                    note = notes.find(impact) or SwingNote(round(impact))
                    notes = notes.with_swing(replace(note, left_out=reason))
                return notes

            self.shelf.change_notes(str(recording_id), change)
        return len(impacts)

    def aligned(
        self, ids: tuple[str, ...], keys: tuple[int, ...], columns: tuple[str, ...], alignment: str
    ) -> AlignedCurves:
        """Curves of the swings ``keys`` on one display grid; remembered."""
        return self._aligned(ids, keys, columns, alignment, self.settings)

    def _align(
        self,
        ids: tuple[str, ...],
        keys: tuple[int, ...],
        columns: tuple[str, ...],
        alignment: str,
        settings: AnalysisSettings,
    ) -> AlignedCurves:
        chosen = self.swing_set(ids)
        chosen = chosen.only(chosen.swings["key"].isin(keys))
        return align_curves(chosen.parts, columns, alignment)

    def _keep(self, key: tuple[Any, ...], analysis: Analysis) -> None:
        with self._lock:
            self._analyses[key] = analysis
            while len(self._analyses) > ANALYSES_KEPT:
                self._analyses.popitem(last=False)

    def _work(self, recording_id: str, job: Job) -> None:
        def report(fraction: float, text: str) -> None:
            job.fraction, job.text = fraction, text
            if job.cancel.is_set():
                raise Cancelled

        settings = self.settings
        try:
            with self._one_at_a_time:
                report(0.0, "Reading the recording")
                if self.analysis(recording_id) is None:
                    found = self.shelf.analyse(recording_id, settings, report)
                    self._keep((recording_id, settings), found)
        except Cancelled:
            job.error = "Stopped."
        except SwingspreadError as problem:
            job.error = str(problem)
        except Exception as problem:
            job.error = f"The analysis failed ({type(problem).__name__}: {problem})."
        finally:
            job.done = True

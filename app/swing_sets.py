"""Sets of swings named on the command line: a recording, a saved set, or a selection.

Only recordings that can hold the swings asked for are analysed, or read from the cache.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa

from app.chosen import NOTED, analysed, noted, noted_on
from app.derived import read_cached_swings
from app.known_labels import with_known_labels
from app.preferences import read_preferences
from imu.errors import SwingspreadError
from imu.moments import moment
from imu.number_words import counted
from imu.recordings.library import Library
from imu.recordings.library_entry import LibraryEntry
from imu.recordings.notes import read_notes
from imu.recordings.saved_sets import read_saved_sets
from imu.settings import AnalysisSettings
from imu.types import Analysis, Manifest
from imu.variation.selection import Selection, may_hold
from imu.variation.selection_words import is_selection, parse_selection
from imu.variation.sets import SwingSet, context_of, pool, select

TELLING = ("swing", "kind", "quality", "notes", "start_s", "impact_s", "impact_club_clock_us")
"""Columns of the swing table by which swings are told apart, chosen and left out."""


def chosen_metrics(text: str | None) -> list[str] | None:
    """Names of metrics from the command line; None for the headline ones.

    Raises SwingspreadError for one that does not exist, naming close ones.
    """
    import difflib

    from imu.columns import METRIC_BY_NAME, METRICS

    if text is None:
        return None
    if text.strip() == "all":
        return [metric.name for metric in METRICS]
    names = [name.strip() for name in text.split(",") if name.strip()]
    if not names:
        raise SwingspreadError("--metrics: name at least one measure, or 'all'")
    for name in names:
        if name not in METRIC_BY_NAME:
            close = difflib.get_close_matches(name, METRIC_BY_NAME, n=2, cutoff=0.5)
            hint = f"; did you mean {' or '.join(close)}" if close else ""
            known = ", ".join(METRIC_BY_NAME)
            raise SwingspreadError(f"there is no measure {name!r}{hint}. There are: {known}")
    return names


def what_is_meant(library: Library, text: str) -> tuple[Selection, str, list[LibraryEntry]]:
    """The selection a text stands for, the set's name, and the recordings that may hold it.

    A text that begins with field= is a selection; then come saved sets by name, then recordings.
    Raises SwingspreadError when it is none of these, or no recording can hold it.
    """
    if is_selection(text):
        selection, name = parse_selection(text), text
    elif text in (saved := read_saved_sets(library.path).sets):
        selection, name = saved[text].selection, text
    else:
        entry = library.find(text)
        if entry.manifest is None:
            raise SwingspreadError(entry.problem)
        name = entry.manifest.block or entry.manifest.name or entry.id
        return Selection(recordings=(entry.id,)), name, [entry]
    entries = [entry for entry in library.entries() if entry.manifest is not None]
    fitting = [
        entry
        for entry in entries
        if entry.manifest is not None
        and may_hold(selection, entry.manifest, entry.id, entry.blocks)
    ]
    if not fitting:
        raise SwingspreadError(_nothing_fits(library, entries, name))
    return selection, name, fitting


def _nothing_fits(library: Library, entries: Sequence[LibraryEntry], name: str) -> str:
    if not entries:
        return f"the library {library.path} is empty; import or record something first"
    return with_known_labels(f"no recording in {library.path} fits {name}", entries)


def swing_set(
    library_path: str | None,
    text: str,
    with_curves: bool = True,
    metrics: Sequence[str] | None = None,
) -> SwingSet:
    """The swings that ``text`` means, analysed now by the settings of the Settings page, or read
    from the cache.

    metrics : when given, only these and what tells swings apart, and no curves: many times
    quicker over hundreds of recordings.
    In recordings without a struck ball practice swings are taken. Raises SwingspreadError when
    nothing is meant, or a recording cannot be analysed.
    """
    chosen = read_preferences().analysis_settings()
    with_curves = with_curves and metrics is None
    library = Library(library_path)
    selection, name, entries = what_is_meant(library, text)
    everything = None if metrics is None else _pooled_from_caches(entries, chosen, metrics)
    if everything is None:
        parts = []
        for entry in entries:
            part = None if with_curves else _swings_only(entry, chosen)
            if part is None:
                done = analysed(library_path, str(entry.folder), chosen)
                part = (done.manifest, done.analysis, noted(done.notes, done.analysis))
            parts.append(part)
        everything = pool(parts, with_curves)
    if not len(everything):
        there = counted(len(entries), "recording")
        raise SwingspreadError(f"{name}: no swings were found in {there}")
    if selection.kinds == ("ball",) and not (everything.swings["kind"] == "ball").any():
        selection = replace(selection, kinds=("practice",))
    return select(everything, selection, name)


def check_holds(swings: SwingSet) -> None:
    """Raises SwingspreadError, saying what was left out and why, when no swing is in the set."""
    if len(swings):
        return
    reasons = list(dict.fromkeys(str(reason) for reason in swings.left_out.get("reason", ())))
    why = f"no swing counts; left out: {counted(len(swings.left_out), 'swing')} "
    why += f"({'; '.join(reasons[:3])})"
    raise SwingspreadError(f"{swings.name}: {why if reasons else 'no swing fits'}")


def _pooled_from_caches(
    entries: Sequence[LibraryEntry], settings: AnalysisSettings, metrics: Sequence[str]
) -> SwingSet | None:
    """What ``pool`` makes of these recordings, of some columns and in one piece, which is many
    times quicker; None when an analysis is not kept."""
    ends = ("", "_se", "_se_swing")
    wanted = {*TELLING, *(f"{metric}{end}" for metric in metrics for end in ends)}
    tables, contexts, counts, notes = [], [], [], []
    for entry in sorted(entries, key=lambda entry: moment(entry.recorded_at)):
        table = read_cached_swings(entry.folder, settings, wanted)
        if table is None or entry.manifest is None:
            return None
        table = table.replace_schema_metadata(None)
        if not table.num_rows:
            continue
        said = read_notes(entry.folder)
        tables.append(table)
        contexts.append(context_of(entry.manifest, entry.id))
        counts.append(table.num_rows)
        notes.append(noted_on(said, table.to_pandas()) if said.swings or said.plan else None)
    if not tables:
        return SwingSet("all swings", pd.DataFrame())
    swings = pa.concat_tables(tables, promote_options="permissive").to_pandas()
    context = pd.DataFrame(contexts).take(np.repeat(np.arange(len(counts)), counts))
    block = context.pop("block").to_numpy(object)
    blank = {column: np.full(len(swings), "", dtype=object) for column in NOTED}
    for start, part in zip(np.cumsum([0, *counts]), notes, strict=False):
        if part is not None:
            for column in NOTED:
                blank[column][start : start + len(part)] = part[column]
            if "block" in part:
                block[start : start + len(part)] = part["block"]
    parts = [swings, context.reset_index(drop=True).assign(block=block), pd.DataFrame(blank)]
    return SwingSet("all swings", pd.concat(parts, axis=1))


def _swings_only(
    entry: LibraryEntry, settings: AnalysisSettings
) -> tuple[Manifest, Analysis, pd.DataFrame] | None:
    """Swing table from the cache without its far larger curves; None when not kept."""
    table = read_cached_swings(entry.folder, settings)
    if table is None or entry.manifest is None:
        return None
    analysis = Analysis(
        recording_id=entry.id,
        version="",
        handedness=entry.manifest.player.handedness,
        settings=settings.as_dict(),
        swings=table.to_pandas(),
        curves=pd.DataFrame(),
        calibration={},
        clock={},
        rejected=pd.DataFrame(),
    )
    return entry.manifest, analysis, noted(read_notes(entry.folder), analysis)

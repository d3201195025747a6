"""Which swings are meant: a set is chosen from the pool by what is known of each swing.

The pool is one table of swings from any number of recordings, with what their manifests and
notes say beside the metrics. Swings left out stay on record with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from imu.errors import SwingspreadError
from imu.moments import moment
from imu.types import Analysis, Manifest
from imu.variation.selection import LeftOut, Selection, SwingKey

__all__ = [
    "CONTEXT_COLUMNS",
    "LEFT_OUT_COLUMNS",
    "LeftOut",
    "Selection",
    "SwingKey",
    "SwingSet",
    "pool",
    "select",
    "with_context",
]

CONTEXT_COLUMNS: dict[str, str] = {
    "recording_id": "the recording the swing is in",
    "recording": "its name",
    "player": "who swings",
    "club": "club as declared",
    "club_length_m": "its length, m",
    "grip": "how the club is held, when declared",
    "handedness": "right or left",
    "session": "session label",
    "block": "block label",
    "recorded_at": "ISO 8601 start of the recording",
    "date": "day of the recording, YYYY-MM-DD",
    "session_key": "sessions are told apart by player, day and label",
    "direction": "where the ball went, as noted: left, straight, right",
    "outcome": "the shot as noted: good, bad",
    "left_out": "why the swing is left out, as noted",
}
"""Columns of the pool besides those of the swing table."""

SAME_SWING_US = 500_000.0
"""Impacts closer than this in the club's clock are the same swing."""

LEFT_OUT_COLUMNS = ("recording_id", "recording", "swing", "impact_club_clock_us", "reason")


@dataclass(frozen=True, eq=False)
class SwingSet:
    """Swings chosen, and those left out.

    swings : swing table with ``CONTEXT_COLUMNS``. curves : curve table with ``recording_id``
    (empty when not loaded). left_out : ``LEFT_OUT_COLUMNS``.
    """

    name: str
    swings: pd.DataFrame
    curves: pd.DataFrame = field(default_factory=pd.DataFrame)
    left_out: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=LEFT_OUT_COLUMNS))
    selection: Selection = field(default_factory=Selection)

    def __len__(self) -> int:
        return len(self.swings)

    def only(self, column: str) -> str:
        """The one value of a context column, "" when there are several or none."""
        values = self.values(column)
        return values[0] if len(values) == 1 else ""

    def values(self, column: str) -> list[str]:
        """Distinct values of a context column, in order of appearance, without blanks."""
        if column not in self.swings:
            return []
        return [str(v) for v in self.swings[column].unique() if isinstance(v, str) and v]


def context_of(manifest: Manifest, recording_id: str) -> dict[str, Any]:
    """What ``CONTEXT_COLUMNS`` say of every swing of one recording; notes on swings not among
    them."""
    date = manifest.recorded_at[:10]
    label = manifest.session or ("" if date else recording_id)
    club_facts = manifest.sensors.get("club", {})
    return {
        "recording_id": recording_id,
        "recording": manifest.name or recording_id[:12],
        "player": manifest.player.name,
        "club": manifest.club.name,
        "club_length_m": manifest.club.length,
        "grip": str(club_facts.get("grip", "")),
        "handedness": manifest.player.handedness,
        "session": manifest.session,
        "block": manifest.block,
        "recorded_at": manifest.recorded_at,
        "date": date,
        "session_key": " · ".join(part for part in (manifest.player.name, date, label) if part),
    }


def with_context(
    swings: pd.DataFrame,
    manifest: Manifest,
    recording_id: str,
    shot_results: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """The swing table of one recording with the columns of ``CONTEXT_COLUMNS``.

    shot_results : optional, one row a swing in the same order, with any of ``direction``,
    ``outcome``, ``left_out`` and, where the recording has several blocks, ``block``.
    """
    facts = context_of(manifest, recording_id)
    for column in ("direction", "outcome", "left_out"):
        if shot_results is not None and column in shot_results:
            facts[column] = shot_results[column].to_numpy()
        elif column not in swings:
            facts[column] = ""
    if shot_results is not None and "block" in shot_results:
        facts["block"] = shot_results["block"].to_numpy()
    # In one piece: column by column takes ten times as long over hundreds of recordings.
    context = pd.DataFrame(facts, index=swings.index)
    kept = swings.drop(columns=[column for column in facts if column in swings])
    return pd.concat([kept, context], axis=1)


def pool(
    analyses: Iterable[tuple[Manifest, Analysis, pd.DataFrame | None]], with_curves: bool = True
) -> SwingSet:
    """All swings of several recordings as one set to select from, earliest recording first.

    analyses : manifest, analysis and shot results (or None) of each recording. Raises
    SwingspreadError when the same recording is given twice.
    """
    parts = sorted(analyses, key=lambda part: moment(part[0].recorded_at))
    ids = [analysis.recording_id for _, analysis, _ in parts]
    doubles = {one for one in ids if ids.count(one) > 1}
    if doubles:
        raise SwingspreadError(f"recording {sorted(doubles)[0]} is given twice; name it once")
    swings = [
        with_context(analysis.swings, manifest, analysis.recording_id, results)
        for manifest, analysis, results in parts
        if len(analysis.swings)
    ]
    curves = [
        analysis.curves.assign(recording_id=analysis.recording_id)
        for _, analysis, _ in parts
        if with_curves and len(analysis.curves)
    ]
    return SwingSet(
        "all swings",
        pd.concat(swings, ignore_index=True) if swings else pd.DataFrame(),
        pd.concat(curves, ignore_index=True) if curves else pd.DataFrame(),
    )


def _matching_rows(swings: pd.DataFrame, keys: Iterable[SwingKey]) -> dict[int, int]:
    """Row position of each key found, by the key's own position."""
    ids = swings["recording_id"].to_numpy()
    impacts = swings["impact_club_clock_us"].to_numpy(np.float64)
    found: dict[int, int] = {}
    for position, key in enumerate(keys):
        distance = np.abs(impacts - key.impact_club_clock_us)
        distance = np.where((ids == key.recording_id) & np.isfinite(distance), distance, np.inf)
        if len(distance) and distance.min() <= SAME_SWING_US:
            found[position] = int(distance.argmin())
    return found


def _is_any(column: pd.Series, wanted: tuple[str, ...]) -> np.ndarray:
    folded = {value.casefold() for value in wanted}
    return np.array([str(value).casefold() in folded for value in column], dtype=bool)


def _asked_for(swings: pd.DataFrame, column: str, wanted: tuple[str, ...], name: str) -> np.ndarray:
    """Rows with any of the wanted labels; an error for a label that no swing has."""
    fits = np.zeros(len(swings), dtype=bool)
    for label in wanted:
        one = _is_any(swings[column], (label,))
        if column == "recording":
            one |= np.array([str(whole).startswith(label) for whole in swings["recording_id"]])
        if not one.any():
            known = sorted({str(value) for value in swings[column] if value})
            listed = ", ".join(known[:12]) + (", …" if len(known) > 12 else "")
            raise SwingspreadError(f"{name}: no swing of {column} {label!r}; there are: {listed}")
        fits |= one
    return fits


def select(everything: SwingSet, selection: Selection, name: str) -> SwingSet:
    """The swings of ``everything`` that ``selection`` asks for, and those it leaves out.

    A recording may be named by its id, the beginning of it, or its name. Raises
    SwingspreadError for a label that no swing has, and for a swing picked by hand that is not
    there.
    """
    swings = everything.swings
    if not len(swings):
        raise SwingspreadError(f"{name}: there are no swings to choose from")
    keep = np.ones(len(swings), dtype=bool)
    if selection.recordings:
        keep &= _asked_for(swings, "recording", selection.recordings, name)
    for column, wanted in (
        ("player", selection.players),
        ("club", selection.clubs),
        ("session", selection.sessions),
        ("block", selection.blocks),
    ):
        if wanted:
            keep &= _asked_for(swings, column, wanted, name)
    for column, wanted in (
        ("direction", selection.directions),
        ("outcome", selection.outcomes),
        ("kind", () if selection.picked else selection.kinds),
    ):
        if wanted:
            keep &= _is_any(swings[column], wanted)
    dates = swings["date"].to_numpy(str)
    if selection.since:
        keep &= dates >= selection.since
    if selection.until:
        keep &= (dates <= selection.until) & (dates != "")
    if selection.picked:
        found = _matching_rows(swings, selection.picked)
        if len(found) < len(selection.picked):
            lost = next(key for i, key in enumerate(selection.picked) if i not in found)
            raise SwingspreadError(
                f"{name}: no swing of recording {lost.recording_id} has its impact at "
                f"{lost.impact_club_clock_us:.0f} µs; pick it again"
            )
        chosen = np.zeros(len(swings), dtype=bool)
        chosen[list(found.values())] = True
        keep &= chosen
    reasons = _reasons(swings, selection)
    out = keep & (reasons != "")
    stay = keep & ~out
    left_out = swings.loc[out, ["recording_id", "recording", "swing", "impact_club_clock_us"]]
    left_out = left_out.assign(reason=reasons[out]).reset_index(drop=True)
    chosen_swings = swings.loc[stay].reset_index(drop=True)
    return SwingSet(name, chosen_swings, _curves_of(everything, stay), left_out, selection)


def _reasons(swings: pd.DataFrame, selection: Selection) -> np.ndarray:
    """Why each swing is left out, "" when it is not: by hand first, then noted, then quality."""
    reasons = np.full(len(swings), "", dtype=object)
    if selection.qualities and "quality" in swings:
        poor = ~_is_any(swings["quality"], selection.qualities)
        notes = swings["notes"] if "notes" in swings else pd.Series("", index=swings.index)
        for row in np.flatnonzero(poor):
            said = str(notes.iloc[row] or "")
            quality = f"quality {swings['quality'].iloc[row]}"
            reasons[row] = f"{quality}: {said}" if said else quality
    noted = swings["left_out"].to_numpy(object)
    for row in np.flatnonzero([isinstance(why, str) and why != "" for why in noted]):
        reasons[row] = noted[row]
    rows = _matching_rows(swings, [one.swing for one in selection.left_out])
    for position, found in rows.items():
        reasons[found] = selection.left_out[position].reason or "left out by hand"
    return reasons


def _curves_of(everything: SwingSet, stay: np.ndarray) -> pd.DataFrame:
    curves = everything.curves
    if not len(curves) or stay.all():
        return curves
    kept = pd.MultiIndex.from_frame(everything.swings.loc[stay, ["recording_id", "swing"]])
    have = pd.MultiIndex.from_frame(curves[["recording_id", "swing"]])
    return curves[have.isin(kept)].reset_index(drop=True)

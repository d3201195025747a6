"""Two sets of swings for the compare page: chosen, compared, remembered."""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from app.saved_sets import block_token, shown_name
from app.shelf import Entry
from app.store import Store, SwingSet
from imu.errors import SwingspreadError
from imu.variation.compare import Comparison, compare_sets
from imu.variation.limits import Limits, limits_from_dict
from imu.variation.sets import SwingSet as CountedSet
from imu.variation.sets import pool

PAIRS = (("practice", "pressure"), ("practice", "after-drill"), ("warm-up", "practice"))
"""Blocks that go together when nothing was chosen, in order of interest."""


def usual_pair(entries: Sequence[Entry]) -> tuple[str, str] | None:
    """Words of two sets worth comparing: blocks of one player, club and session."""
    sound = [entry for entry in entries if not entry.problem]
    for first, second in PAIRS:
        for a in sound:
            held = {label.casefold(): label for label in a.blocks}
            if first in held and second in held:
                return block_token([a.id], held[first]), block_token([a.id], held[second])
            for b in sound:
                same = (a.player, a.club, a.session) == (b.player, b.club, b.session)
                if same and a.block.casefold() == first and b.block.casefold() == second:
                    return a.id, b.id
    return (sound[0].id, sound[1].id) if len(sound) > 1 else None


def set_name(entries: Sequence[Entry], others: Sequence[Entry]) -> str:
    """What tells these recordings from the others, in a word or two."""
    if not others:
        return " + ".join(dict.fromkeys(entry.block or entry.name for entry in entries))
    for aspect in ("block", "club", "player", "day", "session"):
        ours = {getattr(entry, aspect) for entry in entries}
        theirs = {getattr(entry, aspect) for entry in others}
        if len(ours) == 1 and ours != theirs and "" not in ours:
            return str(ours.pop())
    return " + ".join(entry.name for entry in entries)


def side_name(store: Store, tokens: Sequence[str], others: Sequence[str]) -> str:
    """Name of one side of a comparison: of its saved sets, or what tells its recordings apart."""
    names = [shown_name(token) for token in tokens]
    if names and all(names):
        return " + ".join(names)
    return set_name(store.resolve(tokens), store.resolve(others) if others else ())


def counted_set(shown: SwingSet, name: str) -> CountedSet:
    """The struck swings that count, with their curves, as the statistics take them."""
    counted = shown.counted()
    struck = counted.only(counted.swings["kind"] == "ball")
    if not len(struck.swings):
        struck = counted
    everything = pool(
        [
            (entry.manifest, analysis, None)
            for entry, analysis in zip(shown.entries, shown.analyses, strict=True)
        ]
    )
    swings = struck.swings.drop(columns=["key", "name"]).reset_index(drop=True)
    curves = everything.curves
    inside = np.zeros(len(curves), dtype=bool)
    for identity, own in swings.groupby("recording_id"):
        inside |= (curves["recording_id"] == identity) & curves["swing"].isin(own["swing"])
    left_out = shown.swings[~shown.swings["key"].isin(struck.swings["key"])]
    reasons = left_out.assign(reason=left_out["left_out"].where(left_out["left_out"] != "", "poor"))
    columns = ["recording_id", "recording", "swing", "impact_club_clock_us", "reason"]
    return CountedSet(name, swings, curves[inside], reasons.loc[reasons["kind"] == "ball", columns])


NOTED = ("key", "left_out", "direction", "outcome", "block", "session", "player", "recording")
"""Columns that people can change after the analysis, and that a comparison says something of."""


class Comparer:
    """Comparisons, remembered by what they were made of."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._compare = lru_cache(maxsize=16)(self._work)
        self._one_at_a_time = threading.Lock()

    def compare(
        self, first: Sequence[str], second: Sequence[str], limits: Limits
    ) -> tuple[Comparison, CountedSet, CountedSet]:
        """Set B (``second``) against set A. Raises SwingspreadError when that cannot be."""
        if set(first) & set(second):
            raise SwingspreadError("The same cannot be on both sides. Choose another for one.")
        sides = [self.store.swing_set(ids) for ids in (first, second)]
        mark = tuple(
            (side.ids, *side.swings[list(NOTED)].astype(str).itertuples(index=False, name=None))
            for side in sides
        )
        asked = tuple(first), tuple(second), json.dumps(limits.as_dict())
        with self._one_at_a_time:  # the parts of a page ask at once; one works it out for all
            return self._compare(*asked, mark, self.store.settings)

    def _work(
        self,
        first: tuple[str, ...],
        second: tuple[str, ...],
        limits: str,
        _mark: object,
        _settings: object,
    ) -> tuple[Comparison, CountedSet, CountedSet]:
        a, b = self.store.swing_set(first), self.store.swing_set(second)
        set_a = counted_set(a, side_name(self.store, first, second))
        set_b = counted_set(b, side_name(self.store, second, first))
        return compare_sets(set_a, set_b, limits_from_dict(json.loads(limits))), set_a, set_b

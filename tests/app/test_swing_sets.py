"""The quick way over many recordings gives what the plain way gives."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from kept_library import add_analysed

from app.chosen import noted
from app.derived import read_cached
from app.swing_sets import TELLING, swing_set
from imu.columns import headline_metrics
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, read_notes, update_notes
from imu.settings import AnalysisSettings
from imu.types import Club, Manifest, Player
from imu.variation.selection import Selection
from imu.variation.sets import CONTEXT_COLUMNS, pool, select


@pytest.fixture
def library(tmp_path: Path) -> Library:
    library = Library(tmp_path / "library")
    for seed, (player, day) in enumerate(
        [("Ada", "2026-05-02"), ("Ben", ""), ("Ada", "2026-04-01")]
    ):
        facts = Manifest(Player(player), Club("7-iron", 0.94), f"r{seed}", recorded_at=day)
        entry = add_analysed(library, facts, seed)
    note = SwingNote(round(15e6 * 2), "left", "bad", "cough")
    update_notes(entry.folder, lambda notes: notes.with_swing(note))
    return library


def test_the_quick_way_gives_the_same_swings(library: Library) -> None:
    names = [metric.name for metric in headline_metrics()]
    quick = swing_set(str(library.path), "kind=ball", metrics=names)
    settings, parts = AnalysisSettings(), []
    for entry in library.entries():
        analysis = read_cached(entry.folder, settings)
        assert analysis is not None and entry.manifest is not None
        parts.append((entry.manifest, analysis, noted(read_notes(entry.folder), analysis)))
    plain = select(pool(parts, with_curves=False), Selection(), "kind=ball")
    assert len(quick) == len(plain) == 3 * 8 - 1
    assert list(quick.left_out["reason"]) == list(plain.left_out["reason"]) == ["cough"]
    shared = [name for name in (*TELLING, *names, *CONTEXT_COLUMNS) if name in quick.swings]
    pd.testing.assert_frame_equal(
        quick.swings[shared], plain.swings[shared], check_dtype=False, check_exact=True
    )
    assert set(names) <= set(quick.swings) and set(CONTEXT_COLUMNS) <= set(quick.swings)

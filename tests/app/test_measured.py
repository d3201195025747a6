"""A session tells what its set-up was determined by, and what stands against it."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pandas as pd
from invented_swings import invented_analysis

from app.components.measured import how_measured, warnings_of
from app.shelf import Entry
from app.store import SwingSet
from imu.types import Club, Manifest, Player


def shown(*calibrations: dict[str, Any], warnings: tuple[str, ...] = ()) -> SwingSet:
    analyses = tuple(
        replace(invented_analysis(2, seed, 50.0), calibration=one, warnings=warnings)
        for seed, one in enumerate(calibrations)
    )
    entries = tuple(
        Entry(f"{n:016x}", Manifest(Player("Ada"), Club("7-iron", 0.94), block=f"b{n}"))
        for n in range(len(analyses))
    )
    return SwingSet(tuple(e.id for e in entries), entries, pd.DataFrame(), (), analyses)


def texts(part: Any) -> str:
    return json.dumps(part, default=lambda one: one.to_plotly_json(), ensure_ascii=False)


def test_the_words_of_the_calibration_are_all_there() -> None:
    words = ["forearm: long axis known to 0.4° (rolling about itself 79 %)", "the fit had settled"]
    said = texts(how_measured(shown({"words": words})))
    assert "How this was measured" in said and "Forearm: " in said
    assert "long axis known to 0.4° (rolling about itself 79 %)." in said
    assert "The fit had settled." in said
    assert "Head, trunk" in said and "Ada" not in said


def test_each_part_and_each_recording_is_named_where_there_are_several() -> None:
    parts = [
        {"swings": [1, 2, 3], "words": ["club: firm"]},
        {"swings": [4], "words": ["club: turned"]},
        {"swings": [5, 7], "words": ["club: firm again"]},
    ]
    said = texts(how_measured(shown({"words": ["club: firm"], "parts": parts}, {"words": ["x"]})))
    for one in ("Swings 1 to 3", "Swing 4", "Swings 5, 7", "turned.", "Ada · 7-iron · b0", "b1"):
        assert one in said


def test_nothing_is_said_where_nothing_was_kept() -> None:
    assert how_measured(shown({})) is None
    assert warnings_of(shown({})) == []


def test_warnings_stand_in_the_open() -> None:
    (one,) = warnings_of(shown({}, warnings=("club: slips",)))
    assert "Club: slips." in texts(one)
    two = warnings_of(shown({}, {}, warnings=("club: slips",)))
    assert "b0: " in texts(two[0]) and "b1: " in texts(two[1])

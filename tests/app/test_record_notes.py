"""A shot noted on the record page belongs to the swing shown, though the next one has come."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import dash
import pytest
from dash._callback_context import context_value
from dash._utils import AttributeDict
from live_swings import swing

from app.pages import record
from app.recording import RecordingDesk
from app.shelf import LibraryShelf
from app.store import Store
from imu.recorder.folder import new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recordings.library import Library
from imu.recordings.notes import read_notes
from imu.types import Club, Manifest, Player

SWINGS = 5


def callbacks(store: Store) -> dict[str, Any]:
    """Of the record page, by the name of their function."""
    app = dash.Dash("page", suppress_callback_exceptions=True)
    record.register(app, store)
    every = [one for one in app.callback_map.values() if "callback" in one]
    return {one["callback"].__wrapped__.__name__: one for one in every}


def test_a_shot_is_noted_on_the_swing_shown_and_not_on_the_latest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = new_folder(tmp_path, Manifest(Player("Robin Field"), Club("7-iron", 0.94)))
    writer = JournalWriter(folder.next_journal("swings"))
    for number in range(1, SWINGS + 1):
        writer.append_json(Kind.EVENT, 1, swing(number))
    writer.close()
    monkeypatch.setattr(record, "desk", RecordingDesk(tmp_path))
    page = callbacks(Store(LibraryShelf(Library(tmp_path / "library"))))
    for name in ("note", "noted"):
        assert page[name]["state"][-1] == {"id": "record-card-of", "property": "data"}
    with folder.hold():
        pressed = [{"prop_id": "record-direction.value", "value": "left"}]
        before = context_value.set(AttributeDict(triggered_inputs=pressed))
        page["note"]["callback"].__wrapped__("left", "", None, "", SWINGS - 1)
        context_value.reset(before)
        (note,) = read_notes(folder.path).swings
        assert (note.direction, note.impact_club_clock_us) == ("left", (SWINGS - 1) * 10_000_000)
        direction, _, _ = page["noted"]["callback"].__wrapped__(None, SWINGS - 1)
        assert direction == "left"
        assert page["noted"]["callback"].__wrapped__(None, SWINGS)[0] == ""
        shown = page["tick"]["callback"].__wrapped__(None, None, None)
        outputs = [(one.component_id, one.component_property) for one in page["tick"]["output"]]
        assert shown[outputs.index(("record-card-of", "data"))] == SWINGS

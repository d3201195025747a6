"""The record page on a recording that is going on, as another process would leave its journals."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from live_swings import swing

from app.pages import record
from app.recording import RecordingDesk
from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recordings.notes import read_notes
from imu.types import Club, Manifest, Player

pytestmark = pytest.mark.browser

TEMPI = (2.9, 3.0, 3.1, 3.2)


def going_on(root: Path) -> JournalFolder:
    folder = new_folder(root, Manifest(Player("Robin Field"), Club("7-iron", 0.94), block="test"))
    sensors = {"club": {"serial": "C1", "state": "running", "battery": 80, "received": 9000}}
    with_rate = {role: {**facts, "rate_hz": 1000} for role, facts in sensors.items()}
    for name, events in (
        ("session", [{"type": "status", "sensors": with_rate, "warning": ""}]),
        ("swings", [swing(n, tempo) for n, tempo in enumerate(TEMPI, start=1)]),
    ):
        writer = JournalWriter(folder.next_journal(name))
        for event in events:
            writer.append_json(Kind.EVENT, 1, event)
        writer.close()
    return folder


def test_a_shot_is_noted_and_a_swing_left_out_while_recording(
    dashboard: Any,
    open_page: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder = going_on(tmp_path)
    monkeypatch.setattr(record, "desk", RecordingDesk(tmp_path))
    with folder.hold():
        page = open_page(f"{dashboard.address}/record")
        page.wait_for_selector("#record-strip button >> nth=3")
        assert "Recording: Robin Field" in page.inner_text("#record-title")
        assert "9 s kept" in page.inner_text("#record-sensors")
        assert "3.20" in page.inner_text("#record-card")
        assert "2.0 SD above the mean" in page.inner_text("#record-card")
        page.click("#record-direction label:has-text('Left')")
        page.wait_for_selector("#record-strip button:has-text('left')")
        page.reload()
        page.wait_for_selector("#record-strip button:has-text('left')")
        page.click("#record-leave")
        page.wait_for_selector("#record-strip button:has-text('left out')")
        page.click("#record-stop")
        page.wait_for_selector("#record-title:has-text('Ending')")
    (note,) = read_notes(folder.path).swings
    assert (note.direction, note.left_out) == ("left", "by hand")
    assert note.impact_club_clock_us == 40_000_000
    assert folder.stop_asked

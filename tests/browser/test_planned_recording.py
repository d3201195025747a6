"""A kept plan is followed on the record page from the first block to the comparison.

It takes a minute of real time, so it is run by hand: SOAK_SECONDS=60 pytest -m soak tests/browser.
What it walks through is checked in seconds by tests/app, tests/recorder and tests/variation.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from planned_recordings import Planned

from app.pages import record
from app.preferences import Preferences
from app.recording import RecordingDesk
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.recordings.notes import read_notes
from imu.recordings.saved_sets import SavedPlan, update_saved_sets
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan

pytestmark = [
    pytest.mark.browser,
    pytest.mark.soak,
    pytest.mark.skipif("SOAK_SECONDS" not in os.environ, reason="SOAK_SECONDS says to run it"),
]


def with_plan(folder: Path) -> Library:
    """A library that keeps a plan of two sessions, four blocks of three in each."""
    library, limits = Library(folder), Limits(set_at="2026-04-01T09:00:00+02:00")
    layout = alternating_plan(
        limits, swings_per_set=12, most_per_block=3, most_per_session=12
    ).as_dict()
    kept = SavedPlan("april-test", limits, layout)
    update_saved_sets(library.path, lambda saved: saved.with_plan(kept))
    return library


def marks(recording: Any) -> list[int]:
    plan = read_notes(recording.folder.path).plan
    assert plan is not None
    return [mark.number for mark in plan.marks]


def test_a_plan_is_chosen_before_starting(
    serve: Callable[..., Any],
    open_page: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[list[str]] = []
    desk = RecordingDesk(tmp_path / "journals")
    monkeypatch.setattr(desk, "start", lambda arguments, library: asked.append(arguments))
    monkeypatch.setattr(record, "desk", desk)
    server = serve(Store(LibraryShelf(with_plan(tmp_path / "library")), Preferences()))
    page = open_page(f"{server.address}/plan?plan=april-test")
    page.click("text=Record by it")
    page.wait_for_selector("text=4 blocks, 12 swings: 3 practice, 3 pressure")
    assert not page.is_visible("#record-block")
    page.click("#record-plan-session")
    page.click("text=2 of 2")
    page.wait_for_selector("text=3 pressure, 3 practice, 3 practice, 3 pressure")
    page.check("#record-virtual", force=True)
    with page.expect_response(lambda one: "record-trouble" in (one.request.post_data or "")):
        page.click("#record-start")
    (arguments,) = asked
    for wanted in ("--plan=april-test", "--plan-session=2", "--step-by-hand", "--virtual"):
        assert wanted in arguments
    assert not any(one.startswith("--block") for one in arguments)


def test_the_blocks_are_followed_and_nothing_is_forgotten_by_a_reload(
    serve: Callable[..., Any],
    open_page: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    recording = Planned(tmp_path / "journals")
    monkeypatch.setattr(record, "desk", RecordingDesk(tmp_path / "journals"))
    server = serve(Store(LibraryShelf(with_plan(tmp_path / "library")), Preferences()))
    with recording.folder.hold():
        page = open_page(f"{server.address}/record")
        page.wait_for_selector("text=Warm up, then block 1 of 4: practice")
        page.click("text=Start block 1: 2 × practice")
        page.wait_for_selector("#record-blocks h2:has-text('Block 1 of 4: practice')")
        recording.hit(10.0)
        page.wait_for_selector("#record-blocks >> text=1 of 2 >> nth=0")
        recording.hit(20.0)
        page.wait_for_selector("text=Rest, then block 2 of 4: pressure")
        page.wait_for_selector("#record-rest:has-text('Rest: ')")
        assert "Fatigue" in page.inner_text("#record-blocks")
        page.reload()
        page.click("text=Start block 2: 2 × pressure")
        page.wait_for_selector("#record-blocks h2:has-text('Block 2 of 4: pressure')")
        page.click("text=One step back")
        page.wait_for_selector("text=Start block 2: 2 × pressure")
        page.click("text=Pass over this block")
        page.wait_for_selector("#record-blocks li:nth-child(2):has-text('passed over')")
        for number, first in ((3, 100.0), (4, 200.0)):
            page.click(f"text=Start block {number}:")
            page.wait_for_selector(f"#record-blocks h2:has-text('Block {number} of 4')")
            recording.hit(first, first + 10)
        page.wait_for_selector("text=The plan is complete")
        assert "4 practice, 2 of 4 pressure" in page.inner_text("#record-blocks")
        page.wait_for_selector("#record-strip button >> nth=5")
        assert "pressure" in page.inner_text("#record-strip button >> nth=2")
    assert marks(recording) == [1, 2, 3, 4]
    recording.folder.mark_finished("ab" * 8)
    page.wait_for_selector("text=Compare by this plan")
    assert "plan=april-test" in (page.get_attribute("#record-block-steps a", "href") or "")

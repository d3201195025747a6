"""While a recording is analysed the page says so, lets it be stopped, and offers the ways on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from invented_swings import invented_analysis

from app.shelf import Entry
from app.store import Store
from imu.recordings.notes import RecordingNotes
from imu.types import Analysis, Club, Manifest, Player

pytestmark = pytest.mark.browser


class Unhurried:
    """A shelf whose one recording is analysed no sooner than it is let."""

    def __init__(self) -> None:
        self.let = threading.Event()
        self._analysis = invented_analysis(12, seed=3, rate_hz=100.0)
        manifest = Manifest(Player("Ida Falk"), Club("driver", 1.12), "twelve", block="practice")
        self._entry = Entry("00000000000000ff", manifest, 200.0)
        self._kept: Analysis | None = None

    def entries(self) -> list[Entry]:
        return [self._entry]

    def cached(self, recording_id: str, settings: Any) -> Analysis | None:
        return self._kept

    def analyse(self, recording_id: str, settings: Any, report: Callable[..., None]) -> Analysis:
        while not self.let.wait(0.02):
            report(0.5, "fusing")
        self._kept = self._analysis
        return self._analysis

    def notes(self, recording_id: str) -> RecordingNotes:
        return RecordingNotes()

    def place(self) -> str:
        return "memory"


def test_a_stopped_analysis_can_be_begun_again_or_left(
    serve: Callable[[Store], Any], open_page: Callable[..., Any]
) -> None:
    shelf = Unhurried()
    dashboard = serve(Store(shelf))  # type: ignore[arg-type]
    page = open_page(f"{dashboard.address}/session")
    page.wait_for_selector("#wait-text:has-text('Fusing')")
    assert not page.is_visible("#wait-again")
    page.click("#wait-stop")
    page.wait_for_selector("#wait-text:has-text('Stopped')")
    page.wait_for_selector("#wait-ways-on a[href='/']:visible")
    page.click("#wait-again")
    page.wait_for_selector("#wait-text:has-text('Fusing')")
    assert not page.is_visible("#wait-again")
    shelf.let.set()
    page.wait_for_selector("#session-figure")

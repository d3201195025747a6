"""A third sensor's curve and measure, seen where the recording has it and nowhere else."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from page_checks import BOXES, highlighted

from app.preferences import Preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.simulate.belt import with_belt
from imu.simulate.plan import SessionPlan
from imu.simulate.session import simulate_session

pytestmark = pytest.mark.browser

HEADINGS = """() => document.querySelector('#session-figure .js-plotly-plot')
    .layout.annotations.map(note => note.text).join(' | ')"""


@pytest.fixture(scope="module")
def with_and_without(serve: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Two recordings of one session, one with a belt sensor."""
    session = simulate_session(SessionPlan(("stand", *("ball",) * 4)), "clean", 11)
    library = Library(tmp_path_factory.mktemp("belt"))
    for recording in (with_belt(session, [0.09, 0.05, 0.07, 0.02], 3).recording, session.recording):
        library.add(recording)
    store = Store(LibraryShelf(library), Preferences())
    for entry in library.entries():
        store.shelf.analyse(entry.id, store.settings, lambda part, words: None)
    return serve(store)


def test_the_overlay_offers_the_belts_curve_where_there_is_one(
    with_and_without: Any, open_page: Callable[..., Any]
) -> None:
    store = with_and_without.store
    ids = {"belt" in one.samples: one.id for one in store.shelf.library.entries()}
    page = open_page(f"{with_and_without.address}/session?recordings={ids[True]}")
    page.wait_for_selector("#session-figure .scatterlayer .trace")
    assert "Belt turn rate" in page.evaluate(HEADINGS)
    page.locator(BOXES).first.check()
    page.wait_for_selector("#session-chips .chip-1")
    highlighted(page, 1, panels=4)
    page.click("#session-curves label:has-text('Belt turn rate')")
    page.wait_for_url(re.compile("curves=belt_turn_rate_deg_s"))
    page.wait_for_function(f"() => !({HEADINGS})().includes('Hinge')")
    page.reload()
    page.wait_for_selector("#session-figure .scatterlayer .trace")
    page.wait_for_function(f"() => ({HEADINGS})().includes('Where the belt turn rate varies')")

    both = ",".join(ids.values())
    page.goto(f"{with_and_without.address}/session?recordings={both}")
    page.wait_for_selector("#session-figure .scatterlayer .trace")
    assert "Belt turn rate" in page.evaluate(HEADINGS)

    page.goto(f"{with_and_without.address}/session?recordings={ids[False]}")
    page.wait_for_selector("#session-figure .scatterlayer .trace")
    assert "Belt" not in page.evaluate(HEADINGS)
    assert "Belt" not in page.inner_text("#session-curves")


def test_one_swing_shows_the_belts_turn_and_its_lead(
    with_and_without: Any, open_page: Callable[..., Any]
) -> None:
    (entry,) = [
        one for one in with_and_without.store.shelf.library.entries() if "belt" in one.samples
    ]
    page = open_page(f"{with_and_without.address}/swing?recording={entry.id}&swing=1")
    page.wait_for_selector("#swing-figure .scatterlayer .trace")
    assert "Belt turn rate" in page.evaluate(HEADINGS.replace("session", "swing"))
    assert "Belt turns before arm" in page.inner_text("#content")

"""The session page says whose swings it shows, and shows the one it is asked for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from kept_library import add_analysed

from app.derived import keep
from app.pages import session, swing
from app.pages.session import title_of
from app.preferences import Preferences
from app.shelf import Entry, LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.types import Club, Manifest, Player


def entry(player: str, club: str, block: str, label: str, day: str) -> Entry:
    manifest = Manifest(Player(player), Club(club, 1.0), "r", label, block, f"{day}T10:00:00")
    return Entry("00", manifest)


def test_one_session_is_named_once() -> None:
    both = [entry("Ada", "7-iron", block, "spring", "2026-03-14") for block in ("a", "b")]
    assert title_of(both) == ("Ada, 7-iron", "spring · a + b · 2026-03-14")


def test_every_player_and_club_shown_is_named_and_the_days_from_first_to_last() -> None:
    several = [
        entry("Ada", "7-iron", "practice", "late", "2026-04-02"),
        entry("Ada", "driver", "practice", "early", "2026-03-14"),
        entry("Ben", "driver", "pressure", "early", "2026-03-20"),
    ]
    assert title_of(several) == (
        "Ada, 7-iron + Ada, driver + Ben, driver",
        "2 sessions · practice + pressure · 2026-03-14 to 2026-04-02",
    )


def component(page: Any, name: str) -> Any:
    """The component of this id."""
    (found,) = [one for one in page._traverse() if getattr(one, "id", None) == name]
    return found


def links(page: Any) -> list[str]:
    """Where all links of the page lead."""
    return [one.href for one in page._traverse() if getattr(one, "href", None)]


@pytest.mark.parametrize("others", ["ball", "practice"])
def test_a_practice_swings_session_highlights_it(tmp_path: Path, others: str) -> None:
    library = Library(tmp_path)
    held = add_analysed(library, Manifest(Player("Ada"), Club("7-iron", 0.94)), 1)
    store = Store(LibraryShelf(library), Preferences())
    analysis = store.analysis(held.id)
    assert analysis is not None
    kinds = ["practice" if number == 2 else others for number in analysis.swings["swing"]]
    changed = replace(analysis, swings=analysis.swings.assign(kind=kinds))
    keep(held.folder, store.settings, changed)
    store = Store(LibraryShelf(library), Preferences())
    (whole,) = [
        one
        for one in links(swing.layout(store, {"recording": held.id, "swing": "2"}))
        if one.startswith("/session")
    ]
    page = session.layout(store, dict(parse_qsl(urlsplit(whole).query)))
    assert component(page, "session-picks").data == ["2"]
    assert component(page, "session-kind").value == "practice"
    plain = session.layout(store, {"recordings": held.id})
    assert component(plain, "session-kind").value == others
    assert len(component(plain, "session-grid").rowData) == kinds.count(others)

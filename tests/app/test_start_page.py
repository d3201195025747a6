"""A long library is searched by any words of its labels; only so many are listed at once."""

from __future__ import annotations

import json
from typing import Any

import pytest

from app.pages.start import MANY, MOST, layout, shelves
from app.shelf import Entry
from app.store import Store
from imu.types import Club, Manifest, Player


class Listed:
    """A shelf that lists recordings and holds none."""

    def __init__(self, count: int) -> None:
        self.count = count

    def entries(self) -> list[Entry]:
        return [
            Entry(
                f"{number:016x}",
                Manifest(
                    Player("Ida Falk" if number % 2 else "Åke Lind"),
                    Club("driver" if number % 3 else "7-iron", 1.0),
                    session=f"session {number}",
                    block="practice",
                    recorded_at=f"2026-{1 + number % 12:02d}-10T10:00:00+00:00",
                ),
                100.0,
            )
            for number in range(self.count)
        ]

    def place(self) -> str:
        return "memory"


def rows(count: int, wanted: str) -> int:
    store = Store(Listed(count))  # type: ignore[arg-type]
    return _text(shelves(store, wanted)).count("session-row")


def _text(part: Any) -> str:
    return json.dumps(part, default=lambda one: one.to_plotly_json(), ensure_ascii=False)


def test_every_word_must_fit_in_any_order_and_case() -> None:
    assert rows(36, "") == 36
    assert rows(36, "åke") == 18
    assert rows(36, "DRIVER ida") == 12
    assert rows(36, "2026-03") == 3


def test_nothing_found_says_so() -> None:
    store = Store(Listed(36))  # type: ignore[arg-type]
    assert "No recording fits “putter”" in _text(shelves(store, "putter"))


def test_of_hundreds_the_first_are_listed_and_the_rest_counted() -> None:
    store = Store(Listed(200))  # type: ignore[arg-type]
    assert rows(200, "") == MOST
    assert f"{200 - MOST} older ones are not shown" in _text(shelves(store, ""))


@pytest.mark.parametrize(("count", "searched"), [(MANY - 1, False), (MANY, True)])
def test_the_search_is_there_from_thirty_recordings_on(count: int, searched: bool) -> None:
    page = _text(layout(Store(Listed(count)), {}))  # type: ignore[arg-type]
    assert ("start-find" in page) is searched

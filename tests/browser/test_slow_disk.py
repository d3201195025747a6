"""A page whose files come slowly says that it is opening, and then opens."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from app.preferences import Preferences
from app.shelf import Entry, LibraryShelf
from app.store import Store
from imu.recordings.library import Library

pytestmark = pytest.mark.browser

SAID = """() => {
    const said = getComputedStyle(document.querySelector('main'), '::before');
    return said.content.includes('Opening the page') && Number(said.opacity) > 0.9;
}"""


class SlowShelf(LibraryShelf):
    """A library on a disk that takes its time."""

    wait_s = 0.0

    def entries(self) -> list[Entry]:
        time.sleep(self.wait_s)
        return super().entries()


def test_a_page_that_waits_for_the_disk_says_so_and_then_opens(
    serve: Callable[..., Any], open_page: Callable[..., Any], tmp_path: Path
) -> None:
    shelf = SlowShelf(Library(tmp_path / "library"))
    server = serve(Store(shelf, Preferences()))
    shelf.wait_s = 1.2
    page = open_page(server.address + "/")
    page.wait_for_selector("main[data-dash-is-loading=true]")
    page.wait_for_function(SAID)
    page.wait_for_selector("text=Bring in a recording")
    page.wait_for_selector("main:not([data-dash-is-loading=true])")
    assert not page.evaluate(SAID)


def test_a_page_that_comes_at_once_does_not_flicker(
    serve: Callable[..., Any], open_page: Callable[..., Any], tmp_path: Path
) -> None:
    server = serve(Store(LibraryShelf(Library(tmp_path / "library")), Preferences()))
    page = open_page("about:blank")
    page.add_init_script(
        f"window.said = 0; setInterval(() => {{ if (document.querySelector('main') && ({SAID})())"
        " window.said += 1; }, 20);"
    )
    page.goto(server.address + "/settings")
    page.wait_for_selector("text=How things are measured")
    page.click("nav >> text=Plan")
    page.wait_for_selector(".block")
    assert page.evaluate("window.said") == 0

"""Pages are whole however late the code of one of their parts comes, as on a slow tablet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from page_checks import BOXES, highlighted, point_at_a_line

pytestmark = pytest.mark.browser


class Held:
    """A page that has all its data and waits for the code of one of its parts.

    code : address of the code. shown : what a callback sends for it. part : what it will draw.
    """

    def __init__(self, page: Any, address: str, code: str, shown: str, part: str) -> None:
        self.page, self.part = page, part
        self._waiting: list[Any] = []
        page.route(code, lambda route: self._waiting.append(route))
        with page.expect_response(lambda one: shown in (one.request.post_data or "")):
            page.goto(address)

    def let_through(self) -> None:
        """The code comes at last."""
        assert self.page.locator(self.part).count() == 0
        assert self._waiting, "nothing waits for the code"
        for one in self._waiting:
            one.continue_()


PLOTTING = {"code": "**/plotly*.js", "part": ".js-plotly-plot"}


def practice(dashboard: Any) -> str:
    (entry,) = [one for one in dashboard.store.entries() if one.block == "practice"]
    return str(entry.id)


def test_swings_ticked_before_the_overlay_is_drawn_are_highlighted_and_lines_answer(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page("about:blank")
    address = f"{dashboard.address}/session?recordings={practice(dashboard)}"
    held = Held(page, address, shown="session-figure.figure", **PLOTTING)
    boxes = page.locator(BOXES)
    for place in (2, 4):
        boxes.nth(place).check()
    page.wait_for_selector("#session-chips .chip-2")
    held.let_through()
    highlighted(page, 2)
    name = point_at_a_line(page)
    page.mouse.down()
    page.mouse.up()
    page.wait_for_selector(f"#session-chips .chip-3:has-text('{name}')")
    highlighted(page, 3)


def test_the_moment_shown_is_marked_on_curves_drawn_late(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page("about:blank")
    address = f"{dashboard.address}/swing?recording={practice(dashboard)}&swing=3"
    held = Held(page, address, shown="swing-figure.figure", **PLOTTING)
    page.wait_for_selector("#swing-moment")
    page.locator(".event", has_text="Release").click()
    moment = page.inner_text("#swing-clock")
    held.let_through()
    page.wait_for_selector("#swing-figure .moment-line:visible")
    page.wait_for_function(
        """moment => {
            const graph = document.querySelector('#swing-figure .js-plotly-plot');
            const line = graph.querySelector('.moment-line').getBoundingClientRect();
            const axis = graph._fullLayout.xaxis;
            const place = line.left - graph.getBoundingClientRect().left - axis._offset;
            return Math.abs(place - axis.d2p(moment)) < 3;
        }""",
        arg=float(moment.removesuffix(" ms").replace("−", "-")),
    )
    assert page.inner_text("#swing-clock") == moment


def test_the_field_for_files_is_named_though_its_code_comes_late(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page("about:blank")
    page.clock.install()
    code, field = "**/async-upload*.js", "#start-drop input"
    held = Held(page, f"{dashboard.address}/", code, shown="content.children", part=field)
    page.wait_for_selector("text=Bring in a recording")
    page.clock.run_for(60_000)
    held.let_through()
    page.wait_for_selector(field, state="attached")
    page.clock.run_for(1_000)
    page.wait_for_selector(f"{field}[aria-label*=forearm]", state="attached")

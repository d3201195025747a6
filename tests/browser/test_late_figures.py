"""What lies over a figure is there however late the plotting library comes, as on a slow tablet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from page_checks import BOXES, highlighted, point_at_a_line

pytestmark = pytest.mark.browser


class Held:
    """A page that has all its data and waits for the library that draws them."""

    def __init__(self, page: Any, address: str, figure: str) -> None:
        self.page = page
        self._waiting: list[Any] = []
        page.route("**/plotly*.js", lambda route: self._waiting.append(route))
        drawn = f"{figure}.figure"
        with page.expect_response(lambda one: drawn in (one.request.post_data or "")):
            page.goto(address)

    def let_through(self) -> None:
        """The library comes at last."""
        assert self.page.locator(".js-plotly-plot").count() == 0
        assert self._waiting, "nothing waits for the plotting library"
        for one in self._waiting:
            one.continue_()


def practice(dashboard: Any) -> str:
    (entry,) = [one for one in dashboard.store.entries() if one.block == "practice"]
    return str(entry.id)


def test_swings_ticked_before_the_overlay_is_drawn_are_highlighted_and_lines_answer(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page("about:blank")
    address = f"{dashboard.address}/session?recordings={practice(dashboard)}"
    held = Held(page, address, "session-figure")
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
    held = Held(page, address, "swing-figure")
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

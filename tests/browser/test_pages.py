"""Every page opens without a complaint, is reachable by keyboard, and has no barrier known to
axe-core (Deque Systems, WCAG 2.2 A and AA rules), in both themes and on a tablet."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

AXE = (Path(__file__).parent / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PAGES = {
    "start": ("/", "text=Bring in a recording"),
    "plan": ("/plan", ".block"),
    "record": ("/record", "h1"),
    "session": ("/session", "#session-figure .scatterlayer .trace"),
    "swing": ("/swing", "#swing-moment"),
    "compare": ("/compare", ".finding"),
    "progress": ("/progress", "#progress-table table"),
    "report": ("/report", "iframe.preview"),
    "settings": ("/settings", "text=How things are measured"),
}


def settled(page: Any, mark: str) -> None:
    """Wait for the page's subject, and until it asks for nothing more."""
    page.wait_for_selector(mark)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(400)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", list(PAGES))
def test_a_page_has_no_known_barrier(
    name: str, theme: str, dashboard: Any, open_page: Callable[..., Any]
) -> None:
    path, mark = PAGES[name]
    page = open_page(dashboard.address + path, theme=theme)
    settled(page, mark)
    page.evaluate(AXE)
    found = page.evaluate("rules => axe.run(document, {runOnly: rules, iframes: false})", RULES)
    barriers = [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        for node in one["nodes"][:3]
    ]
    assert barriers == []
    assert page.get_attribute("html", "lang") == "en"
    assert page.locator("h1:visible").count() == 1


@pytest.mark.parametrize("name", list(PAGES))
def test_a_page_fits_a_tablet_and_a_phone_held_upright(
    name: str, dashboard: Any, open_page: Callable[..., Any]
) -> None:
    path, mark = PAGES[name]
    page = open_page(dashboard.address + path, width=820, height=1180)
    settled(page, mark)
    for width, height in ((820, 1180), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(400)
        over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, f"{width} px wide"


def test_the_keyboard_alone_leads_from_start_to_a_session(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/")
    settled(page, PAGES["start"][1])
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "practice":
            break
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/session\?recordings="))
    settled(page, PAGES["session"][1])


def test_the_keyboard_alone_chooses_a_swing_and_lines_up_at_the_top(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/session")
    settled(page, PAGES["session"][1])
    page.locator("#session-align input[value=top]").focus()
    page.keyboard.press("Space")
    page.wait_for_url(re.compile("align=top"))
    page.locator("#session-grid .ag-checkbox-input").first.focus()
    page.keyboard.press("Space")
    page.wait_for_selector("#session-chips .chip-1")
    page.wait_for_url(re.compile("pick="))


def test_no_tool_bar_and_no_way_out_of_the_machine(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/session")
    settled(page, PAGES["session"][1])
    page.hover("#session-figure")
    assert page.locator(".modebar-btn").count() == 0
    words = page.inner_text("body").lower()
    assert "share chart" not in words


def test_another_host_name_is_refused(dashboard: Any) -> None:
    import http.client

    port = int(dashboard.address.rsplit(":", 1)[1])
    connection = http.client.HTTPConnection("127.0.0.1", port)
    connection.request("GET", "/", headers={"Host": "elsewhere.example"})
    assert connection.getresponse().status == 403

"""Every page opens without a complaint, is reachable by keyboard, fits a tablet and a phone, and
has no barrier known to axe-core (Deque Systems, WCAG 2.2 A and AA rules) in either theme."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from page_checks import BOXES, PAGES, barriers, settled

pytestmark = pytest.mark.browser

UPRIGHT = {"tablet": (820, 1180), "phone": (390, 844)}
FITS = """async () => {
    const wide = () => document.documentElement.scrollWidth;
    const until = performance.now() + 10000;
    while (wide() > window.innerWidth && performance.now() < until) {
        await new Promise(done => setTimeout(done, 20));
    }
    return wide();
}"""
"""How wide the page is once its figures, which follow a little later, have had time to fit."""


@pytest.mark.parametrize("path", list(PAGES), ids=lambda path: path.strip("/") or "start")
def test_a_page_has_no_known_barrier_and_fits_devices_held_upright(
    path: str, dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + path)
    settled(page, PAGES[path])
    assert page.get_attribute("html", "lang") == "en"
    assert page.locator("h1:visible").count() == 1
    assert barriers(page) == []
    page.click("#theme-button")
    page.wait_for_selector("html[data-mantine-color-scheme=dark]")
    settled(page, PAGES[path])
    assert barriers(page) == []
    for device, (width, height) in UPRIGHT.items():
        page.set_viewport_size({"width": width, "height": height})
        wide = page.evaluate(FITS)
        assert wide <= width, f"{device}: {wide} pixels wide"


def test_the_keyboard_alone_leads_from_start_to_a_session(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/")
    settled(page, PAGES["/"])
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "practice":
            break
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/session\?recordings="))
    page.wait_for_selector(PAGES["/session"])


def test_the_keyboard_alone_chooses_a_swing_and_lines_up_at_the_top(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/session")
    settled(page, PAGES["/session"])
    page.locator("#session-align input[value=top]").focus()
    page.keyboard.press("Space")
    page.wait_for_url(re.compile("align=top"))
    page.locator(BOXES).first.focus()
    page.keyboard.press("Space")
    page.wait_for_selector("#session-chips .chip-1")
    page.wait_for_url(re.compile("pick="))


def test_no_tool_bar_and_no_way_out_of_the_machine(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + "/session")
    settled(page, PAGES["/session"])
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

"""A tablet on the range: paired by a code off the coach's screen, then every page works on it, and
nothing else in its browser may speak for it.

`swingspread serve --lan` runs as a coach runs it, in a process of its own, on this machine's
address in its network; the tablet is a browser profile of its own at that address.
"""

from __future__ import annotations

import http.server
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from page_checks import COUNT_WHAT_IS_ASKED, PAGES, settled

from app.commands.serve import lan_address
from app.pairing import COOKIE, TRIES
from imu.cautions import YOUNG_PLAYERS
from imu.errors import SwingspreadError
from imu.recordings.notes import read_notes

pytestmark = pytest.mark.browser

WAIT_MS = 60_000
WATCH_POLICY = """document.addEventListener('securitypolicyviolation', event => {
    console.error('policy: ' + event.violatedDirective + ' ' + event.blockedURI);
});"""


class Serving:
    """The command as it runs: where it answers, and the codes it has shown."""

    def __init__(self, library: Path, home: Path, own: str) -> None:
        words = ["serve", "--no-browser", "--library", str(library), "--lan", own]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "app.cli", *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            cwd=Path(__file__).resolve().parents[2],
            env={
                **os.environ,
                "XDG_DATA_HOME": str(home),
                "XDG_CONFIG_HOME": str(home),
                "PYTHONUNBUFFERED": "1",
            },
        )
        self.said: list[str] = []
        threading.Thread(target=self._listen, daemon=True).start()
        self._wait(lambda: any(line.startswith("Stop with") for line in self.said))
        found = re.search(rf"http://{re.escape(own)}:\d+", "".join(self.said))
        assert found, self.said
        self.address = found[0]

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.said.append(line)

    def _wait(self, met: Callable[[], bool]) -> None:
        until = time.monotonic() + 30.0
        while not met():
            assert time.monotonic() < until and self._process.poll() is None, self.said
            time.sleep(0.05)

    @property
    def codes(self) -> list[str]:
        """Codes shown so far, the one that counts last."""
        return re.findall(r"Pairing code: (\S+)", "".join(self.said))

    def next_code(self, shown: int) -> str:
        """The code shown after ``shown`` of them."""
        self._wait(lambda: len(self.codes) > shown)
        return self.codes[-1]

    def close(self) -> None:
        """End it as Ctrl-C does."""
        self._process.send_signal(signal.SIGINT)
        self._process.wait(20)


@pytest.fixture(scope="module")
def serving(dashboard: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """`swingspread serve --lan` over the analysed library."""
    try:
        own = lan_address()
    except SwingspreadError as problem:
        pytest.skip(str(problem))
    running = Serving(dashboard.store.shelf.library.path, tmp_path_factory.mktemp("home"), own)
    yield running
    running.close()


class Tablet:
    """A browser profile that notes whatever goes wrong and wherever it asks."""

    def __init__(self, browser: Any, address: str) -> None:
        self.context = browser.new_context(
            viewport={"width": 820, "height": 1180}, has_touch=True, accept_downloads=True
        )
        self.context.add_init_script(WATCH_POLICY)
        self.context.add_init_script(COUNT_WHAT_IS_ASKED)
        self.page = self.context.new_page()
        self.page.set_default_timeout(WAIT_MS)
        self.complaints: list[str] = []
        self.refusals: list[str] = []
        self.elsewhere: list[str] = []
        self._home = (address, "data:", "blob:", "about:")
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        self.page.on("response", self._response)
        self.page.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type == "error" and "403" not in message.text:
            self.complaints.append(message.text)

    def _response(self, response: Any) -> None:
        if response.status >= 400:
            self.refusals.append(f"{response.status} {response.request.method} {response.url}")

    def _request(self, request: Any) -> None:
        if not request.url.startswith(self._home):
            self.elsewhere.append(request.url)

    def type_code(self, code: str) -> None:
        """Type a code on the pairing page and press its button."""
        self.page.fill("#code", code)
        with self.page.expect_navigation():
            self.page.click("button:has-text('Pair')")


@pytest.fixture
def tablet(browser: Any, serving: Serving) -> Iterator[Callable[[], Tablet]]:
    """Makes tablets that have never been here."""
    made: list[Tablet] = []

    def make() -> Tablet:
        made.append(Tablet(browser, serving.address))
        return made[-1]

    yield make
    for one in made:
        one.context.close()
    assert [line for one in made for line in one.complaints] == []


@pytest.fixture(scope="module")
def kept(browser: Any, serving: Serving) -> Iterator[Tablet]:
    """A tablet paired by the code shown now, for as long as the tests here go on."""
    one = Tablet(browser, serving.address)
    one.page.goto(serving.address + "/")
    one.type_code(serving.codes[-1].lower())
    one.page.wait_for_selector(PAGES["/"])
    yield one
    one.context.close()


@pytest.fixture
def paired(kept: Tablet) -> Iterator[Tablet]:
    """The tablet that is paired, nothing having gone wrong on it yet."""
    for noted in (kept.complaints, kept.refusals, kept.elsewhere):
        noted.clear()
    yield kept
    assert kept.complaints == []


def test_what_it_opens_is_said_before_the_first_code(serving: Serving) -> None:
    said = "".join(serving.said)
    for words in ("Opened by this", "works once", "not encrypted", "12\n  hours"):
        assert words in said
    assert re.fullmatch(r"[A-Z2-9]{4}-[A-Z2-9]{4}", serving.codes[0])


def test_a_tablet_gets_in_by_the_code_after_three_wrong_ones_and_the_code_is_then_spent(
    serving: Serving, tablet: Callable[[], Tablet]
) -> None:
    first, shown = tablet(), len(serving.codes)
    code = serving.codes[-1]
    first.page.goto(serving.address + "/session")
    assert first.page.url == serving.address + "/pair"
    assert first.page.evaluate("document.activeElement.id") == "code"
    wrong = "ABCD-EFGH" if code != "ABCD-EFGH" else "ABCD-EFGJ"
    for _ in range(3):
        first.type_code(wrong)
        assert "not the code" in first.page.inner_text("[role=status]")
    assert TRIES > 3 and first.refusals == [f"403 POST {serving.address}/pair"] * 3
    first.type_code(code.lower().replace("-", " "))
    first.page.wait_for_selector(PAGES["/"])
    assert first.page.url == serving.address + "/"
    (cookie,) = first.context.cookies()
    assert (cookie["name"], cookie["httpOnly"], cookie["sameSite"]) == (COOKIE, True, "Strict")
    assert first.page.evaluate("document.cookie") == ""

    fresh = serving.next_code(shown)
    second = tablet()
    second.page.goto(serving.address + "/")
    second.type_code(code)
    assert "not the code" in second.page.inner_text("[role=status]")
    second.type_code(fresh)
    second.page.wait_for_selector(PAGES["/"])
    assert cookie["value"] not in "".join(serving.said)


def test_every_page_works_on_the_tablet_and_asks_nobody_else(
    serving: Serving, paired: Tablet
) -> None:
    for path, mark in PAGES.items():
        paired.page.goto(serving.address + path)
        settled(paired.page, mark)
        over = paired.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, path
        if path in ("/", "/record"):
            # The consent of a young player's parent is asked where recordings begin.
            assert paired.page.locator(f"text={YOUNG_PLAYERS}").first.is_visible()
    assert paired.elsewhere == []
    assert paired.refusals == []


def test_what_is_done_on_the_tablet_reaches_the_library(
    serving: Serving, paired: Tablet, dashboard: Any
) -> None:
    """Callbacks, files and the theme, as on the machine itself."""
    (entry,) = [entry for entry in dashboard.store.entries() if entry.block == "pressure"]
    page = paired.page
    page.goto(f"{serving.address}/session?recordings={entry.id}")
    page.wait_for_selector(PAGES["/session"])
    page.tap("#session-align label:has-text('Top')")
    page.wait_for_url(re.compile("align=top"))
    page.tap("#theme-button")
    page.wait_for_selector("html[data-mantine-color-scheme=dark]")
    with page.expect_download() as coming:
        page.click("#session-files a:has-text('CSV')")
    assert b"release_ms" in Path(coming.value.path()).read_bytes()
    page.goto(f"{serving.address}/swing?recording={entry.id}&swing=4")
    page.wait_for_selector("#swing-left-out")
    page.fill("#swing-left-out", "seen from the tablet")
    page.keyboard.press("Tab")
    page.tap("#swing-keep")
    page.wait_for_selector("#swing-kept:has-text('no longer counts')")
    folder = dashboard.store.shelf.library.find(entry.id).folder
    assert [note.left_out for note in read_notes(folder).swings] == ["seen from the tablet"]
    dashboard.store.note_swing(entry.id, 4, left_out="")
    assert paired.refusals == [] and paired.elsewhere == []


class Elsewhere(http.server.BaseHTTPRequestHandler):
    """Another site's page, which tries to make the tablet's browser act for it."""

    target = ""

    def do_GET(self) -> None:
        page = f"""<!doctype html><title>elsewhere</title><iframe src="{self.target}/"></iframe>
        <form method="post" action="{self.target}/pair" enctype="text/plain">
        <input name="x" value="1"><button>go</button></form>"""
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(page.encode())

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


def test_another_sites_page_open_on_the_tablet_can_do_nothing(
    serving: Serving, paired: Tablet
) -> None:
    """Neither frame the dashboard, nor read it, nor change it, though the tablet is paired."""
    handler = type("Other", (Elsewhere,), {"target": serving.address})
    other = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=other.serve_forever, daemon=True).start()
    try:
        paired.page.goto(f"http://127.0.0.1:{other.server_address[1]}/")
        tried = paired.page.evaluate(
            """async target => {
                const ask = async (path, options) => {
                    try {
                        const answer = await fetch(target + path, options);
                        return answer.type + ' ' + answer.status;
                    } catch (problem) { return 'refused'; }
                };
                const open = {credentials: 'include'};
                const blind = {...open, mode: 'no-cors', method: 'POST', body: '{}'};
                return [await ask('/_dash-layout', open),
                        await ask('/_dash-update-component', blind),
                        await ask('/_dash-update-component', {...open, method: 'POST', body: '{}',
                            headers: {'Content-Type': 'application/json'}})];
            }""",
            serving.address,
        )
        assert tried == ["refused"] * 3
        assert not any("Swingspread" in (frame.title() or "") for frame in paired.page.frames)
        with paired.page.expect_navigation():
            paired.page.click("button")
        assert "Asked from another site" in paired.page.inner_text("body")
        assert paired.refusals[-1] == f"403 POST {serving.address}/pair"
    finally:
        other.shutdown()
    paired.complaints.clear()  # the other site's own, of having been refused


def test_a_name_made_to_point_at_this_machine_is_refused(
    serving: Serving, launch: Callable[..., Any]
) -> None:
    """Rebinding of names, as a browser sees it: another name that leads to this very server."""
    own, port = serving.address.removeprefix("http://").split(":")
    running = launch(f"--host-resolver-rules=MAP elsewhere.example {own}")
    try:
        page = running.new_page()
        answer = page.goto(f"http://elsewhere.example:{port}/pair")
        assert answer.status == 403
        assert "only on this machine" in page.inner_text("body")
    finally:
        running.close()

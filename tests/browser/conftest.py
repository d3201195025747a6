"""A real dashboard on loopback and the system's Chromium looking at it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from invented_swings import invented_analysis
from page_checks import COUNT_WHAT_IS_ASKED
from served_dashboard import ARGUMENTS, Dashboard, Front, chromium

from app.preferences import Preferences
from app.shelf import Entry, LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes
from imu.types import Club, Manifest, Player

ROOT = Path(__file__).resolve().parents[2]
SHOWN = ("robin-7-iron-practice", "robin-7-iron-pressure")
WAIT_MS = 60_000


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip where there is no Chromium, except in continuous integration; run these tests last.

    Playwright keeps an event loop running in the main thread until the session ends, in which no
    other test could start one of its own.
    """
    items.sort(key=lambda item: item.path.parent == Path(__file__).parent)
    if chromium() is not None or os.environ.get("CI") == "true":
        return
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.skip(reason="no Chromium on this machine"))


@pytest.fixture(scope="session")
def front() -> Iterator[Front]:
    """The one address of all dashboards."""
    running = Front()
    yield running
    running.close()


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """A library with a practice and a pressure block of the samples."""
    folder = tmp_path_factory.mktemp("library")
    for name in SHOWN:
        shutil.copytree(
            ROOT / "recordings" / name, folder / name, ignore=shutil.ignore_patterns("derived")
        )
    return Library(folder)


@pytest.fixture(scope="session")
def serve(front: Front) -> Callable[[Store], Dashboard]:
    """Makes the dashboard over a store."""
    return lambda store: Dashboard(store, front)


@pytest.fixture(scope="session")
def dashboard(library: Library, serve: Callable[[Store], Dashboard]) -> Dashboard:
    """The dashboard over ``library``, its recordings analysed."""
    store = Store(LibraryShelf(library), Preferences())
    for entry in library.entries():
        store.shelf.analyse(entry.id, store.settings, lambda part, words: None)
    return serve(store)


class ManySwings:
    """A shelf with one recording of a thousand invented swings."""

    def __init__(self) -> None:
        self.analysis = invented_analysis(1000, seed=3, rate_hz=250.0)
        manifest = Manifest(Player("Ida Falk"), Club("driver", 1.12), "thousand", block="practice")
        self.entry = Entry("00000000000000ff", manifest, 15_000.0)

    def entries(self) -> list[Entry]:
        return [self.entry]

    def cached(self, recording_id: str, settings: Any) -> Any:
        return self.analysis

    def notes(self, recording_id: str) -> RecordingNotes:
        return RecordingNotes()

    def place(self) -> str:
        return "memory"


@pytest.fixture(scope="session")
def thousand(serve: Callable[[Store], Dashboard]) -> Dashboard:
    """The dashboard over a thousand swings."""
    return serve(Store(ManySwings()))  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def launch() -> Iterator[Callable[..., Any]]:
    """Starts headless Chromium, with further arguments if need be."""
    from playwright.sync_api import sync_playwright

    program = chromium()
    assert program is not None, "continuous integration needs Chromium: apt-get install chromium"
    with sync_playwright() as playwright:

        def start(*more: str) -> Any:
            words = [*ARGUMENTS, *more]
            return playwright.chromium.launch(executable_path=program, headless=True, args=words)

        yield start


@pytest.fixture(scope="session")
def browser(launch: Callable[..., Any]) -> Iterator[Any]:
    """Headless Chromium."""
    running = launch()
    yield running
    running.close()


class Watched:
    """A page whose complaints are collected, and that asks nobody but this machine."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.set_default_timeout(WAIT_MS)
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.on("requestfailed", self._failed)
        page.on("response", self._response)
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(f"console: {message.text}")

    def _failed(self, request: Any) -> None:
        if "net::ERR_ABORTED" not in (request.failure or ""):
            self.complaints.append(f"failed: {request.url} {request.failure}")

    def _response(self, response: Any) -> None:
        if response.status >= 400:
            self.complaints.append(f"{response.status}: {response.url}")

    def _request(self, request: Any) -> None:
        if not request.url.startswith(("http://127.0.0.1:", "data:", "blob:", "about:")):
            self.complaints.append(f"left the machine: {request.url}")


@pytest.fixture(scope="session")
def profile(browser: Any) -> Iterator[Any]:
    """A browser profile whose pages compile the dashboards' code once for all tests."""
    context = browser.new_context(accept_downloads=True)
    context.add_init_script(COUNT_WHAT_IS_ASKED)
    yield context
    context.close()


@pytest.fixture
def open_page(profile: Any, front: Front) -> Iterator[Callable[..., Any]]:
    """Open an address, nothing being remembered of earlier tests and nothing moving by itself; at
    the end nothing may have gone wrong."""
    opened: list[Watched] = []

    def open_it(address: str, width: int = 1280, height: int = 800, theme: str = "light") -> Any:
        opened.append(Watched(profile.new_page()))
        page = opened[-1].page
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        page.goto(address)
        return page

    yield open_it
    remembered = {"origin": front.address, "storageTypes": "local_storage"}
    for watched in opened:
        profile.new_cdp_session(watched.page).send("Storage.clearDataForOrigin", remembered)
        watched.page.close()
    assert [complaint for watched in opened for complaint in watched.complaints] == []

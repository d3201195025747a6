"""A real dashboard on loopback and the system's Chromium looking at it."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import waitress

from app.main import create_app
from app.preferences import Preferences
from app.shelf import Entry, LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes
from imu.types import Club, Manifest, Player

ROOT = Path(__file__).resolve().parents[2]
SHOWN = ("robin-7-iron-practice", "robin-7-iron-pressure")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_MS = 60_000


def chromium() -> str | None:
    """The system's Chromium, if there is one."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    return None


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


def _invented() -> ModuleType:
    path = ROOT / "tests" / "figures" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented_swings", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Server:
    """The dashboard over a store, in a thread."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._server = waitress.create_server(
            create_app(store).server, host="127.0.0.1", port=0, threads=8
        )
        self.address = f"http://127.0.0.1:{self._server.effective_port}"
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        with contextlib.suppress(OSError):  # closed while it waits
            self._server.run()

    def close(self) -> None:
        self._server.close()


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
def dashboard(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The dashboard over ``library``, its recordings analysed."""
    store = Store(LibraryShelf(library), Preferences())
    for entry in library.entries():
        store.shelf.analyse(entry.id, store.settings, lambda part, words: None)
    server = Server(store)
    yield server
    server.close()


@pytest.fixture
def serve_store() -> Iterator[Callable[[Store], Server]]:
    """Serves other stores, until the test ends."""
    running: list[Server] = []

    def serve(store: Store) -> Server:
        running.append(Server(store))
        return running[-1]

    yield serve
    for server in running:
        server.close()


class ManySwings:
    """A shelf with one recording of a thousand invented swings."""

    def __init__(self) -> None:
        self.analysis = _invented().invented_analysis(1000, seed=3, rate_hz=250.0)
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


@pytest.fixture
def serve() -> Iterator[Callable[[Library], Server]]:
    """Serve the dashboard over a library of the test's own."""
    running: list[Server] = []

    def over(library: Library) -> Server:
        running.append(Server(Store(LibraryShelf(library), Preferences())))
        return running[-1]

    yield over
    for server in running:
        server.close()


@pytest.fixture(scope="session")
def thousand() -> Iterator[Server]:
    """The dashboard over a thousand swings."""
    server = Server(Store(ManySwings()))  # type: ignore[arg-type]
    yield server
    server.close()


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


@pytest.fixture
def open_page(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open an address in a fresh profile; at the end nothing may have gone wrong."""
    opened: list[tuple[Any, Watched]] = []

    def open_it(address: str, width: int = 1280, height: int = 800, theme: str = "light") -> Any:
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=theme, accept_downloads=True
        )
        watched = Watched(context.new_page())
        opened.append((context, watched))
        watched.page.goto(address)
        return watched.page

    yield open_it
    complaints = [complaint for _, watched in opened for complaint in watched.complaints]
    for context, _ in opened:
        context.close()
    assert complaints == []

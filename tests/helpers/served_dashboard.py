"""Dashboards on loopback, and the Chromium that looks at them."""

from __future__ import annotations

import contextlib
import shutil
import threading
from collections.abc import Iterable
from typing import Any

import waitress

from app.main import create_app
from app.store import Store

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium() -> str | None:
    """The system's Chromium, if there is one."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    return None


class Front:
    """One address at which one dashboard after another answers.

    A browser keeps the code of the pages by address, so that it compiles it once, not for every
    dashboard anew.
    """

    def __init__(self) -> None:
        self.shown: Any = None
        self._server = waitress.create_server(self._answer, host="127.0.0.1", port=0, threads=8)
        self.address = f"http://127.0.0.1:{self._server.effective_port}"
        threading.Thread(target=self._run, daemon=True).start()

    def _answer(self, environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        answer: Iterable[bytes] = self.shown(environ, start)
        return answer

    def _run(self) -> None:
        with contextlib.suppress(OSError):  # closed while it waits
            self._server.run()

    def close(self) -> None:
        """End it."""
        self._server.close()


class Dashboard:
    """The dashboard over a store; whoever asks for its address finds it there."""

    def __init__(self, store: Store, front: Front) -> None:
        self.store = store
        self._front = front
        self._app = create_app(store).server

    @property
    def address(self) -> str:
        """Where it answers from now on, until another one's address is asked for."""
        self._front.shown = self._app
        return self._front.address

"""`swingspread serve`: the dashboard over the user's library, on this machine only."""

from __future__ import annotations

import argparse
import contextlib
import socket
import sys
import threading
import webbrowser
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.store import Store

HELP = "open the dashboard over your library in the browser"
EXAMPLES = """\
  swingspread serve
  swingspread serve --library ~/lessons --port 8060
  swingspread serve --no-browser
"""

HOST = "127.0.0.1"
FIRST_PORT = 8050


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread serve`."""
    parser.add_argument("--library", metavar="FOLDER", help="library to show")
    add_serving_arguments(parser)


def add_serving_arguments(parser: argparse.ArgumentParser) -> None:
    """Port and browser, as in every command that serves."""
    parser.add_argument(
        "--port",
        type=int,
        metavar="PORT",
        help=f"port to serve on (default: {FIRST_PORT}, or the next that is free)",
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address without opening a browser"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve until stopped."""
    from app.preferences import read_preferences
    from app.samples import sample_library
    from app.shelf import LibraryShelf
    from app.store import Store
    from imu.recordings.library import Library

    shelf = LibraryShelf(Library(arguments.library), sample_library())
    store = Store(shelf, read_preferences())
    return serve(store, "/", arguments.port, not arguments.no_browser)


def serve(store: Store, path: str, port: int | None, browser: bool) -> int:
    """Serve ``store`` on loopback; print the address of ``path`` and open it.

    Raises SwingspreadError when the port is taken.
    """
    import waitress

    from app.main import create_app

    listening = listen(port)
    address = f"http://{HOST}:{listening.getsockname()[1]}{path}"
    server = waitress.create_server(
        create_app(store).server, sockets=[listening], threads=8, ident="swingspread"
    )
    print(f"Dashboard: {address}")
    print("Stop with Ctrl+C.")
    sys.stdout.flush()
    if browser:
        threading.Timer(0.3, _open, (address,)).start()
    with contextlib.suppress(KeyboardInterrupt):
        server.run()
    server.close()
    return 0


def listen(port: int | None) -> socket.socket:
    """A socket on loopback: ``port``, or without one the first that is free from FIRST_PORT."""
    from imu.errors import SwingspreadError

    wanted = [port] if port is not None else [*range(FIRST_PORT, FIRST_PORT + 20), 0]
    for candidate in wanted:
        if not 0 <= candidate <= 65535:
            raise SwingspreadError(f"--port {candidate}: use a number from 1 to 65535, as 8050")
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, candidate))
            listening.listen(64)
        except OSError as problem:
            listening.close()
            if port is not None:
                raise SwingspreadError(
                    f"--port {port}: cannot be used ({problem.strerror}); "
                    "choose another, or leave it out to take a free one"
                ) from problem
            continue
        return listening
    raise SwingspreadError("no free port on this machine; name one with --port")


def _open(address: str) -> None:
    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(address)

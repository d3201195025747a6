"""`swingspread serve`: the dashboard over the user's library, on this machine only unless asked."""

from __future__ import annotations

import argparse
import contextlib
import errno
import socket
import sys
import threading
import time
import webbrowser
from typing import TYPE_CHECKING

from app.arguments import add_library, whole_number
from app.ending import STOPPED, Ending, ending_on_signals

if TYPE_CHECKING:
    from waitress.task import ThreadedTaskDispatcher

    from app.store import Store

HELP = "open the dashboard over your library in the browser"
EXAMPLES = """\
  swingspread serve
  swingspread serve --library ~/lessons --port 8060
  swingspread serve --no-browser
  swingspread serve --lan
"""

HOST = "127.0.0.1"
FIRST_PORT = 8050
LAST_ANSWERS = 1.0
"""s given to answers and analyses under way when the command is to end."""

WHAT_OPENS = """\
For a tablet on the same network: {address}
  Opened by this: every page and file of this library, and recording, to each device that types
  the code below. A code works once; after it a new one is shown. A device stays paired for 12
  hours or until this command ends. What is sent is not encrypted: use a network of your own, such
  as this machine's hotspot, not a public one."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread serve`."""
    add_library(parser, "show")
    parser.add_argument(
        "--lan",
        nargs="?",
        const="",
        metavar="ADDRESS",
        help="also serve a tablet on the same network, after it typed a code shown here; "
        "ADDRESS: this machine's address there, when it has several",
    )
    add_serving_arguments(parser)


def add_serving_arguments(parser: argparse.ArgumentParser) -> None:
    """Port and browser, as in every command that serves."""
    parser.add_argument(
        "--port",
        type=whole_number,
        metavar="PORT",
        help=f"port to serve on (default: {FIRST_PORT}, or the next that is free)",
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address without opening a browser"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve until stopped."""
    with ending_on_signals() as ending:
        from app.preferences import read_preferences
        from app.samples import sample_library
        from app.shelf import LibraryShelf
        from app.store import Store
        from imu.recordings.library import Library

        shelf = LibraryShelf(Library(arguments.library), sample_library())
        store = Store(shelf, read_preferences())
        lan = None if arguments.lan is None else lan_address(arguments.lan)
        return serve(store, "/", arguments.port, not arguments.no_browser, ending, lan)


def serve(
    store: Store,
    path: str,
    port: int | None,
    browser: bool,
    ending: Ending,
    lan: str | None = None,
) -> int:
    """Serve ``store`` on loopback until ``ending``; print the address of ``path`` and open it.

    lan : address of this machine in the network of a tablet to be paired. Raises SwingspreadError
    when the port is taken.
    """
    import waitress

    from app.guard import LARGEST_REQUEST
    from app.main import create_app
    from app.pairing import Pairing
    from imu.errors import SwingspreadError

    sockets = listen(port, lan)
    number = sockets[0].getsockname()[1]
    pairing = None
    if lan is not None:
        pairing = Pairing(
            frozenset({lan}), lambda code: print(f"Pairing code: {code}", file=sys.stderr)
        )
    server = waitress.create_server(
        create_app(store, pairing).server,
        sockets=sockets,
        threads=8,
        ident="swingspread",
        max_request_body_size=LARGEST_REQUEST,
    )
    # Not in this thread: an interrupt in the midst of the server's work could leave a lock taken.
    serving = threading.Thread(target=server.run, name="server", daemon=True)
    with contextlib.suppress(KeyboardInterrupt):
        serving.start()
        address = f"http://{HOST}:{number}{path}"
        print(f"Dashboard: {address}")
        if pairing is not None:
            print(WHAT_OPENS.format(address=f"http://{lan}:{number}/"))
            pairing.offer()
        print("Stop with Ctrl-C.")
        sys.stdout.flush()
        if browser:
            opening = threading.Timer(0.3, _open, (address,))
            opening.daemon = True
            opening.start()
        while serving.is_alive() and not ending.asked:
            time.sleep(0.2)
    if not ending.asked:
        raise SwingspreadError("the dashboard ended by itself; start it again")
    ending.code, ending.left = 0, True  # the way it is meant to end
    _let_go(store, server.task_dispatcher, ending)
    return 0


def _let_go(store: Store, requests: ThreadedTaskDispatcher, ending: Ending) -> None:
    """Ask all that is under way to end, and end without what does not."""
    print(STOPPED, file=sys.stderr, flush=True)
    store.stop(store.under_way())
    requests.set_thread_count(0)
    until = time.monotonic() + LAST_ANSWERS
    while requests.threads or store.under_way():
        if time.monotonic() > until:
            ending.by_force()
        time.sleep(0.02)


def lan_address(wanted: str = "") -> str:
    """This machine's address in its network: ``wanted`` when given, else the one it would send
    from. Nothing is sent to find it.

    Raises SwingspreadError when there is no network, or ``wanted`` is no plain address.
    """
    import ipaddress

    from imu.errors import SwingspreadError

    try:
        if not wanted:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
                probe.connect(("192.0.2.1", 9))  # an address kept for documents (RFC 5737)
                wanted = str(probe.getsockname()[0])
        address = ipaddress.IPv4Address(wanted)
    except OSError as problem:
        raise SwingspreadError(
            "--lan: this machine is in no network; join one, or name its address: --lan 192.168.0.7"
        ) from problem
    except ValueError as problem:
        raise SwingspreadError(
            f"--lan {wanted}: give this machine's address in numbers, as --lan 192.168.0.7"
        ) from problem
    if address.is_unspecified or address.is_loopback or address.is_multicast or address.is_global:
        raise SwingspreadError(
            f"--lan {address}: not an address within a private network; nothing is served there"
        )
    return str(address)


def listen(port: int | None, lan: str | None = None) -> list[socket.socket]:
    """A socket on loopback, and one at the same port of ``lan`` when that is given.

    port : None for the first from FIRST_PORT that is free on both. Raises SwingspreadError when
    there is none, the port named is taken, or ``lan`` is no address of this machine.
    """
    from imu.errors import SwingspreadError

    wanted = [port] if port is not None else [*range(FIRST_PORT, FIRST_PORT + 20), 0]
    for candidate in wanted:
        if not 0 <= candidate <= 65535:
            raise SwingspreadError(f"--port {candidate}: use a number from 1 to 65535, as 8050")
        try:
            return _bound_at(candidate, lan)
        except OSError as problem:
            if problem.errno == errno.EADDRNOTAVAIL:
                raise SwingspreadError(
                    f"--lan: {lan} cannot be used ({problem.strerror}); "
                    "is that this machine's address?"
                ) from problem
            if port is not None:
                where = f" on {HOST}" + (f" and {lan}" if lan else "")
                raise SwingspreadError(
                    f"--port {port}: cannot be used{where} ({problem.strerror}); "
                    "choose another, or leave it out to take a free one"
                ) from problem
    raise SwingspreadError("no free port on this machine; name one with --port")


def _bound_at(port: int, lan: str | None) -> list[socket.socket]:
    """Sockets listening at one port of loopback and ``lan``; 0 for any. Raises OSError."""
    sockets: list[socket.socket] = []
    try:
        for host in (HOST,) if lan is None else (HOST, lan):
            listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
            sockets.append(listening)
            if sys.platform != "win32":
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((host, port))
            listening.listen(64)
            port = int(listening.getsockname()[1])
    except OSError:
        for one in sockets:
            one.close()
        raise
    return sockets


def _open(address: str) -> None:
    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(address)

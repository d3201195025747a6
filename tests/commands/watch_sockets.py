"""Runs `swingspread`, or with -c any code, writing down every attempt to reach another machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

HERE = ("127.0.0.1", "::1", "localhost", "", "0.0.0.0", None)
EVENTS = (
    "socket.connect",
    "socket.sendto",
    "socket.sendmsg",
    "socket.getaddrinfo",
    "socket.gethostbyname",
    "socket.gethostbyaddr",
)


def watch(event: str, arguments: tuple[Any, ...]) -> None:
    """Write down a look-up, connection or datagram to anywhere but this machine."""
    if event not in EVENTS:
        return
    target = arguments[-1] if event in ("socket.connect", "socket.sendto") else arguments[0]
    if event == "socket.sendmsg":
        target = arguments[1]
    host = target[0] if isinstance(target, tuple) else target
    if isinstance(target, str | bytes) and event == "socket.connect":
        return  # a socket within this machine's file system
    if host not in HERE:
        with Path(os.environ["REACHED"]).open("a") as log:
            log.write(f"{event} {target}\n")


if __name__ == "__main__":
    sys.addaudithook(watch)
    if sys.argv[1] == "-c":
        exec(sys.argv[2])
    else:
        sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
        from app.cli import main

        sys.exit(main(sys.argv[1:]))

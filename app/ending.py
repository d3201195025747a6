"""A command that goes on until it is stopped ends soon after Ctrl-C or SIGTERM, whatever it does.

The first signal is raised as KeyboardInterrupt in the main thread. Python loses that exception
where it is raised in a destructor or a callback of the collector, and libraries swallow it; an
exit waits for threads. So a watching thread, told by the signal itself, ends the process when it
has not ended by itself in time. A second signal ends it at once. What is on disk is whole at every
moment, since files appear by renaming alone.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import socket
import sys
import threading
import types
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NoReturn

GRACE = 1.5
"""s from the signal to the end by force."""
INTERRUPTED = 130
STOPPED = "swingspread: stopped"

_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, name)
)
_CURSOR_SHOWN = "\x1b[?25h"


@dataclass
class Ending:
    """asked : the command was asked to end. left : it does, and says so itself. code : exit code
    of an end by force."""

    asked: bool = False
    left: bool = False
    code: int = INTERRUPTED

    def by_force(self) -> NoReturn:
        """End the process as it stands: no lock is asked for, no thread waited for."""
        with contextlib.suppress(OSError, ValueError):
            if not self.left and (os.name == "nt" or select.select([], [2], [], 0)[1]):
                cursor = _CURSOR_SHOWN if os.isatty(2) else ""
                os.write(2, f"{cursor}{STOPPED}\n".encode())
        os._exit(self.code)


@contextlib.contextmanager
def ending_on_signals(grace: float = GRACE) -> Iterator[Ending]:
    """While the block runs, Ctrl-C and SIGTERM raise KeyboardInterrupt in it, also where the
    command was started with Ctrl-C ignored, as by a script in the background.

    Once asked to end, the process has ``grace`` seconds in all, its exit included. For the main
    thread; in another one nothing is changed.
    """
    ending = Ending()
    if threading.current_thread() is not threading.main_thread():
        yield ending
        return
    told, heard = socket.socketpair()
    told.setblocking(False)
    watching = (ending, heard, grace, told)  # ``told`` too: it is not to be closed before the end
    threading.Thread(target=_watch, args=watching, name="ending", daemon=True).start()

    def handle(_number: int, _frame: types.FrameType | None) -> None:
        if ending.asked:
            ending.by_force()
        ending.asked = True
        raise KeyboardInterrupt

    def unraisable(problem: Any) -> None:
        if not issubclass(problem.exc_type, KeyboardInterrupt):
            hook(problem)

    hook, sys.unraisablehook = sys.unraisablehook, unraisable
    woken = signal.set_wakeup_fd(told.fileno(), warn_on_full_buffer=False)
    before = {number: signal.signal(number, handle) for number in _SIGNALS}
    try:
        yield ending
    except BaseException:
        if ending.asked:  # whatever a library made of the interrupt
            raise KeyboardInterrupt from None
        raise
    finally:
        ending.left = True
        if not ending.asked:
            for number, handler in before.items():
                signal.signal(number, handler)
            signal.set_wakeup_fd(woken)
            sys.unraisablehook = hook
            told.close()


def _watch(ending: Ending, heard: socket.socket, grace: float, _told: socket.socket) -> None:
    with heard:
        if not _signalled(heard):
            return
        heard.settimeout(grace)
        with contextlib.suppress(TimeoutError):
            _signalled(heard)
        ending.by_force()


def _signalled(heard: socket.socket) -> bool:
    """Wait for one of the signals; False when there is none to come."""
    while number := heard.recv(1):
        if number[0] in _SIGNALS:
            return True
    return False

"""A recording whose terminal is closed ends as after Ctrl-C: fetched, finished, in the library.

A terminal's process is sent SIGHUP when it is closed, and writing to it then fails with EIO (IEEE
Std 1003.1, General Terminal Interface).
"""

from __future__ import annotations

import os
import select
import signal
import sys
import time
from pathlib import Path

import pytest

from imu.recordings.library import Library
from imu.recordings.store import read_recording

pty = pytest.importorskip("pty", reason="terminals of POSIX")

ROOT = Path(__file__).resolve().parents[2]
UNDER_WAY = b"club running 1 s"


def test_a_closed_terminal_ends_a_recording_cleanly(tmp_path: Path) -> None:
    places = ["--journals", str(tmp_path / "journals"), "--library", str(tmp_path / "library")]
    words = [sys.executable, "-m", "app.cli", "record", "--virtual", "--no-analysis", *places]
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(ROOT)
        os.execv(sys.executable, words)
    said, until = b"", time.monotonic() + 60
    while UNDER_WAY not in said and select.select([terminal], [], [], 60)[0]:
        said += os.read(terminal, 4096)
    os.close(terminal)
    ended, status = os.waitpid(child, os.WNOHANG)
    while not ended and time.monotonic() < until:
        time.sleep(0.05)
        ended, status = os.waitpid(child, os.WNOHANG)
    if not ended:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    assert UNDER_WAY in said
    assert ended and os.waitstatus_to_exitcode(status) == 0
    (entry,) = Library(tmp_path / "library").entries()
    assert not any("interrupted" in fault for fault in read_recording(entry.folder).faults)

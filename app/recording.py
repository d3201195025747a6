"""Recordings in the making, as a page sees them: started, watched and stopped from outside.

The recording is a process of its own (`swingspread record`), in a session of its own: closing
the page, or ending the server, leaves it running. What is shown is read from its journals.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app.deletion import START_LOG
from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder, all_folders, default_journals, interrupted
from imu.recorder.journal import parse_journal
from imu.recorder.live_events import live_events
from imu.types import Manifest

TAIL = 1 << 16


@dataclass(frozen=True)
class Watched:
    """A recording as it stands.

    state : "starting", "running", "ending", "ended" or "failed". sensors : role → facts.
    swings : events of the live analysis in order. words : what the process last said.
    """

    state: str
    folder: JournalFolder | None = None
    manifest: Manifest | None = None
    sensors: dict[str, dict[str, Any]] = field(default_factory=dict)
    swings: tuple[dict[str, Any], ...] = ()
    calibration: dict[str, Any] = field(default_factory=dict)
    tie_se_ms: float | None = None
    warning: str = ""
    words: str = ""
    finished_id: str = ""
    seconds: float = 0.0


class RecordingDesk:
    """Starts, watches and stops recordings under ``root``."""

    def __init__(self, root: Path | None = None) -> None:
        self.root = root or default_journals()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._known: set[Path] = set()
        self._latest: Path | None = None

    def start(self, arguments: Sequence[str], library: str) -> None:
        """Start `swingspread record` with these arguments.

        Raises SwingspreadError when a recording is going on already, or the disk refuses.
        """
        with self._lock:
            if self._starting() or self._held() is not None:
                raise SwingspreadError("a recording is going on already")
            self._known = {folder.path for folder in all_folders(self.root)}
            self._latest = None
            command = [sys.executable, "-m", "app.cli", "record", "--no-analysis"]
            command += ["--journals", str(self.root), "--library", library, *arguments]
            try:
                self._process = self._begin(command)
            except OSError as problem:
                raise SwingspreadError(
                    f"{self.root}: the recording could not be started ({problem.strerror})"
                ) from problem

    def _begin(self, command: Sequence[str]) -> subprocess.Popen[bytes]:
        self.root.mkdir(parents=True, exist_ok=True)
        with (self.root / START_LOG).open("wb") as log:
            return subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )

    def _starting(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _held(self) -> JournalFolder | None:
        return next((f for f in reversed(list(all_folders(self.root))) if f.held), None)

    def stop(self) -> None:
        """Ask the recording that is going on to end; on a full disk, if it was started here, by a
        signal. Raises SwingspreadError when it cannot be asked."""
        folder = self._held()
        if folder is not None:
            try:
                folder.ask_to_stop()
                return
            except SwingspreadError:
                if not self._starting():
                    raise
        if self._process is not None and self._starting():
            self._process.terminate()

    def watch(self) -> Watched | None:
        """The recording going on, or the one started here last; None when there is none."""
        held = self._held()
        if held is not None:
            self._latest = held.path
            return _read(held, "ending" if held.stop_asked else "running")
        if self._latest is None and self._process is not None:
            fresh = [f for f in all_folders(self.root) if f.path not in self._known]
            self._latest = fresh[-1].path if fresh else None
        if self._latest is not None:
            folder = JournalFolder(self._latest)
            ended = folder.finished_id or not self._starting()
            state = "ended" if ended else "ending"
            return _read(folder, state, self._words())
        if self._process is None:
            return None
        return Watched("starting" if self._starting() else "failed", words=self._words())

    def forget(self) -> None:
        """Show the setup again after a recording has ended."""
        with self._lock:
            if self._held() is None:
                self._process = self._latest = None

    def interrupted(self) -> list[JournalFolder]:
        """Recordings that were cut short and not finished yet."""
        return [] if self._starting() else interrupted(self.root)

    def _words(self) -> str:
        try:
            lines = (self.root / START_LOG).read_text("utf-8", "replace").strip().splitlines()
        except OSError:
            return ""
        return lines[-1].removeprefix("swingspread: ") if lines else ""


def _read(folder: JournalFolder, state: str, words: str = "") -> Watched:
    status = last_status(folder)
    events = live_events(folder)
    calibration = [event for event in events if event.get("type") == "calibration"]
    ties = [event for event in events if event.get("type") == "clock"]
    try:
        manifest = folder.manifest()
    except SwingspreadError:
        manifest = None
    return Watched(
        state,
        folder,
        manifest,
        status.get("sensors", {}),
        tuple(event for event in events if event.get("type") == "swing"),
        calibration[-1] if calibration else {},
        ties[-1].get("tie_se_ms") if ties else None,
        status.get("warning", ""),
        words,
        folder.finished_id,
        _elapsed(folder) if state == "running" else 0.0,
    )


def _elapsed(folder: JournalFolder) -> float:
    """s since the recording process began, by the clock that nobody sets; 0 when not known."""
    path = folder.account("session")
    if path is None:
        return 0.0
    with path.open("rb") as file:
        records = parse_journal(file.read(TAIL)).records
    return max(0.0, (time.monotonic_ns() - records[0].host_ns) * 1e-9) if records else 0.0


def last_status(folder: JournalFolder) -> dict[str, Any]:
    """The newest status event; empty when there is none yet."""
    path = folder.account("session")
    if path is None:
        return {}
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - TAIL))
        data = file.read()
    for record in reversed(parse_journal(data, 0 if size <= TAIL else 1).records):
        event = record.json()
        if event.get("type") == "status":
            return event
    return {}

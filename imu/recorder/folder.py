"""The folder of one recording while it is made: journals, what is known, and who holds it.

session.json       player, club, block and sensors, written before the first sample
<role>.journal     one sensor's bytes (a resumed recording adds <role>.2.journal, …)
session.journal    how the sensors were doing, for whoever looks on
swings.journal     swings and calibration as they came, likewise
notes.json         what was noted of swings, and the blocks of a plan
lock               held by the recording process as long as it lives
stop               put there by someone else to ask the process to end
finished.json      the id in the library, once the recording is complete there
"""

from __future__ import annotations

import errno
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

import platformdirs

from imu.errors import SwingspreadError
from imu.moments import moment
from imu.number_words import counted
from imu.recordings.atomic import write_file
from imu.recordings.manifest import manifest_from_json, manifest_to_json
from imu.types import Manifest

SESSION_FILE = "session.json"
ACCOUNTS = ("session", "swings")
"""Journals that hold no sensor's bytes."""
FINISHED_FILE = "finished.json"
STOP_FILE = "stop"
LOCK_FILE = "lock"

BYTES_PER_SENSOR_SECOND = 16_000
ENOUGH_SPACE = 200 << 20
LEAST_SPACE = 20 << 20
LOOKERS_TAKE_S = 1.0
"""A lock that only looks is let go at once; on a slow disk it may take this long."""
LOOKERS_AT_MOST_S = 30.0
"""Lookers one after another, as on a busy machine, are waited for this long."""
TAKEN = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK})
"""How systems say that someone else has the lock."""

_JOURNAL = re.compile(r"(?P<role>[a-z][a-z0-9_]*?)(\.(?P<part>\d+))?\.journal$")


def default_journals() -> Path:
    """Where recordings are made, in the platform's folder for a user's data."""
    return platformdirs.user_data_path("swingspread", appauthor=False) / "journals"


@dataclass(frozen=True)
class JournalFolder:
    """One recording in the making, or interrupted, or finished."""

    path: Path

    @property
    def name(self) -> str:
        """Name for commands and pages."""
        return self.path.name

    def manifest(self) -> Manifest:
        """What was declared at the start. Raises SwingspreadError when it cannot be read."""
        path = self.path / SESSION_FILE
        try:
            return manifest_from_json(json.loads(path.read_bytes()), str(path))
        except FileNotFoundError as problem:
            raise SwingspreadError(f"{self.path}: no recording here") from problem
        except (OSError, ValueError, RecursionError) as problem:
            raise SwingspreadError(f"{path}: cannot be read ({problem})") from problem

    @property
    def began(self) -> datetime:
        """When it was begun, by the computer's clock of then; the earliest when not known."""
        try:
            return moment(self.manifest().recorded_at)
        except SwingspreadError:
            return moment("")

    def write_manifest(self, manifest: Manifest) -> None:
        """Write down what is known; raises SwingspreadError when the disk refuses."""
        text = json.dumps(manifest_to_json(manifest), indent=2, ensure_ascii=False)
        try:
            write_file(self.path / SESSION_FILE, text.encode("utf-8", "surrogatepass"))
        except OSError as problem:
            raise SwingspreadError(f"{self.path}: cannot be written ({problem})") from problem

    def journals(self) -> dict[str, list[Path]]:
        """Journal files of each sensor role, in the order they were written."""
        found: dict[str, list[tuple[int, Path]]] = {}
        for path in self.path.glob("*.journal"):
            match = _JOURNAL.match(path.name)
            if match and match["role"] not in ACCOUNTS:
                found.setdefault(match["role"], []).append((int(match["part"] or 1), path))
        return {role: [path for _, path in sorted(parts)] for role, parts in sorted(found.items())}

    def accounts(self, name: str) -> list[Path]:
        """Journals of one of ``ACCOUNTS`` in order; a resumed recording has several."""
        return sorted(self.path.glob(f"{name}*.journal"), key=lambda path: (len(path.name), path))

    def account(self, name: str) -> Path | None:
        """The latest journal of one of ``ACCOUNTS``; None when there is none yet."""
        return next(reversed(self.accounts(name)), None)

    def next_journal(self, role: str) -> Path:
        """Path of a new journal for a role or account; earlier ones are never touched."""
        part = 1
        while True:
            path = self.path / (f"{role}.journal" if part == 1 else f"{role}.{part}.journal")
            if not path.exists():
                return path
            part += 1

    @property
    def finished_id(self) -> str:
        """Id of the finished recording in the library; empty when not finished."""
        try:
            value = json.loads((self.path / FINISHED_FILE).read_bytes())
            return str(value["id"])
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return ""

    def mark_finished(self, identity: str) -> None:
        """Remember that the recording is complete in the library."""
        write_file(self.path / FINISHED_FILE, json.dumps({"id": identity}).encode())

    def ask_to_stop(self) -> None:
        """Ask the process that records here to end cleanly. Raises SwingspreadError when the disk
        takes not even that."""
        try:
            (self.path / STOP_FILE).touch()
        except OSError as problem:
            raise SwingspreadError(
                f"{self.path}: cannot be written ({problem.strerror}), so the recording was not "
                "told to end; press Ctrl-C where it runs"
            ) from problem

    @property
    def stop_asked(self) -> bool:
        """True when someone asked for the end."""
        return (self.path / STOP_FILE).exists()

    def hold(self) -> IO[bytes]:
        """Hold the folder until the returned file is closed or this process ends.

        Someone who only looks whether it is held is waited for. Raises SwingspreadError when
        another process holds it, or the disk cannot lock files.
        """
        try:
            file = (self.path / LOCK_FILE).open("ab")
        except OSError as problem:
            raise SwingspreadError(
                f"{self.path}: cannot be written ({problem.strerror}); what was recorded there is "
                "safe as it is"
            ) from problem
        began = time.monotonic()
        patience = began + LOOKERS_TAKE_S
        try:
            while not _try_lock(file):
                now = time.monotonic()
                if _only_looked_at(file):
                    patience = min(now + LOOKERS_TAKE_S, began + LOOKERS_AT_MOST_S)
                if now > patience:
                    raise SwingspreadError(
                        f"{self.name}: is being recorded by another process just now"
                    )
                time.sleep(0.01)
        except OSError as problem:
            file.close()
            raise SwingspreadError(
                f"{self.path}: this disk cannot lock files ({problem.strerror}); record on "
                "another with --journals"
            ) from problem
        except BaseException:
            file.close()
            raise
        return file

    @property
    def held(self) -> bool:
        """True while a process records here. Several may look at once."""
        try:
            with (self.path / LOCK_FILE).open("rb") as file:
                return not _try_lock(file, shared=True)
        except OSError:
            return False


def new_folder(root: Path, manifest: Manifest, now: datetime | None = None) -> JournalFolder:
    """Make a folder for a new recording, named by local time.

    Raises SwingspreadError when the disk refuses or has no room for even a few minutes.
    """
    stamp = (now or datetime.now().astimezone()).strftime("%Y-%m-%d_%H-%M-%S")
    folder = JournalFolder(root / f"{stamp}_{secrets.token_hex(2)}")
    try:
        folder.path.mkdir(parents=True)
        free = shutil.disk_usage(folder.path).free
    except OSError as problem:
        raise SwingspreadError(
            f"{root}: recordings cannot be written there ({problem.strerror}); "
            "choose another folder with --journals"
        ) from problem
    if free < LEAST_SPACE:
        folder.path.rmdir()
        raise SwingspreadError(
            f"{root}: only {free >> 20} MB free; recording needs at least {LEAST_SPACE >> 20} MB. "
            "Free some space or choose another folder with --journals"
        )
    folder.write_manifest(manifest)
    return folder


def space_warning(path: Path, sensors: int = 2) -> str:
    """Words about little space left on the disk; empty when there is plenty."""
    try:
        free = shutil.disk_usage(path).free
    except OSError:
        return ""
    if free >= ENOUGH_SPACE:
        return ""
    minutes = int(free / (BYTES_PER_SENSOR_SECOND * max(1, sensors)) / 60)
    return f"only {free >> 20} MB of disk left, about {counted(minutes, 'minute')} of recording"


def all_folders(root: Path) -> Iterator[JournalFolder]:
    """Recordings under ``root``, in order of their names."""
    if root.is_dir():
        for path in sorted(root.iterdir()):
            if (path / SESSION_FILE).is_file():
                yield JournalFolder(path)


def interrupted(root: Path) -> list[JournalFolder]:
    """Recordings that were neither finished nor are being made just now, oldest first.

    By the moment they began, not by their names: those are in local time, in which an hour comes
    twice when summer time ends.
    """
    left = [f for f in all_folders(root) if not f.finished_id and not f.held]
    return sorted(left, key=lambda folder: (folder.began, folder.name))


def _only_looked_at(file: IO[bytes]) -> bool:
    """Whether those who have the lock only look; not to be told on Windows."""
    if os.name == "nt" or not _try_lock(file, shared=True):
        return False
    import fcntl

    fcntl.flock(file, fcntl.LOCK_UN)
    return True


def _try_lock(file: IO[bytes], shared: bool = False) -> bool:
    """Lock without waiting; False when someone else has it. Raises OSError where the disk cannot.

    shared : locks that only look do not hinder each other (on Windows they do, for an instant).
    """
    if os.name == "nt":
        import msvcrt

        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError as problem:
            if problem.errno not in TAKEN:
                raise
            return False
        return True
    import fcntl

    try:
        fcntl.flock(file, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as problem:
        if problem.errno not in TAKEN:
            raise
        return False
    return True

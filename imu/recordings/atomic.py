"""Writing that either happens wholly or not at all.

Everything is written beside its final place under a hidden name, forced to the disk and then
renamed, which file systems do in one step. A reader never sees half a file or half a folder; a
killed process leaves at most a hidden ``.part`` entry, which nothing reads and which
`sweep_leftovers` clears away later.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

PART = ".part"
LEFTOVER_AGE_S = 24 * 3600.0
"""A hidden part older than this belongs to no living process, unless the clock was set forward."""
LEFTOVER_OLDEST_S = 30 * LEFTOVER_AGE_S
"""After this it goes whatever runs under its number by now."""

REMOVAL_TRIES = 20
"""How often a folder into which someone writes is tried to be removed."""


class NotForcedError(OSError):
    """A file has its new content, but the disk failed in forcing its name: a power cut may still
    bring the old content back. Its ``strerror`` says so."""


def _hidden_name(target: Path) -> Path:
    return target.parent / f".{os.getpid()}-{secrets.token_hex(8)}{PART}"


def sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk; a no-op where platform or disk cannot.

    Raises OSError when the disk fails in it.
    """
    if os.name == "nt":
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:  # one may write into it and not list it
        return
    try:
        os.fsync(handle)
    except OSError as problem:
        if problem.errno not in (errno.EINVAL, errno.ENOTSUP, errno.ENOSYS):  # some network disks
            raise
    finally:
        os.close(handle)


def write_file(target: Path, content: bytes, replace: bool = True) -> None:
    """Write ``content`` to ``target`` in one step.

    replace : when False, an existing target is left alone and FileExistsError is raised.
    Raises OSError when the disk refuses; the old file, if any, is then untouched. Raises
    NotForcedError when nothing failed but forcing the new name to the disk; the new content stands.
    """
    part = _hidden_name(target)
    try:
        with part.open("xb") as handle:
            handle.write(content)
            handle.flush()
            os.fsync(handle.fileno())
        if replace:
            part.replace(target)
        else:
            _put_once(part, target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    try:
        sync_folder(target.parent)
    except OSError as problem:
        raise NotForcedError(
            problem.errno,
            f"{problem.strerror}; the new content stands, but a power cut may undo it",
            str(target),
        ) from problem


def _put_once(part: Path, target: Path) -> None:
    """Give ``part`` its name unless someone else has taken it, in one step where the disk can."""
    if os.name == "nt":
        part.rename(target)  # refuses there what is already there
        return
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a disk without links
        if os.path.lexists(target):
            raise FileExistsError(str(target)) from None
        part.rename(target)
        return
    part.unlink()


@contextlib.contextmanager
def new_folder(target: Path) -> Iterator[Path]:
    """A hidden folder to fill, which becomes ``target`` when the block ends without an error.

    An error inside the block, in the final rename or in forcing that to the disk removes the
    folder and leaves nothing. Files in the folder must be forced to the disk by whoever writes
    them. Raises FileExistsError when ``target`` is there already, so nothing is ever overwritten.
    """
    if os.path.lexists(target):
        raise FileExistsError(str(target))
    part = _hidden_name(target)
    part.mkdir()
    try:
        yield part
        sync_folder(part)
        if os.path.lexists(target):
            raise FileExistsError(str(target))
        part.rename(target)
        try:
            sync_folder(target.parent)
        except OSError:
            target.rename(part)
            raise
    except BaseException as problem:
        shutil.rmtree(part, ignore_errors=True)
        if isinstance(problem, OSError) and target.exists():
            raise FileExistsError(str(target)) from problem
        raise


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold an exclusive lock on the file ``path``, waiting for other processes and threads.

    The lock goes with the process: a killed holder blocks nobody. The file itself stays.
    """
    with path.open("a+b") as handle:
        if sys.platform == "win32":
            import msvcrt

            while True:
                try:
                    handle.seek(0)
                    msvcrt.locking(handle.fileno(), msvcrt.LK_LOCK, 1)
                    break
                except OSError:  # gives up after ten seconds: ask again
                    continue
            try:
                yield
            finally:
                handle.seek(0)
                msvcrt.locking(handle.fileno(), msvcrt.LK_UNLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX)
            yield  # closing the file lets go


def remove_folder(target: Path) -> None:
    """Remove a folder: hidden in one step first, so that no reader sees half of it.

    What another process puts into it meanwhile goes with it. Raises OSError, its ``filename`` the
    folder that is left: the hidden one once it is hidden.
    """
    part = _hidden_name(target)
    target.rename(part)
    for left in range(REMOVAL_TRIES, -1, -1):
        try:
            shutil.rmtree(part)
            return
        except FileNotFoundError:
            if not part.exists():
                return
        except OSError as problem:
            if not left or problem.errno not in (errno.ENOTEMPTY, errno.EEXIST):
                problem.filename = str(part)
                raise


def _writer_lives(part: Path) -> bool:
    """Whether the process named in a hidden part still runs here; on Windows its age must do."""
    number = part.name[1:].partition("-")[0]
    if os.name == "nt" or not number.isdecimal():
        return False
    try:
        os.kill(int(number), 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        pass
    return True


def sweep_leftovers(folder: Path) -> list[Path]:
    """Remove hidden parts that a killed process left more than a day ago; returns them.

    A clock set forward makes any part look old, so a part whose process lives is let be.
    """
    removed = []
    for part in folder.glob(f".*{PART}"):
        try:
            age = time.time() - part.stat().st_mtime
            if age < LEFTOVER_AGE_S or (age < LEFTOVER_OLDEST_S and _writer_lives(part)):
                continue
            if part.is_dir() and not part.is_symlink():
                shutil.rmtree(part)
            else:
                part.unlink()
        except OSError:
            continue
        removed.append(part)
    return removed

"""Whole libraries analysed anew: over all cores of this machine, or on an existing Dask cluster.

One recording is one piece of work: read, analysed, kept beside it. A piece that is done stays
done, whatever becomes of the rest, so work that was stopped goes on where it was.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.derived import is_kept, keep
from app.one_thread import ONE_THREAD
from imu.errors import SwingspreadError
from imu.recordings.library_entry import LibraryEntry
from imu.settings import AnalysisSettings


@dataclass(frozen=True)
class Done:
    """What became of one recording: the swings found, or why there is no analysis."""

    folder: str
    swings: int = 0
    problem: str = ""


def still_to_do(
    entries: Sequence[LibraryEntry], settings: AnalysisSettings, afresh: bool = False
) -> list[Path]:
    """Folders of the recordings without a kept analysis; all sound ones when ``afresh``."""
    sound = [entry.folder for entry in entries if not entry.problem]
    return [folder for folder in sound if afresh or not is_kept(folder, settings)]


def analyse_one(folder: str, settings: AnalysisSettings) -> Done:
    """Read, analyse and keep one recording. Never raises for what is wrong with it."""
    from imu.pipeline import analyse
    from imu.recordings.store import read_recording

    try:
        analysis = analyse(read_recording(Path(folder)), settings, lambda part, words: None)
        keep(Path(folder), settings, analysis)
        if not is_kept(Path(folder), settings):
            return Done(folder, problem="analysed, but the result could not be kept beside it")
        return Done(folder, len(analysis.swings))
    except SwingspreadError as problem:
        return Done(folder, problem=str(problem))
    except Exception as problem:
        return Done(folder, problem=f"the analysis failed ({type(problem).__name__}: {problem})")


def on_this_machine(
    folders: Sequence[Path], settings: AnalysisSettings, jobs: int
) -> Iterator[Done]:
    """Each recording as it is done, ``jobs`` at a time, each in a process of one thread.

    Closing the iterator, or Ctrl-C, starts no further recording; those under way are finished.
    When this process is ended or killed, the others end with it.
    Raises SwingspreadError when one of the processes was ended from outside.
    """
    if jobs == 1:
        for folder in folders:
            yield analyse_one(str(folder), settings)
        return
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    pool = ProcessPoolExecutor(jobs, get_context("spawn"), _follow_the_parent)
    try:
        asked = [pool.submit(analyse_one, str(folder), settings) for folder in folders]
        for future in as_completed(asked):
            yield future.result()
    except BrokenProcessPool as problem:
        raise SwingspreadError(
            "a process that analysed recordings was ended from outside, perhaps for want of "
            "memory; what is done is kept: run the command again, with --jobs 1 if it recurs"
        ) from problem
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        for name, value in before.items():
            os.environ.pop(name)
            if value is not None:
                os.environ[name] = value


def _follow_the_parent() -> None:
    """Leave Ctrl-C to the parent, and end when it has ended, however that came about."""
    from multiprocessing import parent_process

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)  # nobody is left to hand a result to, and what is kept is whole

    threading.Thread(target=watch, name="parent", daemon=True).start()


def on_cluster(
    folders: Sequence[Path], settings: AnalysisSettings, scheduler: str
) -> Iterator[Done]:
    """Each recording as it is done by the workers of a Dask cluster that sees the same folders.

    Raises SwingspreadError when Dask is not installed or the scheduler does not answer.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as problem:
        raise SwingspreadError(
            "--scheduler needs Dask, which is not installed; install swingspread[dask], "
            "or leave --scheduler out to use the cores of this machine"
        ) from problem
    try:
        client = Client(scheduler, timeout=10)
    except (OSError, ValueError, TypeError) as problem:
        raise SwingspreadError(
            f"--scheduler {scheduler}: does not answer ({problem}); give the address it printed "
            "when it started, as tcp://192.168.0.7:8786"
        ) from problem
    try:
        asked = client.map(analyse_one, [str(f) for f in folders], settings=settings, pure=False)
        try:
            for future in as_completed(asked):
                yield future.result()
        finally:
            client.cancel(asked)
    finally:
        client.close()

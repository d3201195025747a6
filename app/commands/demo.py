"""`swingspread demo`: the sample session, analysed and shown."""

from __future__ import annotations

import argparse

from app.arguments import add_library
from app.commands.serve import add_serving_arguments
from app.ending import ending_on_signals

HELP = "analyse the sample session and open the dashboard on it"
EXAMPLES = """\
  swingspread demo
  swingspread demo --port 8060 --no-browser
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread demo`."""
    add_library(parser, "show beside the samples")
    add_serving_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Analyse the samples with progress, then serve until stopped."""
    with ending_on_signals() as ending:
        from app.commands.serve import serve
        from app.preferences import read_preferences
        from app.samples import sample_library
        from app.shelf import LibraryShelf
        from app.store import Store
        from app.terminal import progress_bar
        from imu.errors import SwingspreadError
        from imu.recordings.library import Library

        samples = sample_library()
        entries = [entry for entry in samples.entries() if not entry.problem] if samples else []
        if not entries:
            raise SwingspreadError(
                "the sample recordings are not there; run from a clone of the project, "
                "or install it again"
            )
        shelf = LibraryShelf(Library(arguments.library), samples)
        store = Store(shelf, read_preferences())
        with progress_bar("analysing the sample session") as progress:
            for done, entry in enumerate(entries):

                def report(part: float, words: str, done: int = done) -> None:
                    progress((done + part) / len(entries), words)

                report(0.0, entry.name)
                if store.analysis(entry.id) is None:
                    shelf.analyse(entry.id, store.settings, report)
        first = min(
            entries, key=lambda entry: entry.manifest.recorded_at if entry.manifest else "~"
        )
        where = f"/session?recordings={first.id}"
        return serve(store, where, arguments.port, not arguments.no_browser, ending)

"""`swingspread reanalyse`: the analyses of a whole library, over all cores or a cluster."""

from __future__ import annotations

import argparse
import sys

from app.arguments import add_library, whole_number

HELP = "analyse every recording that has no up-to-date analysis, over all cores"
EXAMPLES = """\
  swingspread reanalyse
  swingspread reanalyse "player=Ada Fairway" --jobs 2
  swingspread reanalyse --scheduler tcp://192.168.0.7:8786
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread reanalyse`."""
    parser.add_argument(
        "selection",
        nargs="*",
        metavar="SELECTION",
        help="recordings, or selections such as player=Ada (default: the whole library)",
    )
    add_library(parser)
    parser.add_argument(
        "--jobs", type=whole_number, metavar="N", help="recordings at a time (as many as cores)"
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="Dask cluster to work on instead; its workers have swingspread installed and see "
        "the library under the same path",
    )
    parser.add_argument(
        "--afresh", action="store_true", help="also those whose analysis is up to date"
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse with progress; Ctrl-C keeps what is done, and the next run goes on from there."""
    import os

    from app.preferences import read_preferences
    from app.reanalysing import on_cluster, on_this_machine, still_to_do
    from app.swing_sets import what_is_meant
    from app.terminal import progress_bar
    from imu.errors import SwingspreadError
    from imu.number_words import counted
    from imu.recordings.library import Library
    from imu.recordings.names import printable

    jobs = os.cpu_count() or 1 if arguments.jobs is None else arguments.jobs
    if not 1 <= jobs <= 256:
        raise SwingspreadError(f"--jobs {jobs}: give a number from 1 to 256")
    library = Library(arguments.library)
    entries = library.entries()
    if arguments.selection:
        meant = [what_is_meant(library, text)[2] for text in arguments.selection]
        entries = list({entry.id: entry for found in meant for entry in found}.values())
    settings = read_preferences().analysis_settings()
    folders = still_to_do(entries, settings, arguments.afresh)
    damaged = sum(bool(entry.problem) for entry in entries)
    held = len(entries) - len(folders) - damaged
    print(f"{len(folders)} to analyse, {held} up to date" + f", {damaged} damaged" * bool(damaged))
    if not folders:
        return 0
    if arguments.scheduler:
        work = on_cluster(folders, settings, arguments.scheduler)
    else:
        work = on_this_machine(folders, settings, min(jobs, len(folders)))
    done = swings = 0
    failed: list[str] = []
    try:
        with progress_bar("analysing") as progress:
            for one in work:
                done += 1
                swings += one.swings
                if one.problem:
                    failed.append(f"{one.folder}: {one.problem}")
                progress(done / len(folders), f"{done} of {len(folders)}")
    except KeyboardInterrupt:
        print(
            f"stopped after {done} of {len(folders)}; what is done is kept, and the same command "
            "goes on from there",
            file=sys.stderr,
        )
        raise
    finally:
        for line in failed:
            print(f"! {printable(line)}", file=sys.stderr)
    found = f"{done - len(failed)} analysed, {counted(swings, 'swing')}"
    print(found + f", {len(failed)} not" * bool(failed))
    return 1 if failed else 0

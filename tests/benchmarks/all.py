"""Every time and size that matters to somebody who waits, against its limit, in one table.

    python tests/benchmarks/all.py            # about six minutes
    python tests/benchmarks/all.py --write    # and put the table into DEVELOPERS.md

The session is the one of `speed.py`: 60 swings in 12 minutes, two sensors at 1 kHz. CPU seconds
are those of one thread of a fresh process, the least of the repeats; they hardly mind other work
on the machine. *Clock* is what a person waits and does mind it: the load is printed beside. Ends
with code 1 when a limit is broken. The limits of the start-up, the analysis and the live numbers
are goals; the others stand at about twice what was measured, so that a slip shows.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import latency
import redraw
import speed
import statistics_speed

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

SWINGS = 60
BEGIN, END = "<!-- benchmarks -->", "<!-- end of benchmarks -->"


@dataclass(frozen=True)
class Row:
    """One thing measured. limit : what ``value`` may not exceed, in the same unit."""

    what: str
    value: float
    limit: float
    unit: str
    further: str = ""

    @property
    def broken(self) -> bool:
        """Whether the limit is exceeded."""
        return not self.value <= self.limit

    def line(self) -> str:
        """As a row of the table."""
        mark = "**over** " if self.broken else ""
        further = f" ({self.further})" if self.further else ""
        return (
            f"| {self.what} | {mark}{_short(self.value)} {self.unit}{further} "
            f"| {_short(self.limit)} {self.unit} |"
        )


def _short(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.2g}"


@dataclass(frozen=True)
class Spent:
    """What a command used: seconds of CPU and on the clock, and megabytes at its peak."""

    cpu_s: float
    clock_s: float
    peak_mb: float


def spend(arguments: list[str]) -> Spent:
    """Run ``swingspread`` with these arguments on one thread."""
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "app.cli", *arguments],
        cwd=ROOT,
        env={**os.environ, **speed.ONE_THREAD},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    clock = time.perf_counter() - begun
    if status:
        raise SystemExit(f"swingspread {' '.join(arguments)}: ended with status {status}")
    return Spent(used.ru_utime + used.ru_stime, clock, used.ru_maxrss / 1024)


def least(runs: list[Spent]) -> Spent:
    """The least of each over several runs."""
    return Spent(
        min(run.cpu_s for run in runs),
        min(run.clock_s for run in runs),
        min(run.peak_mb for run in runs),
    )


def start_up(repeats: int) -> Row:
    """The slowest ``--help``."""
    from app.cli import COMMANDS

    found = {}
    for name in ("", *COMMANDS):
        words = [name, "--help"] if name else ["--help"]
        found[name] = least([spend(words) for _ in range(repeats)])
    slowest = max(found, key=lambda name: found[name].clock_s)
    what = f"start-up: the slowest `--help` of the {len(COMMANDS)} commands and of the whole"
    return Row(what, found[slowest].clock_s, 0.4, "s", f"{found[slowest].cpu_s:.2f} s CPU")


def import_and_analyse(recording: Path, scratch: Path, repeats: int) -> Iterator[Row]:
    """Both commands on the 12-minute session, and the memory they take."""
    from imu.exports.plain_csv import write_plain_csv
    from imu.recordings.store import read_recording

    files = write_plain_csv(read_recording(recording), scratch / "csv")
    named = {file.name.split(".")[0]: str(file) for file in files}
    words = [f"--{role}={named[role]}" for role in ("forearm", "club", "meta")]
    runs = []
    for number in range(repeats):
        library = scratch / f"library-{number}"
        runs.append(spend(["import", *words, "--library", str(library)]))
        shutil.rmtree(library)
    best = least(runs)
    yield Row(
        "import of two gzip-compressed CSV files",
        best.cpu_s,
        8.0,
        "s CPU",
        f"{best.clock_s:.1f} s clock, {best.peak_mb:,.0f} MB",
    )
    folder = scratch / "session" / "recording"
    shutil.copytree(recording, folder, ignore=shutil.ignore_patterns("derived"))
    out = ["--out", str(scratch / "out")]
    best = least([spend(["analyse", str(folder), *out]) for _ in range(repeats)])
    yield Row(
        "`swingspread analyse`, reading, writing and start-up included",
        best.cpu_s,
        6.0,
        "s CPU",
        f"{best.clock_s:.1f} s clock",
    )
    analysis = min(speed.in_fresh_process(folder)["cpu_s"] for _ in range(repeats))
    yield Row("of it the analysis", analysis, 3.0, "s CPU")
    yield Row("its memory at the peak", best.peak_mb, 1200.0, "MB")


def statistics() -> Iterator[Row]:
    """Comparing two sets and following a player."""
    compare, follow = statistics_speed.measure()
    yield Row("comparing two sets of 60 swings, curves too", compare, 0.5, "s CPU")
    yield Row("following 200 sessions of 40 swings", follow, 1.2, "s CPU")


def page(recording: Path) -> Iterator[Row]:
    """The Session page drawn again."""
    store, identity = redraw.analysed_store(recording)
    what = f"Session page, {SWINGS} swings lined up anew"
    yield Row(f"{what}: at the server", redraw.at_the_server(store, identity), 0.25, "s CPU")
    found = redraw.in_chromium(store, identity)
    if found is not None:
        yield Row(f"{what}: from the click to drawn, in Chromium", found[0], 1.0, "s")
        yield Row("one swing highlighted: from the click to drawn", found[1], 0.3, "s")


def live(seconds: float) -> Iterator[Row]:
    """Numbers while recording with virtual sensors."""
    swings = latency.shown_after(seconds)
    for name, what, limit in (
        ("after_impact_ms", "live numbers shown after the strike, median", 1000.0),
        ("after_finish_ms", "live numbers shown after the finish, median", 300.0),
    ):
        middle, worst = latency.middle_and_worst(swings, name)
        yield Row(what, middle, limit, "ms", f"worst {worst:.0f}, {len(swings)} swings")


def every_row(repeats: int, seconds: float) -> Iterator[Row]:
    """Everything, the live numbers first, while the machine is cool."""
    from imu.simulate.virtual_link_process import virtual_bluetooth_possible

    if virtual_bluetooth_possible():
        yield from live(seconds)
    yield start_up(repeats)
    recording = speed.session_folder(SWINGS)
    with tempfile.TemporaryDirectory(prefix="swingspread-benchmarks-") as scratch:
        yield from import_and_analyse(recording, Path(scratch), repeats)
    yield from statistics()
    yield from page(recording)


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--live-seconds", type=float, default=90.0)
    parser.add_argument("--write", action="store_true", help="put the table into DEVELOPERS.md")
    options = parser.parse_args()
    before = os.getloadavg()[0]
    lines = ["| what | measured | limit |", "|---|---|---|"]
    print("\n".join(lines), flush=True)
    broken = []
    for row in every_row(options.repeats, options.live_seconds):
        lines.append(row.line())
        print(lines[-1], flush=True)
        broken += [row.what] if row.broken else []
    facts = (
        f"Load of the machine (one-minute average) {before:.1f} at the start, of "
        f"{os.cpu_count()} cores; Python {platform.python_version()}, {platform.system()}."
    )
    lines += ["", facts]
    print(f"\n{facts}")
    if options.write:
        path = ROOT / "DEVELOPERS.md"
        head, _, rest = path.read_text(encoding="utf-8").partition(BEGIN)
        tail = rest.partition(END)[2]
        path.write_text("\n".join([head + BEGIN, *lines, END + tail]), encoding="utf-8")
    print("limits kept" if not broken else f"limits broken: {'; '.join(broken)}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

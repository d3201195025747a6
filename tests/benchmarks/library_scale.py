"""How a library grows: time to open it, to search it and to follow a player, and memory.

    python tests/benchmarks/library_scale.py                     # 500, 1,000 and 2,000 recordings
    python tests/benchmarks/library_scale.py --recordings 2000 --keep large-library

Makes libraries of 40 swings a recording: manifests as the program writes them and swing tables as
it keeps them, but no samples (they play no part here). 2,000 recordings are 80,000 swings of 40
players over four years. Each measurement is made in a fresh process, files warm; wall-clock time,
with the imports apart. *Open* is the start page as the browser gets it; *progress* is the page of
one player and club, words, figure and table; *search* finds recordings by words; *whole* is the
session table of every swing in the library.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import math
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

SWINGS = 40
PLAYERS = 40
BASE = "http://127.0.0.1:8050"
GOALS = {"open": 1.0, "progress": 2.0, "search": 2.0, "whole": math.inf}
"""Seconds. The table of every session of everybody is no page; it is measured without a goal."""
MEMORY_GOAL_MB = 1500.0


def steady_caches() -> None:
    """Let kept analyses outlive changes to the code, so that a library can be measured again."""
    from app import derived

    derived.code_stamp = lambda: "benchmark"  # type: ignore[assignment]


def make_library(place: Path, recordings: int, swings: int = SWINGS, seed: int = 5) -> None:
    """A library with analyses kept and no samples."""
    import numpy as np

    from app.derived import keep

    steady_caches()
    from app.preferences import Preferences
    from imu.recordings.content import ID_LENGTH, make_recording
    from imu.recordings.store import MANIFEST_FILE, write_recording
    from imu.types import Club, Manifest, Player, Stream

    path = ROOT / "tests" / "figures" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented_swings", path)
    assert spec and spec.loader
    invented = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(invented)
    random = np.random.default_rng(seed)
    base = invented.invented_analysis(swings, rate_hz=20.0)
    numbers = [
        name
        for name in base.swings.select_dtypes("number").columns
        if name != "swing" and not name.endswith(("_us", "_s", "_se", "_s_se"))
    ]
    settings = Preferences().analysis_settings()
    stream = {
        role: Stream(
            role,
            np.arange(3) / 1e3,
            *(np.zeros((3, 3)),) * 2,
            np.arange(3),
            np.full(3, np.nan),
            1e3,
        )
        for role in ("forearm", "club")
    }
    place.mkdir(parents=True)
    template = place / "template"
    write_recording(make_recording(Manifest(Player("x"), Club("7-iron", 0.94)), stream), template)
    document = json.loads((template / MANIFEST_FILE).read_bytes())
    shutil.rmtree(template)
    for facts in document["streams"].values():
        facts.update(samples=480_000, duration_s=480.0)
    for number in range(recordings):
        player = number % PLAYERS
        day = np.datetime64("2022-03-01") + 29 * (number // (2 * PLAYERS))
        manifest = Manifest(
            Player(f"Player {player:02d}"),
            Club("7-iron" if player % 2 else "driver", 0.94 if player % 2 else 1.14),
            f"recording {number}",
            session=f"lesson {number // (2 * PLAYERS)}",
            block=("practice", "pressure")[number // PLAYERS % 2],
            recorded_at=f"{day}T10:{number % 60:02d}:00+00:00",
        )
        identity = hashlib.sha256(str(number).encode()).hexdigest()[:ID_LENGTH]
        folder = place / identity
        folder.mkdir()
        document["id"] = identity
        document["name"], document["session"], document["block"] = (
            manifest.name,
            manifest.session,
            manifest.block,
        )
        document["recorded_at"] = manifest.recorded_at
        document["player"]["name"] = manifest.player.name
        document["club"].update(name=manifest.club.name, length_m=manifest.club.length)
        (folder / MANIFEST_FILE).write_text(json.dumps(document))
        table = base.swings.copy()
        values = table[numbers].to_numpy(float)
        spread = np.nanstd(values, axis=0) + 1e-3
        table[numbers] = values + spread * (
            random.normal(size=values.shape) + random.normal(size=len(numbers))
        )
        keep(folder, settings, replace(base, recording_id=identity, swings=table))


def _callback(output: str, inputs: dict[str, Any], state: dict[str, Any]) -> dict[str, Any]:
    def items(values: dict[str, Any]) -> list[dict[str, Any]]:
        return [
            {"id": name.split(".")[0], "property": name.split(".")[1], "value": value}
            for name, value in values.items()
        ]

    names = output.strip(".").split("...")
    return {
        "output": output,
        "outputs": [dict(zip(("id", "property"), name.split("."), strict=True)) for name in names],
        "inputs": items(inputs),
        "changedPropIds": [next(iter(inputs))],
        "state": items(state),
    }


def _client(place: Path) -> Callable[[dict[str, Any]], str]:
    from app.main import create_app
    from app.preferences import Preferences
    from app.shelf import LibraryShelf
    from app.store import Store
    from imu.recordings.library import Library

    client = create_app(Store(LibraryShelf(Library(place)), Preferences())).server.test_client()

    def ask(body: dict[str, Any]) -> str:
        answer = client.post(
            "/_dash-update-component", json=body, base_url=BASE, headers={"Origin": BASE}
        )
        assert answer.status_code == 200, answer.text[:500]
        return str(answer.text)

    return ask


def _page(path: str, search: str = "") -> dict[str, Any]:
    return _callback(
        "..content.children...page-title.data..",
        {"address.pathname": path, "refresh.data": 0},
        {"address.search": search, "address.href": ""},
    )


def measure(what: str, place: Path) -> dict[str, float]:
    """One measurement in this process."""
    steady_caches()
    if what in ("open", "progress"):
        ask = _client(place)
        begun = time.perf_counter()
        if what == "open":
            said = ask(_page("/"))
            assert "Player 07" in said
        else:
            who = "Player 07 · 7-iron"
            said = ask(_page("/progress", f"?who={who.replace(' ', '%20')}"))
            assert "Over the months" in said, said[:400]
            said = ask(
                _callback(
                    "..progress-figure.figure...progress-words.children...progress-table.children..",
                    {"progress-metric.value": "release_ms", "shown-theme.data": "light"},
                    {"progress-who.data": who},
                )
            )
            assert "lesson" in said or "2022" in said
    elif what == "search":
        from app.commands.list import fits
        from imu.recordings.library import Library

        begun = time.perf_counter()
        found = [one for one in Library(place).entries() if fits(one, ["player 07", "pressure"])]
        assert found
    else:
        from app.swing_sets import swing_set
        from imu.columns import headline_metrics
        from imu.variation.session_table import session_table

        headline = [metric.name for metric in headline_metrics()]
        begun = time.perf_counter()
        swings = swing_set(str(place), "kind=ball", metrics=headline)
        assert len(session_table(swings.swings))
    seconds = time.perf_counter() - begun
    return {
        "seconds": seconds,
        "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def in_fresh_process(what: str, place: Path, repeats: int) -> dict[str, float]:
    """The least of several runs."""
    runs = []
    for _ in range(repeats):
        done = subprocess.run(
            [sys.executable, __file__, "--measure", what, "--keep", str(place)],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            raise SystemExit(done.stderr)
        runs.append(json.loads(done.stdout.splitlines()[-1]))
    return min(runs, key=lambda run: run["seconds"])


def run(recordings: list[int], repeats: int, keep: Path | None) -> int:
    """Print a table; the exit code says whether the goals hold for the largest library."""
    print(f"{'recordings':>10} {'swings':>8}" + "".join(f"{name:>12}" for name in GOALS), "memory")
    missed = []
    for count in sorted(recordings):
        with tempfile.TemporaryDirectory(prefix="library-scale-") as scratch:
            place = keep if keep and count == max(recordings) else Path(scratch) / "library"
            if not place.exists():
                make_library(place, count)
            found = {name: in_fresh_process(name, place, repeats) for name in GOALS}
        memory = max(one["memory_mb"] for one in found.values())
        seconds = {name: one["seconds"] for name, one in found.items()}
        cells = "".join(f"{value:10.2f} s" for value in seconds.values())
        print(f"{count:10,} {count * SWINGS:8,}{cells} {memory:5.0f} MB", flush=True)
        if count == max(recordings):
            missed = [name for name, goal in GOALS.items() if seconds[name] > goal]
            missed += ["memory"] if memory > MEMORY_GOAL_MB else []
    print("goals met" if not missed else f"goals missed: {', '.join(missed)}")
    return bool(missed)


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--recordings", type=int, nargs="+", default=[500, 1000, 2000])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--keep", type=Path, help="make the largest library here and leave it")
    parser.add_argument("--measure", choices=list(GOALS), help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.measure:
        print(json.dumps(measure(arguments.measure, arguments.keep)))
        return 0
    return run(arguments.recordings, arguments.repeats, arguments.keep)


if __name__ == "__main__":
    sys.exit(main())

"""From no hardware to an exported table: the whole path, as a coach would walk it.

Takes two minutes; run by hand: SOAK_SECONDS=45 pytest -m soak tests/recorder/test_coach_path.py
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from imu.recorder.journal import read_journal
from imu.recordings.library import Library
from imu.recordings.saved_sets import SavedPlan, update_saved_sets
from imu.variation.limits import Limits
from imu.variation.plan import alternating_plan

SECONDS = float(os.environ.get("SOAK_SECONDS", "0"))


@pytest.mark.soak
@pytest.mark.skipif(SECONDS <= 0, reason="long: set SOAK_SECONDS to run it")
def test_virtual_swings_are_shown_live_kept_analysed_and_exported(tmp_path: Path) -> None:
    library, journals = str(tmp_path / "library"), str(tmp_path / "journals")
    command = [sys.executable, "-m", "app.cli", "record", "--virtual", f"--seconds={SECONDS}"]
    run = subprocess.run(
        [*command, "--block=practice", "--library", library, "--journals", journals],
        capture_output=True,
        text=True,
        timeout=SECONDS + 120,
        check=True,
    )
    shown = [line for line in run.stdout.splitlines() if re.match(r"swing \d+ ", line)]
    assert len(shown) >= 2 and "nothing was kept" not in run.stderr
    (entry,) = Library(library).entries()
    assert entry.id in run.stdout and all(lost == 0 for lost in entry.lost.values())
    (folder,) = Path(journals).glob("20*")
    told = [r.json() for r in read_journal(folder / "swings.journal").records]
    live = [event for event in told if event.get("type") == "swing"]
    out = tmp_path / "out"
    export = [sys.executable, "-m", "app.cli", "analyse", entry.id, "--library", library]
    subprocess.run([*export, "--out", str(out)], check=True, capture_output=True, timeout=120)
    table = pd.read_csv(next(out.glob("swings*.csv")), comment="#")
    impacts = table["impact_club_clock_us"].to_numpy()
    for event in live:
        (row,) = table[abs(impacts - event["impact_club_clock_us"]) < 5000].to_dict("records")
        for name, (value, se) in event["metrics"].items():
            both = (se**2 + row[f"{name}_se"] ** 2) ** 0.5
            assert abs(value - row[name]) < 2.5 * both, name
    latest = sorted(event["after_impact_ms"] for event in live)
    print(f"\nlive numbers {latest} ms after impact")


@pytest.mark.soak
@pytest.mark.skipif(SECONDS < 90, reason="long: set SOAK_SECONDS to 90 or more to run it")
def test_a_plan_is_followed_by_itself_and_compared_with_no_further_label(tmp_path: Path) -> None:
    """Blocks of two swings; the virtual player swings about every eight seconds."""
    library, limits = Library(tmp_path / "library"), Limits(set_at="2026-04-01T09:00:00+02:00")
    layout = alternating_plan(limits, swings_per_set=8, most_per_block=4).as_dict()
    for block in layout["blocks"]:
        block |= {"swings": 2, "rest_s": min(block["rest_s"], 3)}
    kept = SavedPlan("april-test", limits, layout)
    update_saved_sets(library.path, lambda saved: saved.with_plan(kept))
    command = [sys.executable, "-m", "app.cli"]
    where = ["--library", str(library.path)]
    record = ["record", "--virtual", f"--seconds={SECONDS}", "--plan=april-test"]
    run = subprocess.run(
        [*command, *record, *where, "--journals", str(tmp_path / "journals")],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=SECONDS + 120,
        check=True,
    )
    assert "now block 2 of 4: 2 × pressure" in run.stderr
    assert "--plan april-test" in run.stdout
    (entry,) = library.entries()
    assert entry.blocks == ("practice", "pressure")
    sides = ["block=practice", "block=pressure", "--plan", "april-test", "--no-curves"]
    found = subprocess.run(
        [*command, "compare", *sides, "--json", *where],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    document = json.loads(found.stdout)
    assert document["limits"]["set_at"] == limits.set_at
    assert document["findings"][0]["b"]["swings"] in (2, 4)

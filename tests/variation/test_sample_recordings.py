"""The sample recordings' practice and pressure blocks give the differences built into them.

What was built in is in ``recordings/provenance.json``: invented players, simulated swings.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from imu.pipeline import analyse
from imu.recordings.store import read_recording
from imu.variation.compare import compare_sets
from imu.variation.sets import Selection, SwingKey, pool, select
from imu.variation.spread import spread_table
from imu.variation.verdict import CANNOT_TELL, DOES_NOT_HOLD

RECORDINGS = Path(__file__).resolve().parents[2] / "recordings"


def _everything(*names):
    parts = []
    for name in names:
        recording = read_recording(RECORDINGS / name)
        parts.append((recording.manifest, analyse(recording), None))
    return pool(parts)


@pytest.fixture(scope="module")
def robin():
    return _everything("robin-7-iron-practice", "robin-7-iron-pressure")


@pytest.fixture(scope="module")
def blocks():
    found = json.loads((RECORDINGS / "provenance.json").read_text("utf-8"))["blocks"]
    return {block["name"]: block for block in found}


def _compare(everything, **changes):
    practice = select(everything, Selection(blocks=("practice",)), "practice")
    pressure = select(everything, Selection(blocks=("pressure",)), "pressure")
    return compare_sets(practice, pressure, **changes)


def test_means_built_in_are_within_their_intervals(robin, blocks):
    found = _compare(robin)
    added = blocks["robin-7-iron-pressure"]["added_to_means"]
    assert added["downswing_ms"] < 0
    for metric in ("downswing_ms", "backswing_ms", "release_ms", "overlap_ms"):
        shift = found.finding(metric).shift
        # a 95 % interval may miss once in twenty; four in a row at twice its width do not
        middle, half = shift.value, shift.high - shift.value
        assert abs(added.get(metric, 0.0) - middle) < 2 * half, metric
    assert found.finding("downswing_ms").verdict.word == DOES_NOT_HOLD
    assert "shorter under pressure" in found.finding("downswing_ms").shift_sentence
    assert "shorter under pressure" in found.finding("backswing_ms").shift_sentence


def test_spreads_built_in_are_within_their_intervals(robin, blocks):
    found = _compare(robin)
    factors = blocks["robin-7-iron-pressure"]["factors_on_spread"]
    ratio = found.finding("release_ms").spread.ratio
    assert ratio.low < factors["release_ms"] < ratio.high
    # 14 swings see a doubled spread about half the time; nowhere may they claim the contrary
    assert found.finding("release_ms").verdict.word in (CANNOT_TELL, DOES_NOT_HOLD)
    assert found.finding("hinge_at_impact_deg").spread.ratio.value > 1.3


def test_spread_measured_is_the_spread_swung(robin, blocks):
    practice = select(robin, Selection(blocks=("practice",)), "practice").swings
    table = spread_table(practice).set_index("metric")
    truth = [s["values"] for s in blocks["robin-7-iron-practice"]["swings"] if s["kind"] == "ball"]
    assert len(truth) == len(practice)
    for metric in ("downswing_ms", "overlap_ms", "release_ms", "hinge_max_deg"):
        swung = np.std([values[metric] for values in truth], ddof=1)
        # the same swings, so no sampling error: only what the sensors add
        assert table.loc[metric, "sd"] == pytest.approx(swung, rel=0.25), metric


def test_six_swings_of_each_cannot_tell(robin):
    table = robin.swings[robin.swings["kind"] == "ball"]
    keys = [
        SwingKey(row.recording_id, row.impact_club_clock_us)
        for _, block in table.groupby("block")
        for row in block.head(6).itertuples()
    ]
    few = select(robin, Selection(picked=tuple(keys)), "few")
    found = _compare(few, curves=False)
    assert {one.verdict.word for one in found.findings} == {CANNOT_TELL}
    asked = [one.verdict.more_per_set for one in found.findings]
    assert sum(count is not None and count > 0 for count in asked) >= 8


def test_nothing_built_in_is_nothing_found():
    found = _compare(_everything("kim-7-iron-practice", "kim-7-iron-pressure"))
    assert found.verdict != DOES_NOT_HOLD
    # Kim is left-handed: the same sentences, the same signs
    assert found.finding("hinge_max_deg").a.mean > 60

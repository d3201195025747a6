"""The sample recordings: small, honest about what is built in, and made by their command."""

import json
from pathlib import Path

import numpy as np
import pytest

from imu.errors import SwingspreadError
from imu.recordings.store import read_recording
from imu.simulate.sample import BLOCKS, PROFILE, PROVENANCE_FILE, block_plan, main, write_samples
from imu.simulate.session import simulate_session
from imu.types import BALL

SHIPPED = Path(__file__).resolve().parents[2] / "recordings"


@pytest.fixture(scope="module")
def provenance():
    return json.loads((SHIPPED / PROVENANCE_FILE).read_text("utf-8"))


def test_all_samples_together_are_small():
    # Caches (derived/) may stand beside the samples, but are neither kept nor shipped.
    every = [path for path in SHIPPED.rglob("*") if path.is_file()]
    files = [path for path in every if "derived" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 15_000_000


def test_every_block_is_there_as_its_provenance_says(provenance):
    assert [entry["name"] for entry in provenance["blocks"]] == [block.name for block in BLOCKS]
    for entry, block in zip(provenance["blocks"], BLOCKS, strict=True):
        recording = read_recording(SHIPPED / block.name, verify=True)
        assert recording.id == entry["id"]
        manifest = recording.manifest
        assert (manifest.block, manifest.player.handedness) == (
            block.block,
            block.player.handedness,
        )
        assert "invented" in manifest.player.name
        balls = [swing for swing in entry["swings"] if swing["kind"] == BALL]
        assert len(balls) == block.balls >= 14


def test_the_command_makes_the_shipped_samples():
    # Other processors may round the last digit of a sample otherwise.
    block = BLOCKS[-1]
    made = simulate_session(block_plan(block), PROFILE, block.seed).recording
    shipped = read_recording(SHIPPED / block.name)
    assert made.manifest == shipped.manifest
    for role, stream in shipped.streams.items():
        again = made.streams[role]
        assert np.array_equal(again.seq, stream.seq)
        assert np.abs(again.acc - stream.acc).max() < 1.5 * stream.acc_range / 32768.0
        assert np.abs(again.gyr - stream.gyr).max() < 1.5 * stream.gyr_range / 32768.0


def test_pressure_blocks_differ_as_built_in(provenance):
    # With 14 swings a block: within three standard errors of the difference built in.
    by_name = {entry["name"]: entry for entry in provenance["blocks"]}
    for practice, pressure in zip(BLOCKS[::2], BLOCKS[1::2], strict=True):
        values = [
            [s["values"]["downswing_ms"] for s in by_name[b.name]["swings"] if s["kind"] == BALL]
            for b in (practice, pressure)
        ]
        built_in = pressure.mean.get("downswing_ms", 0.0)
        gap = np.mean(values[1]) - np.mean(values[0])
        error = np.sqrt(sum(np.var(v, ddof=1) / len(v) for v in values))
        assert abs(gap - built_in) < 3.0 * error


def test_something_else_in_the_way_is_left_alone(tmp_path, capsys):
    theirs = tmp_path / BLOCKS[0].name
    theirs.mkdir()
    (theirs / "mine.txt").write_text("keep")
    with pytest.raises(SwingspreadError, match="not replaced"):
        write_samples(tmp_path)
    assert (theirs / "mine.txt").read_text() == "keep"
    assert main(["--out", str(tmp_path)]) == 1
    assert "not replaced" in capsys.readouterr().err


def test_samples_are_replaced_by_themselves(tmp_path):
    block = BLOCKS[-1]
    small = [type(block)(**{**block.__dict__, "balls": 1})]
    first = read_recording(write_samples(tmp_path, small)[0])
    again = read_recording(write_samples(tmp_path, small)[0])
    assert first.id == again.id

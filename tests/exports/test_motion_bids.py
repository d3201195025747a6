"""The Motion-BIDS export is what the standard asks for, and nothing is lost on the way back.

Outside check: the validator of the BIDS maintainers (package bids-validator-deno), with the
published schema that it carries.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.exports.motion_bids import bids_label, nameless, samples_tsv, write_motion_bids
from imu.recordings.content import make_recording
from imu.recordings.motion_bids import read_motion_bids
from imu.types import Club, Manifest, Player, Recording, Stream


def stream(role: str, count: int, seed: int = 3) -> Stream:
    """Random samples with a gap, and host times unknown at the start."""
    random = np.random.default_rng(seed)
    seq = np.arange(count) + 5 * (np.arange(count) > count // 2)
    host = 0.3 + seq / 800 + random.random(count)
    host[:4] = np.nan
    time = 19.8 + seq / 800 + random.uniform(0, 1e-5, count)
    acc, gyr = random.normal(0, 9, (count, 3)), random.normal(0, 1, (count, 3))
    return Stream(role, time, acc, gyr, seq, host, 800.0, 313.8128, np.inf)


def recording(name: str = "Robin Example", block: str = "pressure", seed: int = 3) -> Recording:
    manifest = Manifest(
        Player(name, "left", 0.61),
        Club("7-iron", 0.94),
        name="Tuesday",
        session="Tuesday lesson",
        block=block,
        recorded_at="2026-05-05T18:30:00+02:00",
        notes="wind from the left",
        sensors={
            "forearm": {"serial": "A1", "distance_to_wrist": 0.053},
            "club": {"distance_from_butt": 0.327},
        },
    )
    streams = {role: stream(role, 300, seed) for role in ("forearm", "club")}
    return make_recording(manifest, streams, ("3 samples lost",))


def validate(folder: Path) -> list[str]:
    """Codes of the errors that the BIDS validator finds."""
    validator = Path(sys.executable).with_name("bids-validator-deno")
    if not validator.exists():
        found = shutil.which("bids-validator-deno")
        if found is None:
            pytest.skip("bids-validator-deno is not installed (test extra)")
        validator = Path(found)
    answer = subprocess.run(
        [str(validator), "--format", "json", "--max-rows", "-1", str(folder)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    issues = json.loads(answer.stdout)["issues"]["issues"]
    return [
        f"{issue['code']} {issue['location']}" for issue in issues if issue["severity"] == "error"
    ]


def test_the_bids_validator_finds_no_error(tmp_path: Path) -> None:
    blocks = [
        recording(block="practice"),
        recording(block="pressure", seed=4),
        recording("Kim", ""),
    ]
    write_motion_bids(blocks, tmp_path)
    assert validate(tmp_path) == []


def test_the_bids_validator_would_find_one(tmp_path: Path) -> None:
    write_motion_bids([recording()], tmp_path)
    (channels,) = tmp_path.rglob("*tracksys-club*_channels.tsv")
    channels.write_text(channels.read_text("utf-8").replace("ACCEL", "SHAKE"), "utf-8")
    assert any("club" in error for error in validate(tmp_path))


def test_reading_back_gives_the_same_recording(tmp_path: Path) -> None:
    original = recording()
    write_motion_bids([original], tmp_path)
    (again,) = read_motion_bids(tmp_path)
    assert again.id == original.id
    for role, was in original.streams.items():
        now = again.streams[role]
        for field in ("time", "acc", "gyr", "seq", "host_time"):
            np.testing.assert_array_equal(getattr(now, field), getattr(was, field))
        assert (now.rate_hz, now.acc_range, now.gyr_range) == (800.0, 313.8128, np.inf)
    assert again.faults == original.faults
    assert again.manifest.block == "pressure"


def test_roles_that_differ_by_an_underscore_keep_files_of_their_own(tmp_path: Path) -> None:
    facts = recording().manifest
    roles = ("forearm", "club", "belt_1", "belt1", "belt12")
    streams = {role: stream(role, 50, seed) for seed, role in enumerate(roles)}
    original = make_recording(facts, streams)
    files = write_motion_bids([original], tmp_path)
    assert len(files) == len(set(files))
    (again,) = read_motion_bids(tmp_path)
    assert again.id == original.id
    assert set(again.streams) == set(roles)


def test_names_of_players_stay_out(tmp_path: Path) -> None:
    files = write_motion_bids([recording()], tmp_path)
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert "Robin" not in text
        assert "wind from" not in text
        assert "Robin" not in str(file)
    assert nameless(recording().manifest).player.handedness == "left"


def test_a_second_dataset_does_not_mix_its_players_with_those_of_the_first(tmp_path: Path) -> None:
    write_motion_bids([recording()], tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    with pytest.raises(SwingspreadError, match="holds a Motion-BIDS dataset already"):
        write_motion_bids([recording("Kim")], tmp_path)
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_each_recording_is_a_run_of_its_own(tmp_path: Path) -> None:
    several = [recording(seed=seed) for seed in (1, 2, 3)]
    write_motion_bids(several, tmp_path)
    again = read_motion_bids(tmp_path)
    assert {item.id for item in again} == {item.id for item in several}


@given(
    st.lists(st.floats(allow_nan=False, allow_infinity=False, width=64), min_size=3, max_size=30)
)
@settings(max_examples=60)
def test_every_number_comes_back_to_the_bit(values: list[float]) -> None:
    count = len(values)
    vector = np.column_stack([values, values[::-1], values])
    source = Stream(
        "club",
        np.arange(count) + 0.1,
        vector,
        vector,
        np.arange(count),
        np.full(count, np.nan),
        1.0,
    )
    lines = samples_tsv(source).decode("ascii").splitlines()
    written = np.array([[float(cell) for cell in line.split("\t")[1:4]] for line in lines])
    np.testing.assert_array_equal(written, vector)


@given(st.text())
def test_labels_are_letters_and_digits(text: str) -> None:
    label = bids_label(text)
    assert label == "" or (label.isascii() and label.isalnum() and len(label) <= 32)


def _drop(name: str, key: str) -> object:
    def change(folder: Path) -> None:
        (file,) = folder.rglob(f"*tracksys-club*{name}")
        document = json.loads(file.read_text("utf-8"))
        del document[key]
        file.write_text(json.dumps(document), "utf-8")

    return change


def _swap(name: str, old: str, new: str) -> object:
    def change(folder: Path) -> None:
        (file,) = folder.rglob(f"*tracksys-club*{name}")
        file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")

    return change


def _remove(name: str) -> object:
    def change(folder: Path) -> None:
        (file,) = folder.rglob(f"*tracksys-club*{name}")
        file.unlink()

    return change


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_remove("motion.json"), "motion.json.*cannot be read"),
        (_remove("channels.tsv"), "channels.tsv.*cannot be read"),
        (_swap("channels.tsv", "ACCEL", "MISC"), "type ACCEL, component x"),
        (_swap("channels.tsv", "m/s^2", "furlong"), "unit 'furlong'"),
        (_swap("channels.tsv", "units", "unit"), "column 'units'"),
        (_swap("motion.tsv", "n/a", "perhaps"), "columns of numbers"),
        (_drop("motion.json", "SensorRole"), "motion.json: SensorRole is missing"),
        (
            _swap("motion.json", '"SensorRole": "club"', '"SensorRole": "my club"'),
            "motion.json: sensor role 'my club'",
        ),
        (_swap("motion.json", '"SensorRole": "club"', '"SensorRole": "forearm"'), "second sensor"),
        (_swap("motion.json", "{", "["), "cannot be read as JSON"),
        (_swap("motion.json", '"SamplingFrequency": 800.0', '"SamplingFrequency": "x"'), "number"),
        (
            _swap("motion.json", '"SamplingFrequency": 800.0', '"SamplingFrequency": "n/a"'),
            "motion.json: SamplingFrequency should be the sensor's rate in Hz",
        ),
        (
            _swap("motion.json", '"SamplingFrequency": 800.0', '"SamplingFrequency": 0'),
            "motion.json: SamplingFrequency should be the sensor's rate in Hz",
        ),
        (
            _swap("motion.json", '"SamplingFrequency": 800.0', f'"SamplingFrequency": {10**400}'),
            "motion.json: SamplingFrequency should be a finite number",
        ),
    ],
)
def test_a_damaged_dataset_is_named(change: object, message: str, tmp_path: Path) -> None:
    write_motion_bids([recording()], tmp_path)
    change(tmp_path)  # type: ignore[operator]
    with pytest.raises(SwingspreadError, match=message):
        read_motion_bids(tmp_path)


def test_a_dataset_without_declared_facts_says_what_to_do(tmp_path: Path) -> None:
    write_motion_bids([recording()], tmp_path)
    for file in tmp_path.rglob("*_motion.json"):
        document = json.loads(file.read_text("utf-8"))
        del document["RecordingManifest"]
        file.write_text(json.dumps(document), "utf-8")
    with pytest.raises(SwingspreadError, match="import them with --meta"):
        read_motion_bids(tmp_path)


def test_a_row_cut_short_and_a_sample_unknown_or_out_of_order_are_named(tmp_path: Path) -> None:
    write_motion_bids([recording()], tmp_path)
    (file,) = tmp_path.rglob("*tracksys-club*_motion.tsv")
    lines = file.read_text("utf-8").splitlines()
    cells = lines[6].split("\t")
    file.write_text("\n".join([*lines[:6], "\t".join(["n/a", "n/a", *cells[2:]]), ""]), "utf-8")
    with pytest.raises(SwingspreadError, match="row 7: ACCEL is unknown"):
        read_motion_bids(tmp_path)
    for column, cell, message in (
        (7, "3.5", "row 7, sample_number: sample number 3.5 is not whole"),
        (7, "2", "row 7, sample_number: sample number falls from 5 to 2"),
        (8, "1.0", "row 7, sensor_clock: time goes back"),
    ):
        spoilt = [*cells[:column], cell, *cells[column + 1 :]]
        file.write_text("\n".join([*lines[:6], "\t".join(spoilt), *lines[7:]]), "utf-8")
        with pytest.raises(SwingspreadError, match=message):
            read_motion_bids(tmp_path)
    file.write_text("\n".join([line.rsplit("\t", 2)[0] for line in lines]), "utf-8")
    with pytest.raises(SwingspreadError, match="Expected 10 columns, got 8"):
        read_motion_bids(tmp_path)


def test_a_folder_without_a_dataset_is_named(tmp_path: Path) -> None:
    with pytest.raises(SwingspreadError, match="no Motion-BIDS recording here"):
        read_motion_bids(tmp_path)

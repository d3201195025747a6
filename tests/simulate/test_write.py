"""A simulated session as plain files comes back through the importer unchanged."""

import json

import numpy as np
import pandas as pd
import pytest

from imu.recordings import importer
from imu.simulate.write import main
from imu.types import CLUB, FOREARM


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("simulated")
    options = ["--profile", "harsh", "--hand", "left", "--balls", "1", "--practice", "1"]
    assert main(["--out", str(out), *options]) == 0
    return out


def test_files_are_the_plain_layout_with_truth(folder):
    names = {path.name for path in folder.iterdir()}
    assert names == {
        "forearm.csv.gz",
        "club.csv.gz",
        "meta.json",
        "truth.json",
        "truth.parquet",
    }
    head = pd.read_csv(folder / "club.csv.gz", nrows=2)
    assert list(head) == ["t_host_s", "seq", "t_sensor_us", "ax", "ay", "az", "gx", "gy", "gz"]
    truth = json.loads((folder / "truth.json").read_text())
    assert len(truth["swings"]) == 2
    curves = pd.read_parquet(folder / "truth.parquet")
    assert set(curves["swing"]) == {1, 2}


def test_the_importer_reads_them_back(folder):
    recording = importer.import_csv(
        folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json"
    )
    assert recording.manifest.player.handedness == "left"
    table = pd.read_csv(folder / "club.csv.gz")
    assert np.array_equal(recording.streams[CLUB].seq, table["seq"])
    assert recording.streams[CLUB].acc[:, 0] == pytest.approx(table["ax"], abs=1e-9)
    assert recording.streams[FOREARM].rate_hz == 200.0


@pytest.mark.parametrize("wrong", [["--seed", "-1"], ["--balls", "2.5"], ["--practice", "two"]])
def test_what_is_no_count_is_refused(wrong, tmp_path, capsys):
    with pytest.raises(SystemExit):
        main(["--out", str(tmp_path / "out"), *wrong])
    assert "no whole number" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_session_without_a_swing_is_written_too(tmp_path):
    assert main(["--out", str(tmp_path), "--balls", "0", "--practice", "0"]) == 0
    assert pd.read_parquet(tmp_path / "truth.parquet").empty

"""From a recording to what is handed over: `analyse`, `report` and `export`, as typed."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from app.cli import main
from app.handing_out import FORMATS
from imu.columns import CURVE_COLUMNS, SWING_COLUMNS, headline_metrics
from imu.recordings.library import Library
from imu.recordings.notes import SwingNote, update_notes
from imu.recordings.store import read_recording

SAMPLE = Path(__file__).resolve().parents[2] / "recordings" / "kim-7-iron-practice"
SWINGS = 14


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with one sample recording, analysed once by the first test that needs it."""
    place = tmp_path_factory.mktemp("library")
    shutil.copytree(SAMPLE, place / "kim", ignore=shutil.ignore_patterns("derived", ".*"))
    return place


@pytest.fixture(scope="module")
def results(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where `analyse --json` has written, with what it said as ``said.json``."""
    out = tmp_path_factory.mktemp("results")
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert main(["analyse", "kim", "--library", str(library), "--out", str(out), "--json"]) == 0
    (out / "said.json").write_text(said.getvalue(), "utf-8")
    return out


def test_analyse_writes_the_promised_tables(results: Path) -> None:
    swings = pd.read_csv(results / "swings.csv")
    assert tuple(swings.columns[: len(SWING_COLUMNS)]) == SWING_COLUMNS
    assert (swings["kind"] == "ball").sum() == SWINGS
    curves = pd.read_parquet(results / "curves.parquet")
    assert tuple(curves.columns[: len(CURVE_COLUMNS)]) == tuple(CURVE_COLUMNS)
    assert set(curves["swing"]) <= set(swings["swing"])
    document = json.loads((results / "analysis.json").read_text("utf-8"))
    assert document["recording"] == json.loads((SAMPLE / "recording.json").read_text("utf-8"))["id"]
    assert document["handedness"] == "left"


def test_the_summary_fits_one_screen(
    library: Path, results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", "kim", "--library", str(library), "--out", str(tmp_path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 40
    assert max(len(line) for line in lines[2:18]) <= 100
    spread = json.loads((results / "said.json").read_text("utf-8"))["spread"]
    lag = next(row for row in spread if row["metric"] == "lag_at_parallel_deg")
    (shown,) = (line for line in lines if line.startswith(f" {lag['label']}"))
    assert f"{lag['sd']:.1f} {lag['sd_low']:.1f} to {lag['sd_high']:.1f}" in " ".join(shown.split())
    for metric in headline_metrics():
        assert any(metric.label in line and f" {SWINGS} " in line for line in lines)


def test_json_has_the_textbook_interval(results: Path) -> None:
    document = json.loads((results / "said.json").read_text("utf-8"))
    assert document["swings"]["ball"] == document["counted"] == SWINGS
    release = next(row for row in document["spread"] if row["metric"] == "release_ms")
    # Chi-square with 13 degrees of freedom (tables): 5.009 and 24.736 at 2.5 and 97.5 %.
    assert release["swings"] == SWINGS
    assert release["sd_chi_square_low"] / release["sd"] == pytest.approx((13 / 24.736) ** 0.5, 1e-4)
    assert release["sd_chi_square_high"] / release["sd"] == pytest.approx((13 / 5.009) ** 0.5, 1e-4)


def test_a_swing_left_out_is_not_counted(
    library: Path, results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    swings = pd.read_parquet(results / "swings.parquet")
    impact = int(swings.loc[swings["kind"] == "ball", "impact_club_clock_us"].iloc[0])
    folder = library / "kim"
    update_notes(folder, lambda notes: notes.with_swing(SwingNote(impact, left_out="sneeze")))
    out = tmp_path / "report.html"
    try:
        assert main(["report", "kim", "--library", str(library), "--out", str(out)]) == 0
    finally:
        (folder / "notes.json").unlink()
    assert f"report of {SWINGS - 1} swings" in capsys.readouterr().out
    assert "sneeze" in out.read_text("utf-8")


def test_the_exported_samples_lead_to_the_same_analysis(
    library: Path, results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raw, again = tmp_path / "raw", tmp_path / "again"
    export = ["export", "kim", "--library", str(library), "--out", str(raw), "--as", "raw"]
    assert main(export) == 0
    files = [f"--{role}={raw / role}.csv.gz" for role in ("forearm", "club")]
    meta = ["--meta", str(raw / "meta.json"), "--library", str(again), "--name", "again"]
    assert main(["import", *files, *meta]) == 0
    identity = capsys.readouterr().out.split()[-1]
    assert len(Library(again).entries()) == 1
    assert main(["analyse", identity[:6], "--library", str(again), "--out", str(tmp_path)]) == 0
    for name in ("swings.parquet", "curves.parquet"):
        pd.testing.assert_frame_equal(
            pd.read_parquet(tmp_path / name), pd.read_parquet(results / name), rtol=1e-7, atol=1e-7
        )


def test_a_motion_bids_export_comes_back_as_the_same_recording(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    dataset, again = tmp_path / "dataset", tmp_path / "again"
    words = ["export", "kim", "--library", str(library), "--out", str(dataset)]
    assert main([*words, "--as", "motion-bids"]) == 0
    labels = ["--library", str(again), "--player", "Kim (invented)"]
    assert main(["import", "--motion-bids", str(dataset), *labels]) == 0
    (entry,) = Library(again).entries()
    assert entry.id == json.loads((SAMPLE / "recording.json").read_text("utf-8"))["id"]
    assert capsys.readouterr().out.split()[-1] == entry.id
    assert main(["import", "--motion-bids", str(tmp_path), "--forearm", "f.csv", *labels]) == 1
    assert "not both" in capsys.readouterr().err
    for option in (["--map", "m.json"], ["--sensor", "belt=b.csv"], ["--swap"]):
        assert main(["import", "--motion-bids", str(dataset), *option, *labels]) == 1
        assert f"{option[0]} goes with CSV files" in capsys.readouterr().err


def test_every_format_is_written(
    library: Path, results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["export", "kim", "--library", str(library), "--out", str(tmp_path)]
    assert main([*words, *(word for name in FORMATS for word in ("--as", name))]) == 0
    listed = {Path(line) for line in capsys.readouterr().out.splitlines()}
    assert listed == {file for file in tmp_path.rglob("*") if file.is_file()}
    names = {file.name for file in listed}
    assert {"swings.csv", "spread.csv", "swings.xlsx", "meta.json", "hinge-overlay.svg"} <= names
    assert (tmp_path / "motion-bids" / "dataset_description.json") in listed


@pytest.mark.parametrize("name", FORMATS)
def test_each_format_alone_writes_files(
    name: str, library: Path, results: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["export", "kim", "--library", str(library), "--out", str(tmp_path)]
    assert main([*words, "--as", name]) == 0
    listed = {Path(line) for line in capsys.readouterr().out.splitlines()}
    assert listed
    assert listed == {file for file in tmp_path.rglob("*") if file.is_file()}


def test_all_of_a_player_goes_into_one_archive(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "kim.zip"
    words = ["export", "player=Kim (invented)", "--library", str(library)]
    assert main([*words, "--as", "recording", "--archive", str(target)]) == 0
    assert "of 1 recording" in capsys.readouterr().out
    with zipfile.ZipFile(target) as archive:
        assert archive.testzip() is None
        archive.extractall(tmp_path / "kim")
    again = read_recording(tmp_path / "kim", verify=True)
    assert again.id == json.loads((SAMPLE / "recording.json").read_text("utf-8"))["id"]
    assert {file.name for file in tmp_path.iterdir()} == {"kim.zip", "kim"}
    nobody = ["export", "player=Nobody", "--library", str(library), "--archive", str(target)]
    assert main(nobody) == 1
    assert "no recording" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["analyse", "nobody"], "no recording 'nobody'"),
        (["analyse", "kim", "--release-threshold", "90"], "degrees from 0.5 to 45"),
        (["analyse", "kim", "--line-tolerance", "0"], "centimetres from 0.1 to 30"),
        (["report", "nobody", "--out", "r.html"], "no recording 'nobody'"),
        (["export", "nobody", "--out", "files"], "no recording 'nobody'"),
    ],
)
def test_a_mistake_is_one_message(
    words: list[str],
    message: str,
    library: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*words, "--library", str(library)]) == 1
    said = capsys.readouterr().err
    assert message in said
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []

"""What is written can be read back by other programs, whole, and harms none of them."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from imu.columns import CURVE_COLUMNS, METRICS, SWING_COLUMNS
from imu.errors import SwingspreadError
from imu.exports.dictionary import (
    describe_curve_columns,
    describe_swing_columns,
    metric_meaning,
)
from imu.exports.folder import write_analysis, write_spreadsheet
from imu.exports.safe_text import plain_cell, plain_table
from imu.exports.tables import analysis_document, write_csv
from imu.metric import Metric
from imu.types import Analysis

# The characters of OWASP's page on CSV injection (and CWE-1236), with their full-width doubles.
FORMULA_STARTS = ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"]


def test_the_promised_files_are_written(analysis: Analysis, tmp_path: Path) -> None:
    files = write_analysis(analysis, tmp_path / "out")
    names = {"swings.csv", "swings.parquet", "curves.parquet", "columns.csv", "analysis.json"}
    assert {file.name for file in files} == names
    assert {file.name for file in (tmp_path / "out").iterdir()} == names


@pytest.mark.parametrize("metric", METRICS, ids=lambda metric: metric.name)
def test_a_model_value_is_called_so_once_and_no_other_is(metric: Metric) -> None:
    assert metric_meaning(metric).lower().count("a model value") == metric.model


def test_csv_and_parquet_hold_the_same_swings(analysis: Analysis, tmp_path: Path) -> None:
    write_analysis(analysis, tmp_path)
    from_csv = pd.read_csv(tmp_path / "swings.csv", keep_default_na=True)
    from_parquet = pd.read_parquet(tmp_path / "swings.parquet")
    assert tuple(from_csv.columns) == SWING_COLUMNS
    numbers = from_parquet.select_dtypes("number").columns
    pd.testing.assert_frame_equal(
        from_csv[numbers], from_parquet[numbers], check_exact=True, check_dtype=False
    )
    pd.testing.assert_frame_equal(from_parquet, analysis.swings, check_dtype=False)


def test_csv_follows_rfc_4180(analysis: Analysis, tmp_path: Path) -> None:
    write_analysis(analysis, tmp_path)
    raw = (tmp_path / "swings.csv").read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == len(analysis.swings) + 1
    with (tmp_path / "swings.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert {len(row) for row in rows} == {len(SWING_COLUMNS)}
    assert rows[3][SWING_COLUMNS.index("overlap_ms")] == ""


def test_parquet_fields_carry_units(analysis: Analysis, tmp_path: Path) -> None:
    write_analysis(analysis, tmp_path)
    fields = pq.read_schema(tmp_path / "swings.parquet")
    for metric in METRICS:
        unit = (fields.field(metric.name).metadata or {}).get(b"unit", b"").decode()
        assert unit == metric.unit
    curves = pq.read_schema(tmp_path / "curves.parquet")
    assert curves.names == list(CURVE_COLUMNS)
    assert curves.field("hinge_deg").metadata[b"unit"] == "°".encode()


def test_json_is_strict_and_unknown_is_null(analysis: Analysis, tmp_path: Path) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON (RFC 8259)")

    write_analysis(analysis, tmp_path)
    text = (tmp_path / "analysis.json").read_text(encoding="utf-8")
    document = json.loads(text, parse_constant=refuse)
    assert document["calibration"]["residual_m_s2"] is None
    assert document["calibration"]["forearm_mounting_deg"] == [1.0, 2.0]
    assert document["recording"] == analysis.recording_id
    assert document["swings"] == {"ball": 13, "practice": 1}
    assert document["rejected"][0]["reason"].startswith("waggle")


def test_every_column_is_explained(analysis: Analysis) -> None:
    swings = describe_swing_columns()
    assert list(swings["column"]) == list(SWING_COLUMNS)
    assert (swings["meaning"].str.len() > 10).all()
    curves = describe_curve_columns()
    assert list(curves["column"]) == list(CURVE_COLUMNS)
    assert (curves["meaning"].str.len() > 10).all()
    assert not curves["column"].duplicated().any()


def test_an_empty_session_still_writes_whole_files(analysis: Analysis, tmp_path: Path) -> None:
    empty = replace(analysis, swings=analysis.swings.iloc[:0], curves=analysis.curves.iloc[:0])
    write_analysis(empty, tmp_path)
    assert len(pd.read_parquet(tmp_path / "swings.parquet")) == 0
    assert analysis_document(empty)["swings"] == {}


def test_text_is_never_a_formula(analysis: Analysis, tmp_path: Path) -> None:
    attacks = [f'{start}HYPERLINK("x","y")' for start in FORMULA_STARTS]
    analysis = replace(analysis, swings=analysis.swings.iloc[: len(attacks)].copy())
    analysis.swings["notes"] = attacks
    write_analysis(analysis, tmp_path)
    with (tmp_path / "swings.csv").open(newline="", encoding="utf-8") as file:
        assert [row["notes"] for row in csv.DictReader(file)] == ["'" + one for one in attacks]
    about = {f"player {number}": attack for number, attack in enumerate(attacks)}
    write_spreadsheet(analysis, None, about, tmp_path / "swings.xlsx")
    book = load_workbook(tmp_path / "swings.xlsx")
    for sheet in book:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
    assert "'=HYPERLINK(" in str([row[1].value for row in book["about"].iter_rows()])


@given(st.text())
def test_plain_text_stays_readable(text: str) -> None:
    plain = plain_cell(text)
    assert not plain.lstrip(" ").startswith(tuple(FORMULA_STARTS))
    assert plain_cell(plain) == plain
    if text.isalnum():
        assert plain == text


def test_numbers_are_left_alone() -> None:
    table = pd.DataFrame({"shift_deg": [-3.5, 2.0], "note": ["-3.5", "fine"]})
    safe = plain_table(table)
    assert list(safe["shift_deg"]) == [-3.5, 2.0]
    assert list(safe["note"]) == ["'-3.5", "fine"]


def test_the_spreadsheet_explains_itself(analysis: Analysis, tmp_path: Path) -> None:
    statistics = pd.DataFrame({"metric": ["release_ms"], "sd": [5.0], "high": [float("nan")]})
    about = {"player": "Robin Example", "club": "7-iron"}
    target = write_spreadsheet(analysis, statistics, about, tmp_path / "swings.xlsx")
    book = load_workbook(target)
    assert book.sheetnames == ["swings", "statistics", "columns", "about"]
    rows = list(book["swings"].iter_rows(values_only=True))
    assert rows[0] == SWING_COLUMNS
    assert rows[1][SWING_COLUMNS.index("release_ms")] == "ms"
    assert rows[2][SWING_COLUMNS.index("release_ms")] == analysis.swings["release_ms"].iloc[0]
    assert len(rows) == len(analysis.swings) + 2
    assert [row[0].value for row in book["columns"].iter_rows(min_row=2)] == list(SWING_COLUMNS)
    assert ("player", "Robin Example") in list(book["about"].iter_rows(values_only=True))


def test_a_refused_write_names_the_file_and_keeps_the_old_one(
    analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = write_csv(analysis.swings, tmp_path / "swings.csv")
    before = target.read_bytes()

    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full_disk)
    with pytest.raises(SwingspreadError, match=r"swings\.csv.*No space left"):
        write_csv(analysis.swings.iloc[:2], target)
    assert target.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["swings.csv"]


def test_a_folder_in_the_way_is_named(analysis: Analysis, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file, not a folder", encoding="utf-8")
    with pytest.raises(SwingspreadError, match="out"):
        write_analysis(analysis, tmp_path / "out")

"""Whatever stands in a logger's files, in their meta file and in the column map: a recording, or a
refusal in words. Changes are to values, not bytes, so that they get past the reading of JSON and
CSV; bytes are spoilt in `tests/recordings/test_importer.py`."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import loggers
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.recordings.importer import import_csv

LINES = 900
MAP: dict[str, Any] = {
    "columns": {name: name for name in ("ax", "ay", "az", "gx", "gy", "gz", "seq")},
    "units": {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"},
    "delimiter": ",",
    "decimal_mark": ".",
    "skip_lines": 0,
}
ODD = st.sampled_from(
    ["", "0", "-1", "nan", "inf", "1e308", "-0.0", "1" * 400, "1,5", "0x10", "=1+1", "\u202e1",
     "null", "NaN", " 1 ", "1e-320", '"', "'", "\x00", "999999999999999999999", "true"]
)  # fmt: skip
VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | ODD,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sound files, short."""
    folder = tmp_path_factory.mktemp("sound")
    loggers.write_export(folder)
    for role in ("forearm", "club"):
        loggers.change_lines(folder / f"{role}.csv", lambda lines: lines[: LINES + 1])
    return folder


def places(document: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where something stands in a document."""
    found = [path] if path else []
    if isinstance(document, dict):
        for key, value in document.items():
            found += places(value, (*path, key))
    return found


def changed(document: dict[str, Any], data: st.DataObject) -> dict[str, Any]:
    """The document with one to three places changed, left out or doubled under another name."""
    made = copy.deepcopy(document)
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(places(made)))
        inside = made
        for key in path[:-1]:
            inside = inside[key]
        what = data.draw(st.sampled_from(["change", "drop", "rename"]))
        if what == "change":
            inside[path[-1]] = data.draw(VALUE)
        else:
            kept = inside.pop(path[-1])
            if what == "rename":
                inside[data.draw(st.text(max_size=12))] = kept
        if not places(made):
            break
    return made


def bring_in(files: Path, place: Path, meta: Any, column_map: Any, forearm: Path | None) -> None:
    (place / "meta.json").write_text(json.dumps(meta))
    given_map = None
    if column_map is not None:
        given_map = place / "map.json"
        given_map.write_text(json.dumps(column_map))
    try:
        recording = import_csv(
            forearm or files / "forearm.csv", files / "club.csv", place / "meta.json", given_map
        )
    except SwingspreadError as problem:
        assert str(problem).strip() and "Traceback" not in str(problem)
        return
    for stream in recording.streams.values():
        assert np.isfinite(stream.acc).all() and np.isfinite(stream.gyr).all()
        assert (np.diff(stream.time) > 0).all() and np.isfinite(stream.time).all()
        assert (np.diff(stream.seq) > 0).all()


def test_the_files_to_be_spoilt_are_sound(files: Path, tmp_path: Path) -> None:
    (tmp_path / "map.json").write_text(json.dumps(MAP))
    for column_map in (None, tmp_path / "map.json"):
        recording = import_csv(
            files / "forearm.csv", files / "club.csv", files / "meta.json", column_map
        )
        assert {len(stream.time) for stream in recording.streams.values()} == {LINES}


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_meta_file_and_map_are_taken_or_refused(
    files: Path, tmp_path: Path, data: st.DataObject
) -> None:
    meta = changed(loggers.META, data) if data.draw(st.booleans()) else loggers.META
    column_map = changed(MAP, data) if data.draw(st.booleans()) else None
    bring_in(files, tmp_path, meta, column_map, None)


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_cells_and_lines_are_taken_or_refused(
    files: Path, tmp_path: Path, data: st.DataObject
) -> None:
    table = loggers.read_csv(files / "forearm.csv")
    numbers = st.floats(width=64).map(repr) | st.integers().map(str) | ODD
    for _ in range(data.draw(st.integers(1, 4))):
        row = data.draw(st.integers(0, len(table) - 1))
        match data.draw(st.sampled_from(["cell", "column", "drop", "double", "swap", "cut"])):
            case "cell" if table[row]:
                table[row][data.draw(st.integers(0, len(table[row]) - 1))] = data.draw(numbers)
            case "column":
                column, value = data.draw(st.integers(0, 8)), data.draw(numbers)
                for one in table[1:]:
                    if column < len(one):
                        one[column] = value
            case "drop" if len(table) > 1:
                del table[row]
            case "double":
                table.insert(row, list(table[row]))
            case "swap" if row:
                table[row], table[row - 1] = table[row - 1], table[row]
            case "cut":
                table[row] = table[row][: data.draw(st.integers(0, 9))]
    spoilt = tmp_path / "forearm.csv"
    loggers.write_csv(spoilt, table[1:], table[0])
    bring_in(files, tmp_path, loggers.META, None, spoilt)

"""Files kept by the program, with anything in them: read, refused in words, or the usual; and
never changed by reading."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_recordings import random_recording

from app.preferences import Preferences, read_preferences
from imu.errors import SwingspreadError
from imu.recorder.folder import JournalFolder
from imu.recordings import store
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes, read_notes, update_notes
from imu.recordings.saved_sets import SavedSets, read_saved_sets, update_saved_sets
from imu.recordings.store import read_recording, write_recording
from imu.types import Club, Manifest, Player

PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12)
WORDS = st.sampled_from(
    [
        "schema_version",
        "swings",
        "name",
        "block",
        "impact_club_clock_us",
        "direction",
        "sets",
        "plans",
        "selection",
        "players",
        "limits",
        "picked",
        "speed_unit",
        "release_threshold_deg",
        "near_line_cm",
        "arm_words",
        "player",
        "club",
        "length_m",
        "handedness",
        "sensors",
        "id",
        "plan",
        "session",
        "blocks",
        "marks",
        "kinds",
        "number",
        "label",
        "rest_s",
        "from_club_clock_us",
        "until_club_clock_us",
    ]
)
NESTED = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=12,
)
VERSIONED = st.dictionaries(WORDS, NESTED, max_size=5).map(lambda d: {**d, "schema_version": 1})
DEEP = "[" * 100_000
CONTENT = (
    st.binary(max_size=200)
    | (NESTED | VERSIONED).map(lambda value: json.dumps(value).encode())
    | st.sampled_from([DEEP.encode(), b'{"schema_version": 1e999}', b"\xff\xfe{}", b"", b"null"])
)


def _notes(folder: Path) -> object:
    return read_notes(folder)


def _sets(folder: Path) -> object:
    return read_saved_sets(folder)


def _session(folder: Path) -> object:
    return JournalFolder(folder).manifest()


def _library(folder: Path) -> object:
    """A damaged manifest is listed with its reason."""
    (entry,) = Library(folder.parent).entries()
    assert entry.manifest is not None or entry.problem
    return entry


READERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "notes": ("notes.json", _notes),
    "sets": ("sets.json", _sets),
    "session of a journal": ("session.json", _session),
    "manifest": ("recording.json", _library),
}


@pytest.mark.parametrize("kind", READERS)
@settings(max_examples=150, deadline=None)
@given(content=CONTENT)
def test_anything_is_read_or_refused_and_left_as_it_was(kind: str, content: bytes) -> None:
    name, read = READERS[kind]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "one"
        folder.mkdir()
        (folder / name).write_bytes(content)
        try:
            read(folder)
        except SwingspreadError as problem:
            assert name in str(problem) and "Traceback" not in str(problem)
        assert (folder / name).read_bytes() == content
        assert [path.name for path in folder.iterdir()] == [name]


@settings(max_examples=200, deadline=None)
@given(content=CONTENT)
def test_preferences_are_always_usable(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "preferences.json"
        path.write_bytes(content)
        chosen = read_preferences(path)
        assert isinstance(chosen, Preferences)
        chosen.analysis_settings()
        chosen.units.of("m/s")


@pytest.mark.parametrize(
    ("update", "name"),
    [
        (lambda folder: update_notes(folder, lambda kept: kept), "notes.json"),
        (lambda folder: update_saved_sets(folder, lambda kept: kept), "sets.json"),
    ],
    ids=["notes", "sets"],
)
@settings(max_examples=100, deadline=None)
@given(content=CONTENT)
def test_damage_is_never_written_over(
    update: Callable[[Path], Any], name: str, content: bytes
) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / name).write_bytes(content)
        try:
            update(folder)
        except SwingspreadError:
            assert (folder / name).read_bytes() == content
        else:
            kept = read_notes(folder) if name == "notes.json" else read_saved_sets(folder)
            assert isinstance(kept, RecordingNotes | SavedSets)


def stored(folder: Path) -> Path:
    write_recording(random_recording(Manifest(Player(), Club("7-iron", 0.94)), 1), folder)
    return folder


def test_a_small_parquet_file_that_would_unpack_to_more_than_is_allowed_is_refused_unread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run-length coding keeps a hundred million equal numbers in a few kilobytes."""
    monkeypatch.setattr(store, "LARGEST_STREAM", 3 << 20)
    folder = stored(tmp_path / "r")
    path = folder / "club.parquet"
    schema = pq.read_schema(path)
    part = pa.table({f.name: pa.array(np.zeros(1 << 20)).cast(f.type) for f in schema})
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for _ in range(4):
            writer.write_table(part)
    document = json.loads((folder / "recording.json").read_bytes())
    document["streams"]["club"]["samples"] = 4 << 20
    (folder / "recording.json").write_text(json.dumps(document))
    assert path.stat().st_size < 200_000
    with pytest.raises(SwingspreadError, match="Nothing was read"):
        read_recording(folder)


def most_memory(read: Callable[[], object]) -> int:
    """Bytes that Arrow held at most while something was read."""
    usual = pa.default_memory_pool()
    watched = pa.proxy_memory_pool(usual)
    pa.set_memory_pool(watched)
    try:
        read()
    finally:
        pa.set_memory_pool(usual)
    return int(watched.max_memory())


def test_columns_nobody_asked_for_are_not_unpacked(tmp_path: Path) -> None:
    folder = stored(tmp_path / "r")
    path = folder / "club.parquet"
    table = pq.read_table(path)
    table = table.append_column("payload", pa.array(["x" * 2_000_000] * table.num_rows))
    pq.write_table(table, path, compression="zstd")
    assert most_memory(lambda: pq.read_table(path)) > 50_000_000
    assert most_memory(lambda: read_recording(folder)) < 5_000_000

"""A recording on disk: one folder with a JSON manifest and one Parquet file a sensor.

    recording.json     what is known of the recording, its id and full hash, schema version
    forearm.parquet    samples as the sensor sent them, scaled to SI (likewise club, belt, …)
    notes.json         what people say of it: labels, shots, swings left out, blocks (see notes)
    derived/           results worked out from it; may be deleted at any time

Parquet columns: ``seq``, ``t_sensor_us`` (int64; ``t_sensor_s`` when the clock has no whole
microseconds), ``t_host_s`` (NaN where unknown), ``acc_x_m_s2`` … ``acc_z_m_s2``,
``gyr_x_rad_s`` … ``gyr_z_rad_s``, packed as `imu.recordings.parquet_file` says. Numbers are
kept as 32-bit floats only where that loses nothing. The samples and the manifest are written once
and never changed; only files that cannot be read any more are put right from the same recording.
"""

from __future__ import annotations

import io
import json
import math
import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from imu.errors import SwingspreadError
from imu.recordings.atomic import new_folder, write_file
from imu.recordings.content import ID_LENGTH, content_hash, is_content_id
from imu.recordings.manifest import (
    SCHEMA,
    SCHEMA_VERSION,
    check_schema,
    manifest_from_json,
    manifest_to_json,
)
from imu.recordings.names import check_role
from imu.recordings.parquet_file import write_packed
from imu.types import FloatArray, Recording, Stream

MANIFEST_FILE = "recording.json"
LARGEST_STREAM = 20_000_000
"""Samples a stream may hold; more is a damaged or hostile file (five hours at 1 kHz)."""
LARGEST_MANIFEST = 4 << 20
"""Bytes a manifest may have."""

_ACC = ("acc_x_m_s2", "acc_y_m_s2", "acc_z_m_s2")
_GYR = ("gyr_x_rad_s", "gyr_y_rad_s", "gyr_z_rad_s")
_ALL_COLUMNS = (*_ACC, *_GYR, "seq", "t_host_s", "t_sensor_us", "t_sensor_s")
_MICRO = 1e6


class RecordingExistsError(SwingspreadError):
    """A recording was to be written where something exists already."""


def _narrowest(values: NDArray[Any]) -> NDArray[Any]:
    """Values as float32 when every one of them survives it, else as they are."""
    with np.errstate(over="ignore"):
        narrow = values.astype(np.float32)
    same = narrow.astype(np.float64).view(np.int64) == values.view(np.int64)
    return narrow if bool(np.all(same | np.isnan(values))) else values


def whole_microseconds(time: FloatArray) -> NDArray[np.int64] | None:
    """The clock (N,) s in whole µs; None when that would not give back exactly the same seconds."""
    if not np.all(np.abs(time) < 2.0**53 / _MICRO):
        return None
    ticks = np.rint(time * _MICRO).astype(np.int64)
    return ticks if np.array_equal(ticks / _MICRO, time) else None


def _stream_table(stream: Stream) -> pa.Table:
    columns: dict[str, Any] = {"seq": stream.seq}
    ticks = whole_microseconds(stream.time)
    if ticks is None:
        columns["t_sensor_s"] = stream.time
    else:
        columns["t_sensor_us"] = ticks
    columns["t_host_s"] = stream.host_time
    for names, values in ((_ACC, stream.acc), (_GYR, stream.gyr)):
        for axis, name in enumerate(names):
            columns[name] = _narrowest(np.ascontiguousarray(values[:, axis]))
    return pa.table({name: pa.array(values) for name, values in columns.items()})


def _pack_stream(stream: Stream, target: IO[bytes]) -> None:
    write_packed(_stream_table(stream), target, few_values=(*_ACC, *_GYR, "t_host_s"))


def _write_stream(stream: Stream, path: Path) -> None:
    with path.open("xb") as handle:
        _pack_stream(stream, handle)
        handle.flush()
        os.fsync(handle.fileno())


def _finite_or_none(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _stream_facts(stream: Stream) -> dict[str, Any]:
    samples = len(stream.time)
    return {
        "file": f"{stream.role}.parquet",
        "samples": samples,
        "lost_samples": int(stream.gaps[:, 1].sum()),
        "duration_s": float(stream.time[-1] - stream.time[0]) if samples else 0.0,
        "rate_hz": _finite_or_none(stream.rate_hz),
        "acc_range_m_s2": _finite_or_none(stream.acc_range),
        "gyr_range_rad_s": _finite_or_none(stream.gyr_range),
    }


def write_recording(
    recording: Recording, folder: Path | str, full_hash: str | None = None
) -> Recording:
    """Write a recording into a new folder and return it with its id worked out afresh.

    full_hash : ``content_hash`` of the recording, when it has just been worked out.
    The folder appears complete or not at all. Raises SwingspreadError when the folder exists
    already (nothing is ever overwritten), when a role cannot be a file name, or when the disk
    refuses; in each case nothing is left behind.
    """
    folder = Path(folder)
    full_hash = full_hash or content_hash(recording.manifest, recording.streams)
    finished = replace(recording, id=full_hash[:ID_LENGTH])
    for role, stream in recording.streams.items():
        if check_role(role) != stream.role:
            raise ValueError(f"stream of role {stream.role!r} filed under {role!r}")
    document = _document(finished, full_hash)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with new_folder(folder) as part:
            for role, stream in recording.streams.items():
                _write_stream(stream, part / f"{role}.parquet")
            write_file(part / MANIFEST_FILE, document)
    except FileExistsError as problem:
        raise RecordingExistsError(
            f"{folder}: exists already; recordings are never overwritten, choose another folder"
        ) from problem
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise SwingspreadError(
            f"{folder}: the recording could not be written ({reason}); nothing was kept. "
            "Free some space or choose a folder you may write to"
        ) from problem
    return finished


def restore_recording(recording: Recording, folder: Path, full_hash: str) -> None:
    """Write a recording over the damaged remains of the same one; notes and results stay.

    Each file is replaced in one step, the manifest last, so that a failure can be repeated. A
    manifest that can be read is kept, for the labels in it. Raises SwingspreadError when the disk
    refuses.
    """
    try:
        for role, stream in recording.streams.items():
            packed = io.BytesIO()
            _pack_stream(stream, packed)
            write_file(folder / f"{check_role(role)}.parquet", packed.getvalue())
        if not _is_manifest_of(recording, folder, full_hash):
            finished = replace(recording, id=full_hash[:ID_LENGTH])
            write_file(folder / MANIFEST_FILE, _document(finished, full_hash))
    except OSError as problem:
        raise SwingspreadError(
            f"{folder}: is damaged and could not be put right ({problem.strerror}). Free some "
            "space, or see who may write there"
        ) from problem


def _is_manifest_of(recording: Recording, folder: Path, full_hash: str) -> bool:
    """Whether the folder's manifest can be read and is this recording's."""
    try:
        document = read_document(folder)
        manifest_from_json(document, str(folder))
    except SwingspreadError:
        return False
    expected = json.loads(_document(replace(recording, id=full_hash[:ID_LENGTH]), full_hash))
    return all(document.get(key) == expected[key] for key in ("id", "content_sha256", "streams"))


def _document(recording: Recording, full_hash: str) -> bytes:
    """The content of ``recording.json``."""
    document = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "id": recording.id,
        "content_sha256": full_hash,
        **manifest_to_json(recording.manifest),
        "streams": {role: _stream_facts(item) for role, item in recording.streams.items()},
        "faults": list(recording.faults),
    }
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    content = text.encode("utf-8", "surrogatepass")
    if len(content) > LARGEST_MANIFEST:
        raise SwingspreadError(
            f"the facts and remarks of this recording take {len(content):,} bytes; shorten them to "
            f"{LARGEST_MANIFEST:,} or fewer"
        )
    return content


def read_document(folder: Path | str) -> dict[str, Any]:
    """``recording.json`` as plain values, its schema checked.

    Raises SwingspreadError when it is missing, unreadable, damaged or of a later version.
    """
    path = Path(folder) / MANIFEST_FILE
    try:
        if path.stat().st_size > LARGEST_MANIFEST:
            raise SwingspreadError(f"{path}: far too large for a manifest; the file is damaged")
        document = json.loads(path.read_bytes())
    except (FileNotFoundError, NotADirectoryError) as problem:
        raise SwingspreadError(
            f"{folder}: no recording here ({MANIFEST_FILE} missing)"
        ) from problem
    except OSError as problem:
        raise SwingspreadError(f"{path}: cannot be read ({problem.strerror})") from problem
    except (ValueError, RecursionError) as problem:
        raise SwingspreadError(
            f"{path}: damaged, not valid JSON ({problem}); restore it from a copy, or import again"
        ) from problem
    check_schema(document, str(path))
    checked: dict[str, Any] = document
    return checked


def _columns(table: pa.Table, names: tuple[str, ...]) -> FloatArray:
    stacked = np.empty((table.num_rows, len(names)))
    for axis, name in enumerate(names):
        stacked[:, axis] = table.column(name).to_numpy()
    return stacked


def _read_stream(folder: Path, role: str, facts: Any, manifest_path: Path) -> Stream:
    path = folder / f"{check_role(role)}.parquet"
    samples = facts.get("samples") if isinstance(facts, Mapping) else None
    if isinstance(samples, bool) or not isinstance(samples, int):
        raise SwingspreadError(f"{manifest_path}: damaged, streams.{role}.samples is no number")
    try:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            rows = file.metadata.num_rows
            if rows > LARGEST_STREAM:
                raise SwingspreadError(
                    f"{path}: says it holds {rows:,} samples; more than {LARGEST_STREAM:,} are no "
                    "recording of swings. Nothing was read"
                )
            if rows != samples:
                raise SwingspreadError(
                    f"{path}: holds {rows} samples where {MANIFEST_FILE} says {samples}; "
                    "restore the folder from a copy, or import again"
                )
            known = [name for name in file.schema_arrow.names if name in _ALL_COLUMNS]
            table = file.read(columns=known, use_threads=False)
        if "t_sensor_us" in table.column_names:
            time = table.column("t_sensor_us").to_numpy() / _MICRO
        else:
            time = table.column("t_sensor_s").to_numpy()
        return Stream(
            role=role,
            time=time,
            acc=_columns(table, _ACC),
            gyr=_columns(table, _GYR),
            seq=table.column("seq").to_numpy(),
            host_time=table.column("t_host_s").to_numpy(),
            rate_hz=_number(facts, "rate_hz", math.nan),
            acc_range=_number(facts, "acc_range_m_s2", math.inf),
            gyr_range=_number(facts, "gyr_range_rad_s", math.inf),
        )
    except FileNotFoundError as problem:
        raise SwingspreadError(
            f"{path}: missing; restore the folder from a copy, or import again"
        ) from problem
    except (
        OSError,
        pa.ArrowException,
        ArithmeticError,
        ValueError,
        KeyError,
        TypeError,
    ) as problem:
        raise SwingspreadError(
            f"{path}: damaged ({str(problem).splitlines()[0]}); restore the folder from a copy, "
            "or import again"
        ) from problem


def _number(facts: Mapping[str, Any], key: str, missing: float) -> float:
    value = facts.get(key)
    return missing if value is None else float(value)


def read_recording(folder: Path | str, verify: bool = False) -> Recording:
    """Read a recording folder.

    verify : also recompute the content hash and compare it with the manifest's (about a tenth
    of a second a million samples).
    Raises SwingspreadError, naming the file and the mend, when something is missing, damaged,
    of a later version, or (with ``verify``) changed since it was written.
    """
    folder = Path(folder)
    manifest_path = folder / MANIFEST_FILE
    document = read_document(folder)
    manifest = manifest_from_json(document, str(manifest_path))
    listed, faults = document.get("streams"), document.get("faults", [])
    identity = document.get("id")
    if not isinstance(listed, dict) or not isinstance(faults, list) or not is_content_id(identity):
        raise SwingspreadError(
            f"{manifest_path}: damaged (streams, faults or id); restore it from a copy"
        )
    streams = {
        role: _read_stream(folder, role, facts, manifest_path) for role, facts in listed.items()
    }
    if verify:
        full_hash = content_hash(manifest, streams)
        if full_hash != document.get("content_sha256") or full_hash[:ID_LENGTH] != identity:
            raise SwingspreadError(
                f"{folder}: the content no longer matches its hash: something was changed or "
                "damaged since it was written; restore the folder from a copy, or move it away "
                "and import again"
            )
    return Recording(str(identity), manifest, streams, tuple(str(fault) for fault in faults))

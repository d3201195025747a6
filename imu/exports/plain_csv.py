"""Raw streams in the plain CSV layout that the importer reads: one file a sensor, one meta file.

The way back is ``swingspread import --forearm forearm.csv.gz --club club.csv.gz --meta
meta.json``; the layout is described in `imu.recordings.importer` and `imu.recordings.meta_file`.
"""

from __future__ import annotations

import gzip
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from pyarrow import csv as arrow_csv

from imu.exports.writing import write_export
from imu.recordings.column_map import PLAIN_COLUMNS
from imu.recordings.content import plain_json
from imu.recordings.manifest import SENSOR_LENGTHS
from imu.recordings.meta_file import FORMAT
from imu.recordings.store import whole_microseconds
from imu.types import IntArray, Recording, Stream
from imu.units import DEG, STANDARD_GRAVITY


def write_plain_csv(recording: Recording, folder: Path) -> list[Path]:
    """Write ``<role>.csv.gz`` for every sensor and ``meta.json`` into ``folder``.

    Every number is written with the digits that give it back exactly. Returns the files, the
    meta file last. Raises SwingspreadError when the disk refuses.
    """
    clocks = {role: whole_microseconds(stream.time) for role, stream in recording.streams.items()}
    in_seconds = any(ticks is None for ticks in clocks.values())
    files = []
    for role, stream in recording.streams.items():
        text_of_samples = stream_csv(stream, None if in_seconds else clocks[role])
        packed = gzip.compress(text_of_samples, compresslevel=4, mtime=0)
        files.append(write_export(folder / f"{role}.csv.gz", packed))
    meta = meta_document(recording, in_seconds)
    text = json.dumps(meta, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    files.append(write_export(folder / "meta.json", text))
    return files


def stream_csv(stream: Stream, ticks: IntArray | None) -> bytes:
    """The samples as CSV text: arrival, sample number, sensor clock, acceleration, turning rate.

    ticks : the clock in whole µs; None writes it in s instead, as column ``t_sensor_s``.
    """
    clock = ("t_sensor_s", stream.time) if ticks is None else ("t_sensor_us", ticks)
    columns: dict[str, Any] = {
        "t_host_s": pa.array(stream.host_time, from_pandas=True),
        "seq": stream.seq,
        clock[0]: clock[1],
    }
    for name, values in (("a", stream.acc), ("g", stream.gyr)):
        for axis, letter in enumerate("xyz"):
            columns[f"{name}{letter}"] = np.ascontiguousarray(values[:, axis])
    buffer = io.BytesIO()
    arrow_csv.write_csv(pa.table(columns), buffer, arrow_csv.WriteOptions(quoting_style="needed"))
    return buffer.getvalue()


def meta_document(recording: Recording, in_seconds: bool = False) -> dict[str, Any]:
    """The meta file: player, club, sensors, labels. in_seconds : the clocks are in s, not µs."""
    manifest = recording.manifest
    document: dict[str, Any] = {
        "format": FORMAT,
        "name": manifest.name,
        "handedness": manifest.player.handedness,
        "player": {"name": manifest.player.name},
        "club": {
            "name": manifest.club.name,
            "length_m": manifest.club.length,
            "wrist_from_butt_m": manifest.club.wrist_from_butt,
        },
        "arm": {"hub_to_wrist_m": manifest.player.arm_length},
        "session": manifest.session,
        "block": manifest.block,
        "recorded_at": manifest.recorded_at,
        "notes": manifest.notes,
        "units": {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"},
    }
    if in_seconds:
        document["units"]["t_sensor"] = "s"
        document["columns"] = {**PLAIN_COLUMNS, "t_sensor": "t_sensor_s"}
    for role, stream in recording.streams.items():
        document[f"{role}_sensor"] = _sensor(stream, dict(manifest.sensors.get(role, {})))
    plain: dict[str, Any] = plain_json(document)
    return plain


def _sensor(stream: Stream, facts: dict[str, Any]) -> dict[str, Any]:
    """The facts as declared, with what the samples themselves say in place of other values."""
    written = {SENSOR_LENGTHS.get(key, key): value for key, value in facts.items()}
    measured = [("rate_hz", stream.rate_hz, 1.0)]
    measured.append(("acc_range_g", stream.acc_range, STANDARD_GRAVITY))
    measured.append(("gyr_range_dps", stream.gyr_range, DEG))
    for key, value, factor in measured:
        declared = written.get(key)
        as_declared = isinstance(declared, int | float) and declared * factor == value
        if math.isfinite(value) and not as_declared:
            written[key] = exact_quotient(value, factor)
    return written


def exact_quotient(value: float, factor: float) -> float:
    """The number that, multiplied by ``factor``, gives ``value`` to the bit where there is one."""
    quotient = value / factor
    rounded = float(f"{quotient:.12g}")
    near = [rounded, quotient, math.nextafter(quotient, math.inf), math.nextafter(quotient, 0.0)]
    return next((number for number in near if number * factor == value), quotient)

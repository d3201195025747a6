"""Reads back recordings that were written in the Motion-BIDS layout.

Channels are found by type, component and unit in ``_channels.tsv`` (BIDS specification, motion);
the declared player, club and sensors come from ``RecordingManifest`` in ``_motion.json``, as
`imu.exports.motion_bids` writes it.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from imu.errors import SwingspreadError
from imu.recordings.content import make_recording
from imu.recordings.json_file import JsonObject
from imu.recordings.manifest import manifest_from_json
from imu.recordings.names import check_role
from imu.recordings.sampling import check_increasing, check_sample_numbers
from imu.types import FloatArray, Recording, Stream
from imu.units import ACCELERATION_TO_SI, ANGULAR_RATE_TO_SI

_MOTION = re.compile(
    r"(?P<head>sub-[\w-]+?)_tracksys-(?P<system>[A-Za-z0-9]+)(?P<tail>[\w-]*)_motion\.tsv$"
)
LARGEST_SIDECAR = 4 << 20


def read_motion_bids(folder: Path | str) -> list[Recording]:
    """Every recording of a Motion-BIDS dataset (or of one of its folders), in order of name.

    Raises SwingspreadError, naming file, row or key and the mend, when a file is missing,
    damaged, or was not written with the facts that an analysis needs.
    """
    folder = Path(folder)
    groups: dict[tuple[str, str], list[tuple[str, Path]]] = {}
    for path in sorted(folder.rglob("*_motion.tsv")):
        match = _MOTION.match(path.name)
        if match:
            key = (str(path.parent), f"{match['head']}{match['tail']}")
            groups.setdefault(key, []).append((match["system"], path))
    if not groups:
        raise SwingspreadError(
            f"{folder}: no Motion-BIDS recording here (no file named "
            "sub-…_tracksys-…_motion.tsv); give the folder that holds dataset_description.json"
        )
    return [_read_run([path for _, path in files]) for files in groups.values()]


def _read_run(paths: list[Path]) -> Recording:
    streams: dict[str, Stream] = {}
    sidecar: Mapping[str, Any] = {}
    for path in paths:
        sidecar = _document(_beside(path, "motion.json"))
        stream = _read_stream(path, sidecar)
        if stream.role in streams:
            raise SwingspreadError(
                f"{path}: a second sensor with SensorRole {stream.role!r} in one recording"
            )
        streams[stream.role] = stream
    where = str(_beside(paths[-1], "motion.json"))
    declared = sidecar.get("RecordingManifest")
    if not isinstance(declared, dict):
        raise SwingspreadError(
            f"{where}: RecordingManifest is missing, so handedness and club length are unknown; "
            "turn the samples into CSV and import them with --meta instead"
        )
    faults = sidecar.get("RecordingFaults", [])
    manifest = replace(manifest_from_json(declared, where), source="Motion-BIDS")
    listed = [str(fault) for fault in faults] if isinstance(faults, list) else []
    return make_recording(manifest, streams, tuple(listed))


def _read_stream(path: Path, sidecar: Mapping[str, Any]) -> Stream:
    described = _beside(path, "motion.json")
    if not sidecar.get("SensorRole"):
        raise SwingspreadError(
            f'{described}: SensorRole is missing; say where it was worn, as "forearm"'
        )
    try:
        role = check_role(str(sidecar["SensorRole"]))
    except SwingspreadError as problem:
        raise SwingspreadError(f"{described}: {problem}") from problem
    channels = _channels(_beside(path, "channels.tsv"))
    samples = _samples(path, len(channels))
    acc = _vector(path, channels, samples, "ACCEL", ACCELERATION_TO_SI)
    gyr = _vector(path, channels, samples, "GYRO", ANGULAR_RATE_TO_SI)
    names = [str(channel["name"]) for channel in channels]
    clock = "sensor_clock" if "sensor_clock" in names else "latency"

    def where(row: int, column: str) -> str:
        return f"{path}: row {row + 1}, {column}"

    time = _column(path, names, samples, clock)
    check_increasing(time, clock, where)
    unknown = np.full(len(time), math.nan)
    host = samples[:, names.index("host_time")] if "host_time" in names else unknown
    numbers = (
        _column(path, names, samples, "sample_number")
        if "sample_number" in names
        else np.arange(len(time), dtype=np.float64)
    )
    rate = _number(described, sidecar, "SamplingFrequency", math.nan)
    if not rate > 0:
        raise SwingspreadError(f"{described}: SamplingFrequency should be the sensor's rate in Hz")
    return Stream(
        role=role,
        time=time,
        acc=acc,
        gyr=gyr,
        seq=check_sample_numbers(numbers, "sample_number", where),
        host_time=host,
        rate_hz=rate,
        acc_range=_number(described, sidecar, "AccelerometerRange", math.inf),
        gyr_range=_number(described, sidecar, "GyroscopeRange", math.inf),
    )


def _vector(
    path: Path,
    channels: list[dict[str, str]],
    samples: FloatArray,
    kind: str,
    units: Mapping[str, float],
) -> FloatArray:
    stacked = np.empty((len(samples), 3))
    for axis, component in enumerate("xyz"):
        fits = [
            place
            for place, channel in enumerate(channels)
            if channel["type"] == kind and channel["component"] == component
        ]
        if len(fits) != 1:
            raise SwingspreadError(
                f"{_beside(path, 'channels.tsv')}: {len(fits)} channels of type {kind}, "
                f"component {component}; one is needed"
            )
        unit = channels[fits[0]]["units"]
        if unit not in units:
            known = ", ".join(units)
            raise SwingspreadError(
                f"{_beside(path, 'channels.tsv')}: unit {unit!r} of {kind} is not known; "
                f"use one of {known}"
            )
        stacked[:, axis] = _all_known(path, samples[:, fits[0]], kind) * units[unit]
    return stacked


def _column(path: Path, names: list[str], samples: FloatArray, name: str) -> FloatArray:
    if name not in names:
        raise SwingspreadError(f"{_beside(path, 'channels.tsv')}: no channel named {name!r}")
    return _all_known(path, samples[:, names.index(name)], name)


def _all_known(path: Path, values: FloatArray, what: str) -> FloatArray:
    missing = ~np.isfinite(values)
    if missing.any():
        row = int(np.argmax(missing)) + 1
        raise SwingspreadError(
            f"{path}: row {row}: {what} is unknown; leave lost samples out, and let "
            "sample_number jump over them"
        )
    return values


def _samples(path: Path, width: int) -> FloatArray:
    names = [str(place) for place in range(width)]
    try:
        table = arrow_csv.read_csv(
            path,
            read_options=arrow_csv.ReadOptions(column_names=names, use_threads=False),
            parse_options=arrow_csv.ParseOptions(delimiter="\t", quote_char=False),
            convert_options=arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.float64()),
                null_values=["n/a"],
                strings_can_be_null=True,
            ),
        )
    except (OSError, pa.ArrowException) as problem:
        if path.is_file() and path.stat().st_size == 0:
            return np.empty((0, width))
        reason = str(problem).splitlines()[0]
        raise SwingspreadError(
            f"{path}: cannot be read as the {width} columns of numbers that "
            f"{_beside(path, 'channels.tsv').name} names ({reason})"
        ) from problem
    return np.column_stack(
        [table.column(name).to_numpy().astype(np.float64, copy=False) for name in names]
    )


def _channels(path: Path) -> list[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8")
        table = pd.read_csv(io.StringIO(text), sep="\t", dtype=str, keep_default_na=False)
    except (OSError, ValueError, pd.errors.ParserError) as problem:
        raise SwingspreadError(f"{path}: cannot be read ({problem})") from problem
    for column in ("name", "component", "type", "units"):
        if column not in table.columns:
            raise SwingspreadError(f"{path}: column {column!r} is missing")
    return [
        {str(key): str(value) for key, value in row.items()} for row in table.to_dict("records")
    ]


def _document(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > LARGEST_SIDECAR:
            raise SwingspreadError(f"{path}: far too large for a description of samples")
        document = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as problem:
        raise SwingspreadError(f"{path}: cannot be read as JSON ({problem})") from problem
    if not isinstance(document, dict):
        raise SwingspreadError(f"{path}: should be a JSON object")
    return document


def _number(described: Path, sidecar: Mapping[str, Any], key: str, missing: float) -> float:
    if sidecar.get(key, "n/a") == "n/a":
        return missing
    return JsonObject(sidecar, str(described)).number(key, -math.inf, math.inf, "")


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name.removesuffix("motion.tsv") + ending)

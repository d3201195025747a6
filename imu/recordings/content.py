"""The identity of a recording: a hash of what was measured and of what the analysis is told.

The hash (SHA-256) runs over every sample in a fixed layout and over the facts that change the
numbers: handedness, arm and club lengths, sensor facts. Labels (names, session, block, remarks)
stay outside, so mending a typing error does not make another recording.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from imu.types import Manifest, Recording, Stream

ID_LENGTH = 16
"""Hexadecimal digits of the hash that make the id (64 bits)."""


def plain_json(value: Any) -> Any:
    """Copy of ``value`` in plain JSON types; numbers that JSON cannot hold become None.

    Raises TypeError for anything else, naming its type.
    """
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [plain_json(item) for item in value]
    raise TypeError(f"{type(value).__name__} is no plain value")


def canonical_json(value: Any) -> bytes:
    """The one spelling of a JSON value: sorted keys, no spaces, UTF-8."""
    text = json.dumps(plain_json(value), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8")


def manifest_core(manifest: Manifest) -> dict[str, Any]:
    """The part of a manifest that changes the numbers of an analysis."""
    return {
        "handedness": manifest.player.handedness,
        "arm_length_m": float(manifest.player.arm_length),
        "club_length_m": float(manifest.club.length),
        "wrist_from_butt_m": float(manifest.club.wrist_from_butt),
        "sensors": manifest.sensors,
    }


def _stream_bytes(stream: Stream) -> list[bytes | memoryview]:
    head = canonical_json(
        {
            "role": stream.role,
            "samples": len(stream.time),
            "rate_hz": float(stream.rate_hz),
            "acc_range_m_s2": float(stream.acc_range),
            "gyr_range_rad_s": float(stream.gyr_range),
        }
    )
    parts: list[bytes | memoryview] = [head, np.ascontiguousarray(stream.seq, "<i8").data.cast("B")]
    for values in (stream.time, stream.host_time, stream.acc, stream.gyr):
        layout = np.ascontiguousarray(values, "<f8")
        missing = np.isnan(layout)
        if missing.any():  # one bit pattern for every kind of NaN
            layout = np.where(missing, np.nan, layout)
        parts.append(layout.data.cast("B") if layout.size else b"")
    return parts


def content_hash(manifest: Manifest, streams: Mapping[str, Stream]) -> str:
    """SHA-256, 64 hexadecimal digits, of the samples and the manifest's core."""
    digest = hashlib.sha256(b"swingspread recording 1\n")
    digest.update(canonical_json(manifest_core(manifest)))
    for role in sorted(streams):
        digest.update(b"\n" + role.encode("utf-8") + b"\n")
        for part in _stream_bytes(streams[role]):
            digest.update(part)
    return digest.hexdigest()


def content_id(manifest: Manifest, streams: Mapping[str, Stream]) -> str:
    """The short, printable id of a recording."""
    return content_hash(manifest, streams)[:ID_LENGTH]


def is_content_id(value: Any) -> bool:
    """True for text that has the form of an id."""
    return (
        isinstance(value, str)
        and len(value) == ID_LENGTH
        and all(letter in "0123456789abcdef" for letter in value)
    )


def make_recording(
    manifest: Manifest, streams: Mapping[str, Stream], faults: tuple[str, ...] = ()
) -> Recording:
    """A recording with its id worked out from its content."""
    return Recording(content_id(manifest, streams), manifest, dict(streams), tuple(faults))

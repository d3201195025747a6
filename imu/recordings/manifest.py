"""The manifest of a recording as JSON: readable by people, units in the key names.

``recording.json`` carries a schema version. A file of a newer schema is refused with a clear
message; a key this version does not know, in a known schema, is ignored.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from imu.errors import SwingspreadError
from imu.recordings.content import plain_json
from imu.recordings.json_file import JsonObject
from imu.types import Club, Manifest, Player

SCHEMA = "swingspread-recording"
SCHEMA_VERSION = 1

SENSOR_LENGTHS = {
    "distance_to_wrist": "distance_to_wrist_m",
    "distance_from_butt": "distance_from_butt_m",
}
"""Sensor facts that are lengths: inside name → name in the file."""
FILTER_DELAY = "filter_delay_s"
"""Sensor fact: delay of the sensor's own low-pass filter, s."""


def _sensors_to_json(sensors: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    written: dict[str, dict[str, Any]] = {}
    for role, facts in sensors.items():
        clash = sorted(set(SENSOR_LENGTHS.values()) & set(facts))
        if clash:
            raise ValueError(f"sensor fact {clash[0]!r} of {role}: inside, lengths carry no unit")
        written[role] = {
            SENSOR_LENGTHS.get(key, key): plain_json(value) for key, value in facts.items()
        }
    return written


def manifest_to_json(manifest: Manifest) -> dict[str, Any]:
    """The manifest as plain JSON values; unknown numbers (NaN) become null."""
    document: dict[str, Any] = {
        "name": manifest.name,
        "session": manifest.session,
        "block": manifest.block,
        "recorded_at": manifest.recorded_at,
        "notes": manifest.notes,
        "source": manifest.source,
        "player": {
            "name": manifest.player.name,
            "handedness": manifest.player.handedness,
            "arm_length_m": manifest.player.arm_length,
        },
        "club": {
            "name": manifest.club.name,
            "length_m": manifest.club.length,
            "wrist_from_butt_m": manifest.club.wrist_from_butt,
        },
        "sensors": _sensors_to_json(manifest.sensors),
    }
    converted: dict[str, Any] = plain_json(document)
    return converted


class LaterVersionError(SwingspreadError):
    """A manifest is of a schema that only a later version of the program knows."""


def check_schema(document: Any, where: str) -> None:
    """Refuse what is no manifest of ours, or one written by a later version.

    Raises SwingspreadError, for the latter LaterVersionError.
    """
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise SwingspreadError(f"{where}: not a recording of this program")
    version = document.get("schema_version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise SwingspreadError(f"{where}: schema_version {version!r} makes no sense")
    if version > SCHEMA_VERSION:
        raise LaterVersionError(
            f"{where}: written by a later version (schema {version}; this one reads up to "
            f"{SCHEMA_VERSION}); update swingspread to open it"
        )


def manifest_from_json(document: Any, where: str) -> Manifest:
    """The manifest held in ``document``; ``where`` names the file in error messages.

    Raises SwingspreadError naming file and key for a value of the wrong kind.
    """
    top = JsonObject(document, where)
    player, club, sensors = top.inside("player"), top.inside("club"), top.inside("sensors")
    hand = player.choice("handedness", player.values.get("handedness", "right"), ("right", "left"))
    return Manifest(
        player=Player(_text(player, "name"), hand, _number(player, "arm_length_m", 0.62)),
        club=Club(
            _text(club, "name"),
            _number(club, "length_m", math.nan),
            _number(club, "wrist_from_butt_m", 0.05),
        ),
        name=_text(top, "name"),
        session=_text(top, "session"),
        block=_text(top, "block"),
        recorded_at=_text(top, "recorded_at"),
        notes=_text(top, "notes"),
        sensors={str(role): _facts(sensors.inside(role)) for role in sensors.values},
        source=_text(top, "source"),
    )


def _text(source: JsonObject, key: str) -> str:
    """A label; what JSON can spell and no file can hold (half a surrogate pair) becomes "?"."""
    return source.text(key).encode("utf-8", "replace").decode("utf-8")


def _number(source: JsonObject, key: str, missing: float) -> float:
    """A number; NaN where the file has null, which stands for unknown."""
    if key not in source.values:
        return missing
    return source.number(key, -math.inf, math.inf, "") if source.has(key) else math.nan


def _facts(sensor: JsonObject) -> dict[str, Any]:
    """The facts of one sensor by their inside names; those that are reckoned with are numbers.

    A length of null is one that nobody knew, and left out.
    """
    inside_name = {written: name for name, written in SENSOR_LENGTHS.items()}
    facts = {}
    for key, value in sensor.values.items():
        if key in (*inside_name, FILTER_DELAY) and value is not None:
            sensor.number(key, -math.inf, math.inf, "")
        if value is not None or key not in inside_name:
            facts[inside_name.get(key, key)] = value
    return facts

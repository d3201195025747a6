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
from imu.types import Club, Manifest, Player

SCHEMA = "swingspread-recording"
SCHEMA_VERSION = 1

SENSOR_LENGTHS = {
    "distance_to_wrist": "distance_to_wrist_m",
    "distance_from_butt": "distance_from_butt_m",
}
"""Sensor facts that are lengths: inside name → name in the file."""


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


class _Reader:
    """Takes typed values out of a JSON object, naming file and key when one is wrong."""

    def __init__(self, document: Any, where: str, path: str = "") -> None:
        if not isinstance(document, dict):
            raise SwingspreadError(f"{where}: {path or 'the file'} should be a JSON object")
        self.document, self.where, self.path = document, where, path

    def text(self, key: str, default: str = "") -> str:
        value = self.document.get(key, default)
        if not isinstance(value, str):
            raise SwingspreadError(f"{self.where}: {self.path}{key} should be text, is {value!r}")
        return value

    def number(self, key: str, default: float) -> float:
        value = self.document.get(key, default)
        if value is None:
            return math.nan
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise SwingspreadError(
                f"{self.where}: {self.path}{key} should be a number, is {value!r}"
            )
        return float(value)

    def inside(self, key: str) -> _Reader:
        return _Reader(self.document.get(key, {}), self.where, f"{self.path}{key}.")


def check_schema(document: Any, where: str) -> None:
    """Refuse what is no manifest of ours, or one written by a later version."""
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise SwingspreadError(f"{where}: not a recording of this program")
    version = document.get("schema_version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise SwingspreadError(f"{where}: schema_version {version!r} makes no sense")
    if version > SCHEMA_VERSION:
        raise SwingspreadError(
            f"{where}: written by a later version (schema {version}; this one reads up to "
            f"{SCHEMA_VERSION}); update swingspread to open it"
        )


def manifest_from_json(document: Any, where: str) -> Manifest:
    """The manifest held in ``document``; ``where`` names the file in error messages.

    Raises SwingspreadError naming file and key for a value of the wrong kind.
    """
    top = _Reader(document, where)
    player, club, sensors = top.inside("player"), top.inside("club"), top.inside("sensors")
    inside_name = {written: name for name, written in SENSOR_LENGTHS.items()}
    facts = {
        str(role): {
            str(inside_name.get(key, key)): value
            for key, value in sensors.inside(role).document.items()
        }
        for role in sensors.document
    }
    handedness = player.text("handedness", "right")
    if handedness not in ("right", "left"):
        raise SwingspreadError(
            f"{where}: player.handedness should be right or left, is {handedness!r}"
        )
    return Manifest(
        player=Player(player.text("name"), handedness, player.number("arm_length_m", 0.62)),
        club=Club(
            club.text("name"),
            club.number("length_m", math.nan),
            club.number("wrist_from_butt_m", 0.05),
        ),
        name=top.text("name"),
        session=top.text("session"),
        block=top.text("block"),
        recorded_at=top.text("recorded_at"),
        notes=top.text("notes"),
        sensors=facts,
        source=top.text("source"),
    )

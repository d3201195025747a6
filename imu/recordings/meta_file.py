"""What a person knows of a recording: player, club, sensors. The meta file beside the CSV files.

    {
      "format": 1,
      "handedness": "right",
      "player": {"name": "…"},
      "club": {"name": "7-iron", "length_m": 0.94, "wrist_from_butt_m": 0.05},
      "arm": {"hub_to_wrist_m": 0.62},
      "units": {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"},
      "forearm_sensor": {"rate_hz": 1000, "acc_range_g": 32, "gyr_range_dps": 4000,
                         "distance_to_wrist_m": 0.06},
      "club_sensor": {"rate_hz": 1000, "acc_range_g": 200, "gyr_range_dps": 4000,
                      "distance_from_butt_m": 0.33},
      "session": "…", "block": "practice", "recorded_at": "2031-05-04T17:00:00+02:00"
    }

Needed are format, handedness, club.length_m, and rate_hz of each sensor imported. What is
assumed in place of a missing value is said in the recording's faults.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from imu.errors import SwingspreadError
from imu.recordings.json_file import JsonObject
from imu.recordings.manifest import FILTER_DELAY
from imu.recordings.names import clean_label
from imu.types import CLUB, FOREARM, Club, Manifest, Player
from imu.units import DEG, STANDARD_GRAVITY

FORMAT = 1
DEFAULT_ARM_M, DEFAULT_WRIST_M = 0.62, 0.05

_DISTANCES = {
    FOREARM: ("distance_to_wrist_m", "distance_to_wrist", 0.0, 0.35),
    CLUB: ("distance_from_butt_m", "distance_from_butt", 0.0, 1.2),
}
"""Role → key in the file, name inside, plausible range in m."""
LONGEST_DELAY_S = 0.1
"""Delay of a sensor's low-pass filter beyond which the number is in another unit."""
LONGEST_NOTES = 100_000
"""Characters."""


@dataclass(frozen=True)
class DeclaredSensor:
    """A sensor as declared: rate in Hz, full scales in m/s² and rad/s (inf when unknown)."""

    rate_hz: float
    acc_range: float
    gyr_range: float
    facts: dict[str, Any]


@dataclass(frozen=True)
class Meta:
    """The meta file, checked. assumed : sentences on what stands in for missing values."""

    manifest: Manifest
    sensors: dict[str, DeclaredSensor]
    assumed: tuple[str, ...]


def _length(source: JsonObject, key: str, low: float, high: float, example: str) -> float:
    """A length in m, with what it would be when it looks like another unit."""
    value = source.number(key, -math.inf, math.inf, "m", example)
    if value > high:
        fits = [
            f"{value * size:.3g} if that is in {unit}"
            for unit, size in (("cm", 1e-2), ("mm", 1e-3), ("inches", 0.0254))
            if low <= value * size <= high
        ]
        if fits:
            raise source.problem(key, f"is {value:g} m; give metres: {', '.join(fits)}")
    return source.number(key, low, high, "m", example)


def _declared(source: JsonObject, role: str) -> tuple[DeclaredSensor, list[str]]:
    assumed = []
    rate = source.number("rate_hz", 10, 20_000, "Hz", "1000")
    ranges: list[float] = []
    for key, most, factor, what in (
        ("acc_range_g", 2000, STANDARD_GRAVITY, "accelerometer"),
        ("gyr_range_dps", 200_000, DEG, "gyroscope"),
    ):
        if source.has(key):
            ranges.append(source.number(key, 1, most, "", "32") * factor)
        else:
            ranges.append(math.inf)
            assumed.append(f"{role}: {what} range not given, so clipping is found from shape alone")
    if source.has(FILTER_DELAY):
        source.number(FILTER_DELAY, 0, LONGEST_DELAY_S, "s", "0.001")
    for owner, (key, *_) in _DISTANCES.items():
        if owner != role and source.has(key):
            raise source.problem(key, f"is a fact of the {owner} sensor; move it to {owner}_sensor")
    facts: dict[str, Any] = dict(source.values)
    try:
        json.dumps(facts, allow_nan=False)
    except ValueError as problem:
        raise SwingspreadError(
            f"{source.where}: {source.path} holds a number that is not finite"
        ) from problem
    if role in _DISTANCES:
        key, inside, low, high = _DISTANCES[role]
        facts.pop(inside, None)
        if source.has(key):
            facts[inside] = _length(source, key, low, high, "0.06")
        else:
            assumed.append(f"{role}: {key} not given; it is estimated with a wider error")
        facts.pop(key, None)
    return DeclaredSensor(rate, ranges[0], ranges[1], facts), assumed


def _recorded_at(top: JsonObject) -> str:
    text = top.text("recorded_at")
    if text:
        try:
            datetime.fromisoformat(text)
        except ValueError as problem:
            raise top.problem(
                "recorded_at", f"should be a date like 2031-05-04T17:00:00+02:00, is {text!r}"
            ) from problem
    return text


def parse_meta(top: JsonObject, roles: Iterable[str]) -> Meta:
    """Check the meta file's values for the sensors in ``roles``.

    Raises SwingspreadError naming file and key for a value that is missing, of the wrong kind,
    impossible, or of a later format.
    """
    version = top.need("format", "1")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise top.problem("format", f"should be the number 1, is {version!r}")
    if version > FORMAT:
        raise top.problem(
            "format", f"is {version}, later than this program reads ({FORMAT}); update swingspread"
        )
    hand = top.choice("handedness", top.need("handedness", '"right"'), ("right", "left"))
    assumed: list[str] = []
    club, arm = top.inside("club"), top.inside("arm")
    length = _length(club, "length_m", 0.4, 1.6, "0.94")
    wrist, reach = DEFAULT_WRIST_M, DEFAULT_ARM_M
    if club.has("wrist_from_butt_m"):
        wrist = _length(club, "wrist_from_butt_m", 0.0, 0.3, "0.05")
    else:
        assumed.append(f"club.wrist_from_butt_m not given; {DEFAULT_WRIST_M} m assumed")
    if arm.has("hub_to_wrist_m"):
        reach = _length(arm, "hub_to_wrist_m", 0.3, 1.1, "0.62")
    else:
        assumed.append(f"arm.hub_to_wrist_m not given; {DEFAULT_ARM_M} m assumed")
    sensors: dict[str, DeclaredSensor] = {}
    for role in roles:
        sensors[role], notes = _declared(top.inside(f"{role}_sensor"), role)
        assumed += notes
    distance = sensors[CLUB].facts.get("distance_from_butt", 0.0) if CLUB in sensors else 0.0
    if distance >= length:
        raise top.problem(
            "club_sensor.distance_from_butt_m",
            f"is {distance:g} m, beyond the end of the club ({length:g} m)",
        )
    manifest = Manifest(
        player=Player(_label(top.inside("player"), "name"), hand, reach),
        club=Club(_label(club, "name") or _label(club, "type"), length, wrist),
        name=_label(top, "name"),
        session=_label(top, "session"),
        block=_label(top, "block"),
        recorded_at=_recorded_at(top),
        notes=_notes(top),
        sensors={role: sensor.facts for role, sensor in sensors.items()},
    )
    return Meta(manifest, sensors, tuple(assumed))


def _notes(top: JsonObject) -> str:
    text = top.text("notes")
    if len(text) > LONGEST_NOTES:
        raise top.problem("notes", f"has {len(text):,} characters; keep {LONGEST_NOTES:,} of them")
    return text


def _label(source: JsonObject, key: str) -> str:
    return clean_label(source.text(key), f"{source.where}: {source.full(key)}")

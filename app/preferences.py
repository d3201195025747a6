"""What the person prefers: units, words for the arms, thresholds. Kept in one small file."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import platformdirs

from imu.errors import SwingspreadError
from imu.recordings.atomic import write_file
from imu.settings import AnalysisSettings
from imu.shown_units import SI, SPEED_UNITS, ShownUnits
from imu.units import DEG

ARM_WORDS = ("lead", "side")
"""Say "lead arm", or "left arm" and "right arm"."""


@dataclass(frozen=True)
class Preferences:
    """Choices of the settings page. Raises SwingspreadError for what cannot be."""

    speed_unit: str = "m/s"
    arm_words: str = "lead"
    release_threshold_deg: float = 10.0
    near_line_cm: float = 2.0

    def __post_init__(self) -> None:
        if self.speed_unit not in SPEED_UNITS:
            raise SwingspreadError(f"speed unit {self.speed_unit!r}: use {', '.join(SPEED_UNITS)}")
        if self.arm_words not in ARM_WORDS:
            raise SwingspreadError(f"words for the arms: use {' or '.join(ARM_WORDS)}")
        if not 0.5 <= self.release_threshold_deg <= 45.0:
            raise SwingspreadError("The release threshold must lie between 0.5 and 45 degrees.")
        if not 0.1 <= self.near_line_cm <= 30.0:
            raise SwingspreadError("The tolerance of the line must lie between 0.1 and 30 cm.")

    def analysis_settings(self) -> AnalysisSettings:
        """Thresholds as the analysis takes them."""
        return AnalysisSettings(
            release_threshold=self.release_threshold_deg * DEG,
            near_line_tolerance=self.near_line_cm / 100.0,
        )

    @property
    def units(self) -> ShownUnits:
        """The units to show numbers in."""
        return ShownUnits(self.speed_unit)

    def spoken(self, text: str, handedness: str) -> str:
        """``text`` with the lead arm called by its side, where that is preferred and known."""
        if self.arm_words != "side" or handedness not in ("right", "left"):
            return text
        side = "left" if handedness == "right" else "right"
        return text.replace("lead arm", f"{side} arm").replace("lead wrist", f"{side} wrist")


def preferences_file() -> Path:
    """Where the preferences are kept."""
    return platformdirs.user_config_path("swingspread", appauthor=False) / "preferences.json"


def read_preferences(path: Path | None = None) -> Preferences:
    """As kept; what is missing, damaged or out of range falls back to the usual."""
    try:
        kept: Any = json.loads((path or preferences_file()).read_bytes())
    except (OSError, ValueError, RecursionError):
        return Preferences()
    chosen = Preferences()
    for one in fields(Preferences):
        if isinstance(kept, dict) and one.name in kept:
            try:
                chosen = replace(chosen, **{one.name: kept[one.name]})
            except (SwingspreadError, TypeError):
                continue
    return chosen


def printed_units(as_json: bool) -> ShownUnits:
    """What a command prints in: the units preferred, but JSON always as kept."""
    return SI if as_json else read_preferences().units


def keep_preferences(chosen: Preferences, path: Path | None = None) -> None:
    """Write them. Raises SwingspreadError when the disk refuses."""
    target = path or preferences_file()
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        write_file(target, (json.dumps(asdict(chosen), indent=2) + "\n").encode())
    except OSError as problem:
        raise SwingspreadError(
            f"{target}: the settings could not be kept ({problem.strerror})"
        ) from problem

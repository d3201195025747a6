"""What every column of the exported tables means, in words, with unit and source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from imu.columns import (
    CURVE_COLUMNS,
    EVENTS,
    METRIC_BY_NAME,
    SWING_COLUMNS,
    Metric,
)
from imu.further_sensors import ROLE_CURVES
from imu.variation.sets import CONTEXT_COLUMNS

EVENT_MEANING: Mapping[str, str] = {
    "takeaway": "first lasting movement of the club away from address",
    "arm_top": "the lead arm's last change of direction before impact",
    "club_top": "the club's last change of direction before impact",
    "release": "the hinge has opened by the release threshold (10° unless set otherwise)",
    "shaft_parallel": "the shaft is horizontal on the way down",
    "impact": "onset of the strike; for a practice swing the shaft's return to address",
    "finish": "the club is slow again",
}

_SWING_MEANING: Mapping[str, tuple[str, str]] = {
    "swing": ("", "Number of the swing in its recording, from 1."),
    "kind": ("", "ball, or practice for a swing without a strike."),
    "start_s": ("s", "Start of the stretch looked at, recording time."),
    "end_s": ("s", "End of the stretch looked at, recording time."),
    "order_of_peaks": (
        "",
        "Which rate peaks first, second, third: arm, wrist (the hinge opening), club.",
    ),
    "quality": ("", "good, fair or poor, from fit, gaps and clipped samples."),
    "notes": ("", "Why a number is missing or doubtful."),
}

_CURVE_MEANING: Mapping[str, str] = {
    "swing": "Number of the swing in its recording, from 1.",
    "t_s": "Recording time: the club sensor's clock from its first sample.",
    "t_club_clock_us": "The club sensor's own clock.",
    "t_from_impact_s": "Time from impact; negative before it.",
    "hinge_deg": "Angle between forearm and shaft; 0 in line.",
    "hinge_se_deg": "Standard error of the hinge.",
    "ulnar_deviation_deg": "Part of the hinge towards the little finger; 0 at address.",
    "flexion_deg": "Part of the hinge towards the palm; 0 at address.",
    "pronation_deg": "Turn of the forearm about its own long axis; 0 at address.",
    "hinge_rate_deg_s": "Rate of change of the hinge; negative while it opens.",
    "arm_rate_deg_s": "Turning rate of the forearm in the swing plane; positive towards the ball.",
    "club_rate_deg_s": "Turning rate of the shaft in the swing plane; positive towards the ball.",
    "clubhead_speed_m_s": "Clubhead speed from the arm about a fixed shoulder (a model value).",
    "plane_inclination_deg": "Inclination of the shaft's momentary plane to the ground.",
    "arm_qw": "Forearm orientation, quaternion, segment to world: w.",
    "arm_qx": "Forearm orientation: x.",
    "arm_qy": "Forearm orientation: y.",
    "arm_qz": "Forearm orientation: z.",
    "club_qw": "Club orientation, quaternion, segment to world: w.",
    "club_qx": "Club orientation: x.",
    "club_qy": "Club orientation: y.",
    "club_qz": "Club orientation: z.",
    "reconstructed": "True where a lost or clipped sample was bridged.",
}

OURS = "our definition"
_CURVES = {name: (unit, _CURVE_MEANING[name]) for name, unit in CURVE_COLUMNS.items()} | {
    name: about for more in ROLE_CURVES.values() for name, about in more.items()
}


def metric_meaning(metric: Metric) -> str:
    """Definition of a metric with its caution and the label on model values."""
    words = [metric.definition]
    if metric.model:
        words.append("A model value.")
    if metric.caution:
        words.append(metric.caution)
    return " ".join(words)


def describe_swing_columns(names: Iterable[str] = SWING_COLUMNS) -> pd.DataFrame:
    """Column, label, unit, meaning and source of each named column of the swing table."""
    known = _swing_descriptions()
    rows = [(name, *known.get(name, ("", "", "", ""))) for name in names]
    return pd.DataFrame(rows, columns=["column", "label", "unit", "meaning", "source"])


def describe_curve_columns(names: Iterable[str] = tuple(CURVE_COLUMNS)) -> pd.DataFrame:
    """Column, label, unit, meaning and source of each named column of the curve table."""
    rows = [(name, "", *_CURVES.get(name, ("", "")), OURS) for name in names]
    return pd.DataFrame(rows, columns=["column", "label", "unit", "meaning", "source"])


def _swing_descriptions() -> dict[str, tuple[str, str, str, str]]:
    known = {
        name: ("", "", f"{words[0].upper()}{words[1:]}.", "")
        for name, words in CONTEXT_COLUMNS.items()
    }
    known |= {name: ("", unit, text, OURS) for name, (unit, text) in _SWING_MEANING.items()}
    for event in EVENTS:
        words = event.replace("_", " ")
        text = EVENT_MEANING[event]
        known[f"{event}_s"] = (words.capitalize(), "s", f"Recording time: {text}.", OURS)
        known[f"{event}_s_se"] = ("", "s", f"Standard error of the time of {words}.", OURS)
        known[f"{event}_club_clock_us"] = (
            "",
            "us",
            f"The same moment in the club sensor's own clock: {text}.",
            OURS,
        )
    for metric in METRIC_BY_NAME.values():
        known[metric.name] = (metric.label, metric.unit, metric_meaning(metric), metric.source)
        text = f"Standard error of {metric.label[0].lower()}{metric.label[1:]}."
        known[metric.se_name] = ("", metric.unit, text, "")
        text = f"The part of {metric.se_name} that differs from swing to swing."
        known[metric.se_swing_name] = ("", metric.unit, text, "")
    return known

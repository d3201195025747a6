"""Measure one swing: events and metrics from the movement of forearm and club."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from imu.columns import EVENTS
from imu.settings import AnalysisSettings
from imu.swings.events import find_events
from imu.swings.metrics import swing_numbers
from imu.types import BALL, Club, Motion, SwingWindow


@dataclass(frozen=True, eq=False)
class SwingMeasurement:
    """What one swing measured.

    events : s, recording time, by the names of ``imu.columns.EVENTS``. metrics : by the names
    and in the units of ``imu.columns.METRICS``. notes : the reason for each NaN, by name.
    order_of_peaks : "arm", "wrist" and "club" in the order in which their rates peaked.
    anchors : s, besides the events the times of the greatest hinge and of the stillness at
    address, by which a later reading of the same swing finds the same candidates.
    """

    events: Mapping[str, float]
    metrics: Mapping[str, float]
    notes: Mapping[str, str]
    order_of_peaks: str
    anchors: Mapping[str, float] = field(default_factory=dict)


def measure_swing(
    motion: Motion,
    window: SwingWindow,
    club: Club,
    arm_length: float,
    settings: AnalysisSettings,
    near: SwingMeasurement | None = None,
) -> SwingMeasurement:
    """Events and metrics of one swing, as defined in ``imu.swings.events`` and ``.metrics``.

    motion : the swing's movement, uniform in time. window : where it lies, and for a ball swing
    its impact. arm_length : m, hub to wrist. near : an earlier measurement of the same swing;
    of several candidates for an event the nearest to the earlier one is then taken, so that
    tiny changes of the motion give tiny changes of the result.
    """
    places = find_events(
        motion, window, settings.release_threshold, None if near is None else near.anchors
    )
    numbers = swing_numbers(
        motion, window, places, club, arm_length, settings, None if near is None else near.metrics
    )
    anchors = {name: places.time(name) for name in places.place}
    events = {name: anchors[name] for name in EVENTS}
    notes = dict(numbers.notes)
    for name, value in events.items():
        if math.isnan(value):
            notes[name] = places.reason.get(name, "not found")
    if "impact" in places.reason:
        notes["impact"] = places.reason["impact"] + "; the time of greatest club rate stands in"
    elif window.kind != BALL:
        notes["impact"] = "no ball: the shaft's return to its address direction"
    return SwingMeasurement(events, numbers.metrics, notes, numbers.order_of_peaks, anchors)

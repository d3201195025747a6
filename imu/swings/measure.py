"""Measure one swing: events and metrics from the movement of forearm and club."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.columns import EVENTS, METRICS
from imu.fusion.movements import Movements
from imu.settings import AnalysisSettings
from imu.swings.events import SwingPlaces, find_events
from imu.swings.metrics import order_of_peaks, swing_numbers, why_missing
from imu.types import BALL, Club, FloatArray, Motion, SwingWindow


@dataclass(frozen=True, eq=False)
class Readings:
    """What K readings of one swing gave.

    places : of the events. events : (len(EVENTS), K) s, recording time. metrics :
    (len(METRICS), K), in the units of ``imu.columns.METRICS``.
    """

    places: SwingPlaces
    events: FloatArray
    metrics: FloatArray


@dataclass(frozen=True, eq=False)
class SwingMeasurement:
    """What one swing measured.

    events : s, recording time, by the names of ``imu.columns.EVENTS``. metrics : by the names
    and in the units of ``imu.columns.METRICS``. notes : the reason for each NaN, by name.
    order_of_peaks : "arm", "wrist" and "club" in the order in which their rates peaked.
    anchors : s, besides the events the times of the greatest hinge and of the stillness at
    address, by which a later reading of the same swing finds the same candidates. places : of
    the events, with the series they were read from (K = 1).
    """

    events: Mapping[str, float]
    metrics: Mapping[str, float]
    notes: Mapping[str, str]
    order_of_peaks: str
    anchors: Mapping[str, float]
    places: SwingPlaces


def read_swing(
    movements: Movements,
    window: SwingWindow,
    impact: FloatArray,
    club_lever: FloatArray,
    arm_length: FloatArray,
    settings: AnalysisSettings,
    near: SwingMeasurement | None = None,
) -> Readings:
    """Events and metrics of K movements of one swing, read all at once.

    window : where the swing lies; its impact is replaced by ``impact`` (K,) s. club_lever,
    arm_length : (K,) m. near : as in ``measure_swing``.
    """
    anchors, metrics = (None, None) if near is None else (near.anchors, near.metrics)
    places = find_events(movements, window, settings.release_threshold, anchors, impact)
    events = places.times(EVENTS)
    numbers = swing_numbers(places, window, club_lever, arm_length, settings, metrics)
    return Readings(places, events, numbers)


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
    read = read_swing(
        Movements.of(motion),
        window,
        np.array([window.impact]),
        np.array([club.wrist_to_head]),
        np.array([arm_length]),
        settings,
        near,
    )
    places = read.places
    anchors = dict(zip(places.place, places.times(places.place)[:, 0].tolist(), strict=True))
    events = {name: anchors[name] for name in EVENTS}
    metrics = dict(zip((m.name for m in METRICS), read.metrics[:, 0].tolist(), strict=True))
    notes = {n: why_missing(n, places) for n, value in metrics.items() if math.isnan(value)}
    notes |= {n: places.why_not(n) for n, value in events.items() if math.isnan(value)}
    if not places.returned[0]:
        notes["impact"] = places.why_not("impact") + ", so the time of greatest club rate stands in"
    elif window.kind != BALL:
        notes["impact"] = "no ball: the shaft's return to its address direction"
    return SwingMeasurement(events, metrics, notes, order_of_peaks(metrics), anchors, places)

"""Random error of a swing's events from sensor noise, by the slope each is read on.

An event read where a rate crosses a level moves by (noise of the rate) / (slope there); the top
of a curve by (noise of its rate) / (its bend). Where an angle crosses a level (release, shaft
parallel) noise hardly shows, for an angle is the sum of many samples of its rate. What the fusion
is unsure of (mounting, clock, heading) comes on top and is carried through by repeated measurement
of changed motions.
"""

from __future__ import annotations

import math

import numpy as np

from imu.swings.events import TAKEAWAY_SPAN, SwingPlaces
from imu.swings.sampling import value_at
from imu.types import FloatArray


def event_noise(places: SwingPlaces, gyro_noise: float) -> dict[str, float]:
    """Standard error (s) of events that noise moves, and of ``onset``, from random noise alone.

    places : of one measured swing (K = 1). gyro_noise : rad/s, standard deviation of one sample
    of an angular rate in its motion. Impact is not read off a rate: its error is the window's. NaN
    for an event that was not found.
    """
    step, speed = places.step, places.speed
    # Two sensors stand behind every relation of arm and club.
    both = math.sqrt(2.0) * gyro_noise
    return {
        "takeaway": _per_slope(
            speed, places, "takeaway", gyro_noise / math.sqrt(max(1.0, TAKEAWAY_SPAN / step))
        ),
        "arm_top": _per_slope(places.arm_rate, places, "arm_top", gyro_noise),
        "club_top": _per_slope(places.club_rate, places, "club_top", gyro_noise),
        "finish": _per_slope(speed, places, "finish", gyro_noise),
        "onset": _per_bend(places.hinge, places, "onset", both),
    }


def _per_slope(values: FloatArray, places: SwingPlaces, name: str, noise: float) -> float:
    """Noise over the slope (per s) across 10 ms around the event."""
    place = float(places.place[name][0])
    if math.isnan(place):
        return math.nan
    reach = max(1.0, 0.005 / places.step)
    before, after = _read(values, place - reach, place + reach)
    slope = abs(after - before) / (2.0 * reach * places.step)
    return noise / max(slope, 1e-9)


def _per_bend(values: FloatArray, places: SwingPlaces, name: str, noise: float) -> float:
    """Noise of the first derivative over the second, across 20 ms around a peak."""
    place = float(places.place[name][0])
    if math.isnan(place):
        return math.nan
    reach = max(2.0, 0.010 / places.step)
    span = reach * places.step
    before, at, after = _read(values, place - reach, place, place + reach)
    return noise / max(abs(after + before - 2.0 * at) / span**2, 1e-9)


def _read(values: FloatArray, *places: float) -> list[float]:
    """Values of a (1, N) series at some places."""
    found: list[float] = value_at(values, np.array(places)[:, None])[:, 0].tolist()
    return found

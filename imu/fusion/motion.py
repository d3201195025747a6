"""The fitted session as motions of the two segments, ready to be measured."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from imu.fusion.axes import Mounting
from imu.fusion.joint import SwingState, follow_all
from imu.fusion.parameters import Shared
from imu.fusion.quaternion import multiply, rotate
from imu.fusion.samples import SENSORS, SwingSamples, within
from imu.fusion.track import Track
from imu.types import CLUB, FOREARM, BoolArray, FloatArray, Motion

MOTION_STEP = 0.001
"""Time between samples of a motion, s."""


def build_motions(
    swings: Sequence[SwingSamples],
    shared: Shared,
    states: Sequence[SwingState],
    mounted: Mounting,
) -> list[tuple[Motion, dict[str, Track]]]:
    """Motion of each swing, and the sensors' tracks it was made from, at every millisecond.

    shared, states : of the fit, a state for each swing. mounted : sensor to segment.
    """
    times = [np.arange(swing.time[0], swing.time[-1], MOTION_STEP) for swing in swings]
    mounts = {
        role: Rotation.from_matrix(mounted.matrix[role].T).as_quat(scalar_first=True)
        for role in SENSORS
    }
    motions = []
    for samples, state, time, tracks in zip(
        swings, states, times, follow_all(swings, shared, states, times), strict=True
    ):
        orientation, rate = {}, {}
        for role in SENSORS:
            track = tracks[role]
            segment = multiply(track.orientation, mounts[role])
            orientation[role] = Rotation.from_quat(segment, scalar_first=True)
            rate[role] = rotate(track.orientation, track.rate) + _break_rates(state, role, time)
        motion = Motion(
            time=time,
            forearm=orientation[FOREARM],
            club=orientation[CLUB],
            forearm_rate=rate[FOREARM],
            club_rate=rate[CLUB],
            reconstructed=_bridged(samples, shared, time),
        )
        motions.append((motion, tracks))
    return motions


def _bridged(samples: SwingSamples, shared: Shared, time: FloatArray) -> BoolArray:
    """(M,) where the rate of either sensor was not really read. time : (M,) s, recording time."""
    flags = np.zeros(len(time), dtype=bool)
    for role, sensor in samples.sensors.items():
        local = time - shared.at(time) if role == FOREARM else time
        flags |= within(local, sensor.doubt)
    return flags


def _break_rates(state: SwingState, role: str, time: FloatArray) -> FloatArray:
    """Rate that the breaks' rotations add while they last (the strike's own is left out)."""
    extra = np.zeros((len(time), 3))
    for spell, turn in zip(state.breaks[role], state.turns[role], strict=True):
        if not spell.strike:
            extra += spell.ramp_rate(time)[:, None] * turn
    return extra

"""A whole session solved: seats, fit and mountings, tried again when a seat proves wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.axes import Mounting, club_axis, forearm_axis, mounting
from imu.fusion.estimate import SessionFit, fit_session
from imu.fusion.joint import follow_both
from imu.fusion.rest import RestSpells, rest_spells
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.start import Seat, first_seat, first_shared, first_state, reseat
from imu.types import CLUB, FOREARM, AlignedStreams, Manifest

_LEAST_CLOCK_SE = 0.003
_LEAST_DRIFT_SE = 2e-6
_FOREARM_TO_WRIST = 0.06
_BUTT_TO_SENSOR = 0.33
_MOST_TRIES = 3


@dataclass(frozen=True, eq=False)
class SolvedSession:
    """The fit of all swings, the mountings found, the seats taken and the rests used."""

    fit: SessionFit
    mounted: Mounting
    seats: Mapping[str, Seat]
    rests: Mapping[str, RestSpells]


def solve_session(
    aligned: AlignedStreams, swings: Sequence[SwingSamples], manifest: Manifest
) -> SolvedSession:
    """Estimate everything the swings of a recording share, and each swing's own motion.

    swings : at least one. manifest : for the measured distances, which may be a little wrong.
    """
    sensors = manifest.sensors
    forearm = float(sensors.get(FOREARM, {}).get("distance_to_wrist", _FOREARM_TO_WRIST))
    butt = float(sensors.get(CLUB, {}).get("distance_from_butt", _BUTT_TO_SENSOR))
    lengths = {FOREARM: forearm, CLUB: butt - manifest.club.wrist_from_butt}
    streams = aligned.streams
    rests = {r: rest_spells(streams[r].time, streams[r].acc, streams[r].gyr) for r in SENSORS}
    clock = aligned.clocks[FOREARM]
    sigma = (max(clock.offset_se, _LEAST_CLOCK_SE), max(clock.drift_se, _LEAST_DRIFT_SE))
    seats = {role: first_seat(swings, role) for role in SENSORS}
    for _ in range(_MOST_TRIES):
        shared = first_shared(swings, rests, lengths, seats)
        states = [first_state(samples, shared) for samples in swings]
        fit = fit_session(swings, rests, shared, states, sigma)
        tracks = [
            follow_both(samples, fit.shared, swing.state)
            for samples, swing in zip(swings, fit.swings, strict=True)
        ]
        arm = forearm_axis(
            swings, tracks, fit, seats[FOREARM], streams[FOREARM], manifest.player.arm_length
        )
        lever = fit.shared.sensors[CLUB].lever
        better = {
            FOREARM: reseat(FOREARM, seats[FOREARM], arm.axis),
            CLUB: reseat(CLUB, seats[CLUB], lever / max(float(np.linalg.norm(lever)), 1e-9)),
        }
        changed = {role: seat for role, seat in better.items() if seat is not None}
        if not changed:
            break
        seats = {**seats, **changed}
    axes = {FOREARM: arm, CLUB: club_axis(fit, seats[CLUB], streams[CLUB])}
    return SolvedSession(fit, mounting(swings, tracks, axes), seats, rests)

"""A whole session solved: seats, fit and mountings, tried again when a seat proves wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imu.fusion.axes import LongAxis, Mounting, club_axis, forearm_axis, mounting
from imu.fusion.estimate import Guess, SessionFit, fit_session
from imu.fusion.joint import follow_all
from imu.fusion.parameters import Shared
from imu.fusion.rest import RestSpells, rest_spells
from imu.fusion.samples import SENSORS, SwingSamples
from imu.fusion.start import Seat, first_seat, first_shared, first_states, reseat
from imu.fusion.target import heading_at_address, turned_about_vertical
from imu.fusion.track import Track
from imu.types import CLUB, FOREARM, AlignedStreams, Manifest, Stream

_LEAST_CLOCK_SE = 0.003
_LEAST_DRIFT_SE = 2e-6
"""s and share: the first alignment of the clocks is trusted no further."""
_FOREARM_TO_WRIST = 0.06
_BUTT_TO_SENSOR = 0.33
"""m, where a sensor is taken to sit when it was not measured."""
_MOST_TRIES = 3
_FIRST_SWINGS = 12


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
    lengths = declared_distances(manifest)
    streams = aligned.streams
    rests = {r: rest_spells(streams[r].time, streams[r].acc, streams[r].gyr) for r in SENSORS}
    clock = aligned.clocks[FOREARM]
    sigma = (max(clock.offset_se, _LEAST_CLOCK_SE), max(clock.drift_se, _LEAST_DRIFT_SE))
    some = _spread_out(len(swings))
    fit, tracks, arm, expected, seats = _fit_and_seat(
        [swings[i] for i in some], rests, lengths, sigma, streams[FOREARM], manifest
    )
    if len(some) < len(swings):
        known = dict(zip(some, fit.swings, strict=True))
        others = [i for i in range(len(swings)) if i not in known]
        begun = dict(
            zip(others, first_states([swings[i] for i in others], fit.shared), strict=True)
        )
        states = tuple(known[i].state if i in known else begun[i] for i in range(len(swings)))
        guess = Guess(fit.shared, states, fit.scale, fit.correlation)
        fit = fit_session(swings, rests, guess, expected, sigma)
        tracks = _follow(swings, fit)
        arm = forearm_axis(
            swings, tracks, fit, seats[FOREARM], streams[FOREARM], manifest.player.arm_length
        )
    axes = {FOREARM: arm, CLUB: club_axis(fit, seats[CLUB], streams[CLUB])}
    mounted = mounting(swings, tracks, axes)
    facing = tuple(
        turned_about_vertical(swing, heading_at_address(samples, pair[CLUB], axes[CLUB].axis))
        for swing, samples, pair in zip(fit.swings, swings, tracks, strict=True)
    )
    return SolvedSession(replace(fit, swings=facing), mounted, seats, rests)


def declared_distances(manifest: Manifest) -> dict[str, float]:
    """Declared distance between wrist and sensor along each segment, m; usual ones if none."""
    sensors = manifest.sensors
    forearm = float(sensors.get(FOREARM, {}).get("distance_to_wrist", _FOREARM_TO_WRIST))
    butt = float(sensors.get(CLUB, {}).get("distance_from_butt", _BUTT_TO_SENSOR))
    return {FOREARM: forearm, CLUB: butt - manifest.club.wrist_from_butt}


def _spread_out(count: int) -> list[int]:
    """Swings to fit first, evenly over the session: a few bring all near, and are quick."""
    if count <= _FIRST_SWINGS:
        return list(range(count))
    return sorted({round(x) for x in np.linspace(0, count - 1, _FIRST_SWINGS)})


def _follow(swings: Sequence[SwingSamples], fit: SessionFit) -> list[dict[str, Track]]:
    return follow_all(swings, fit.shared, [swing.state for swing in fit.swings])


def _fit_and_seat(
    swings: Sequence[SwingSamples],
    rests: Mapping[str, RestSpells],
    lengths: Mapping[str, float],
    sigma: tuple[float, float],
    forearm: Stream,
    manifest: Manifest,
) -> tuple[SessionFit, list[dict[str, Track]], LongAxis, Shared, Mapping[str, Seat]]:
    """Fit from nothing; where the fit contradicts a sensor's seat, take the better and refit.

    The seats returned are those of the fit returned, even where the last try contradicts them.
    """
    seats = {role: first_seat(swings, role) for role in SENSORS}
    for tries_left in reversed(range(_MOST_TRIES)):
        expected = first_shared(swings, rests, lengths, seats)
        states = tuple(first_states(swings, expected))
        fit = fit_session(swings, rests, Guess(expected, states), expected, sigma)
        tracks = _follow(swings, fit)
        arm = forearm_axis(swings, tracks, fit, seats[FOREARM], forearm, manifest.player.arm_length)
        lever = fit.shared.sensors[CLUB].lever
        better = {
            FOREARM: reseat(FOREARM, seats[FOREARM], arm.axis),
            CLUB: reseat(CLUB, seats[CLUB], lever / max(float(np.linalg.norm(lever)), 1e-9)),
        }
        changed = {role: seat for role, seat in better.items() if seat is not None}
        if not changed or not tries_left:
            break
        seats = {**seats, **changed}
    return fit, tracks, arm, expected, seats

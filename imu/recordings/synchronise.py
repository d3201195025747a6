"""Two sensor clocks to one time base: the club sensor's own clock, counted from its start.

First from when packets arrived at the host (``imu.recordings.clock``): good to some milliseconds,
since the radio's phase is unseen. Where no arrival times were kept, from the bursts of movement
both sensors see. The joint between the two refines this later (``imu.fusion``).

Samples are dated to when the movement happened: a sensor's low-pass filter delays what it
reports. The delay is taken from the manifest (``filter_delay_s``) or else assumed: second-order
low-pass filters cut at 0.30 to 0.40 of the sampling rate delay by 0.56 to 0.75 sample periods.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.signal import correlate

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings.clock import fit_clock
from imu.recordings.even_time import even_times
from imu.recordings.manifest import FILTER_DELAY
from imu.types import CLUB, FOREARM, AlignedStreams, ClockModel, FloatArray, Recording, Stream

ASSUMED_DELAY_PERIODS = 0.64
"""Delay of a sensor's low-pass filter in sample periods, when not declared."""
ASSUMED_DELAY_SPREAD = 0.08
"""Standard error of the above, in sample periods."""

_PROMPTEST_OF = 0.25
_FEWEST_PACKETS = 200
_BURST_RATE = 100.0
_DRIFT_SE = 1e-4


def filter_delay(recording: Recording, role: str) -> tuple[float, float]:
    """Delay of a sensor's low-pass filter and its standard error, s."""
    declared = recording.manifest.sensors.get(role, {}).get(FILTER_DELAY)
    period = 1.0 / recording.streams[role].rate_hz
    if declared is not None:
        return float(declared), 0.02 * period
    return ASSUMED_DELAY_PERIODS * period, ASSUMED_DELAY_SPREAD * period


def align(recording: Recording) -> AlignedStreams:
    """Put all streams of a recording on the club sensor's clock.

    Raises SwingspreadError when the forearm or club stream is missing, or when nothing ties
    their clocks together.
    """
    for role in (FOREARM, CLUB):
        if role not in recording.streams or len(recording.streams[role].time) < 2:
            raise SwingspreadError(
                f"recording {recording.id[:12]}: no {role} samples; swings need both the forearm "
                "and the club sensor. Record or import both."
            )
    club = recording.streams[CLUB]
    start = float(club.time[0])
    clocks = {CLUB: ClockModel(start, 0.0)}
    warnings: list[str] = []
    for role, stream in recording.streams.items():
        if role != CLUB:
            clocks[role], note = _tie(stream, club, start)
            warnings += note
    delays = {role: filter_delay(recording, role)[0] for role in recording.streams}
    streams = {
        role: replace(stream, time=clocks[role].to_recording(even_times(stream)) - delays[role])
        for role, stream in recording.streams.items()
    }
    return AlignedStreams(streams, clocks, tuple(dict.fromkeys(warnings)), delays)


def _tie(stream: Stream, club: Stream, start: float) -> tuple[ClockModel, list[str]]:
    """Clock of ``stream`` to recording time."""
    try:
        ours = fit_clock(*_packets(stream))
        theirs = fit_clock(*_packets(club))
    except ValueError:
        return _tie_by_bursts(stream, club, start)
    own, other = ours.model, theirs.model
    drift = (1.0 + own.drift) / (1.0 + other.drift) - 1.0
    offset = float(other.to_sensor(own.offset)) - start
    model = ClockModel(
        own.reference,
        offset,
        drift,
        float(np.hypot(own.offset_se, other.offset_se)),
        float(np.hypot(own.drift_se, other.drift_se)),
    )
    notes = []
    for name, fit in ((stream.role, ours), (club.role, theirs)):
        if len(fit.steps):
            notes.append(
                f"{name}: the computer's clock jumped {counted(len(fit.steps), 'time')} during "
                "recording"
            )
    return model, notes


def _packets(stream: Stream) -> tuple[FloatArray, FloatArray]:
    """Sensor time of each packet's last sample, and its arrival; the promptest in each spell.

    Only prompt packets can touch the line under all of them.
    """
    host = stream.host_time
    last = np.flatnonzero(np.append(host[1:] != host[:-1], True) & np.isfinite(host))
    sensor, host = stream.time[last], host[last]
    if len(last) < _FEWEST_PACKETS:
        return sensor, host
    spell = np.floor((sensor - sensor[0]) / _PROMPTEST_OF).astype(np.int64)
    order = np.lexsort((host - sensor, spell))
    first = order[np.flatnonzero(np.diff(spell[order], prepend=-1))]
    return sensor[first], host[first]


def _tie_by_bursts(stream: Stream, club: Stream, start: float) -> tuple[ClockModel, list[str]]:
    """Clock from the shared bursts of movement, where arrival times are missing."""
    ours, theirs = _bursts(stream), _bursts(club)
    match = correlate(theirs, ours, mode="full", method="fft")
    best = int(np.argmax(match))
    strength = match[best] / (np.linalg.norm(ours) * np.linalg.norm(theirs) + 1e-12)
    if strength < 0.3:
        raise SwingspreadError(
            f"{stream.role} and club: no arrival times at the computer, and their movements do "
            "not match at any shift. Check that both files are of the same session; if so, "
            "import again with the arrival time column (t_host_s)."
        )
    lag = (best - (len(ours) - 1)) / _BURST_RATE
    reference = float(stream.time[0])
    note = (
        f"{stream.role}: no usable arrival times; its clock was tied to the club's by the "
        "movements both felt"
    )
    return ClockModel(reference, lag, 0.0, 0.01, _DRIFT_SE), [note]


def _bursts(stream: Stream) -> FloatArray:
    """How fast the sensor turns, on a coarse even time base, its slow level taken off."""
    even = np.arange(0.0, stream.time[-1] - stream.time[0], 1.0 / _BURST_RATE)
    speed = np.sqrt(np.einsum("ni,ni->n", stream.gyr, stream.gyr))
    coarse = np.interp(even, stream.time - stream.time[0], np.minimum(speed, 15.0))
    return np.asarray(coarse - np.mean(coarse), dtype=np.float64)

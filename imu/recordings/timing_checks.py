"""Do a file's clocks agree with each other, with the declared rate and with the other file?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings.column_map import QUANTITIES, ColumnMap, other_unit
from imu.recordings.sampling import sample_period
from imu.types import FloatArray, Stream

RATE_TOLERANCE = 0.1
"""Share by which a rate may differ from the declared one."""
LEAST_DURATION_S = 2.0
LEAST_SAMPLES = 10


def check_count(samples: int, where: str) -> None:
    """Refuse a file with too few rows to know its rate."""
    if samples < LEAST_SAMPLES:
        raise SwingspreadError(
            f"{where}: only {counted(samples, 'row')} of samples; "
            "export the whole recording from the logger"
        )


def check_duration(time: FloatArray, where: str) -> None:
    """Refuse what is too short to hold a swing. time : (N,) s. Raises SwingspreadError."""
    duration = float(time[-1] - time[0])
    if duration < LEAST_DURATION_S:
        raise SwingspreadError(
            f"{where}: too short, {len(time)} samples over {duration:.3g} s; a recording needs "
            f"{LEAST_DURATION_S:g} s or more. Was the export cut short?"
        )


def check_rate(
    time: FloatArray,
    declared_hz: float,
    columns: ColumnMap,
    where: str,
    others: Mapping[str, float],
) -> str:
    """The clock's rate against the declared one; a sentence when they differ by 3 to 10 %.

    others : declared rates of the other sensors by role, to tell exchanged files.
    Raises SwingspreadError when they differ by more, with the likeliest reason.
    """
    implied = 1.0 / sample_period(time)
    ratio = implied / declared_hz
    if abs(ratio - 1.0) <= RATE_TOLERANCE:
        if abs(ratio - 1.0) > 0.03:
            return f"samples come at {implied:.4g} Hz where {declared_hz:g} Hz is declared"
        return ""
    declared = columns.units["t_sensor"]
    scales = QUANTITIES["t_sensor"]
    fits = {
        unit: abs(ratio * scales[declared] / scale - 1.0) <= RATE_TOLERANCE
        for unit, scale in scales.items()
    }
    seen = (
        f"{where}: by column {columns.columns['t_sensor']} samples come at {implied:.4g} Hz, "
        f"but {declared_hz:g} Hz is declared"
    )
    unit = other_unit("t_sensor", declared, fits)
    if unit:
        raise SwingspreadError(
            f"{seen}; the clock seems to be in {unit}, not {declared}: "
            f'say "t_sensor": "{unit}" under units'
        )
    for role, rate in others.items():
        if abs(implied / rate - 1.0) <= RATE_TOLERANCE:
            raise SwingspreadError(
                f"{seen} and {rate:g} Hz for the {role} sensor; the files seem swapped: "
                "give them the other way round, or use --swap"
            )
    raise SwingspreadError(f"{seen}; correct rate_hz in the meta file")


def check_host_time(host: FloatArray, time: FloatArray, columns: ColumnMap, where: str) -> None:
    """The arrival times must span about as long as the sensor's own clock."""
    known = np.flatnonzero(np.isfinite(host))
    if len(known) < 2:
        return
    first, last = known[0], known[-1]
    own, arrived = float(time[last] - time[first]), float(host[last] - host[first])
    slack = max(RATE_TOLERANCE * own, 1.0)
    if abs(arrived - own) <= slack:
        return
    declared = columns.units["t_host"]
    scales = QUANTITIES["t_host"]
    fits = {
        unit: abs(arrived * scale / scales[declared] - own) <= slack
        for unit, scale in scales.items()
        if unit != declared
    } | {declared: False}
    seen = (
        f"{where}: column {columns.columns['t_host']} spans {arrived:.4g} s "
        f"while the sensor's clock spans {own:.4g} s"
    )
    unit = other_unit("t_host", declared, fits)
    if unit:
        raise SwingspreadError(
            f"{seen}; arrival times seem to be in {unit}, not {declared}: "
            f'say "t_host": "{unit}" under units'
        )
    raise SwingspreadError(
        f'{seen}; if arrival times are not to be trusted, map them to nothing: "t_host": null'
    )


def check_overlap(first: Stream, second: Stream) -> str:
    """Two sensors of one recording must have run at the same time; a sentence when in doubt."""
    spans = []
    for stream in (first, second):
        known = stream.host_time[np.isfinite(stream.host_time)]
        if len(known) < 2:
            return (
                f"arrival times of the {stream.role} are unknown; "
                "clocks are aligned from the motion alone"
            )
        spans.append((float(known.min()), float(known.max())))
    (start, end), (other_start, other_end) = spans
    shared = min(end, other_end) - max(start, other_start)
    shorter = min(end - start, other_end - other_start)
    if shared <= 0:
        raise SwingspreadError(
            f"{first.role} and {second.role} do not overlap: by arrival time the {first.role} ran "
            f"from {start:.1f} to {end:.1f} s, the {second.role} from {other_start:.1f} to "
            f"{other_end:.1f} s; give two files of the same recording"
        )
    if shared < 0.5 * shorter:
        return f"{first.role} and {second.role} overlap for only {shared:.1f} s"
    return ""

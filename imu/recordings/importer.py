"""From the CSV files of any logger to a recording.

The plain layout has one file a sensor with the columns ``t_host_s`` (arrival at the host),
``seq`` (sample number; a jump is a loss), ``t_sensor_us`` (the sensor's own clock), ``ax, ay,
az`` (m/s², specific force) and ``gx, gy, gz`` (rad/s); plain or gzip-compressed. Other layouts
are described by a column map (see ``imu.recordings.column_map``), player, club and sensors by a
meta file (see ``imu.recordings.meta_file``).

Nothing is guessed in silence: what is wrong is refused with file, line, column and mend; what is
assumed or mended is said in the recording's faults.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings import checks, timing_checks
from imu.recordings.column_map import ColumnMap, column_map_for
from imu.recordings.content import make_recording
from imu.recordings.csv_file import CsvFile
from imu.recordings.csv_source import Progress
from imu.recordings.json_file import JsonObject, read_json_object
from imu.recordings.meta_file import DeclaredSensor, Meta, parse_meta
from imu.recordings.names import check_role, clean_label
from imu.recordings.sampling import (
    check_agreement,
    check_gaps,
    check_increasing,
    check_sample_numbers,
    describe_losses,
    numbers_from_clock,
    reconcile,
    sample_period,
    unwrap_counter,
)
from imu.types import CLUB, FOREARM, FloatArray, IntArray, Manifest, Recording, Stream

_ACC, _GYR = ("ax", "ay", "az"), ("gx", "gy", "gz")


def _json_source(value: Path | str | Mapping[str, Any], word: str) -> JsonObject:
    if isinstance(value, Mapping):
        return JsonObject(value, word)
    return JsonObject(read_json_object(value), Path(value).name)


def _clock(values: FloatArray, columns: ColumnMap, file: CsvFile) -> tuple[FloatArray, list[str]]:
    """The sensor's clock in s, strictly increasing, and sentences on what was mended."""
    column = str(columns.columns["t_sensor"])
    ticks, turns = unwrap_counter(values)
    check_increasing(ticks, column, file.where)
    over = f"the sensor's clock ran over {counted(turns, 'time')} and was continued"
    notes = [over] if turns else []
    factor = columns.factor("t_sensor")
    # dividing by a whole number rounds correctly, multiplying by 1e-6 does not
    time = ticks if factor == 1.0 else ticks / round(1.0 / factor)
    check_gaps(time, column, file.where)
    return time, notes


def _numbers(
    data: dict[str, FloatArray], time: FloatArray, columns: ColumnMap, file: CsvFile
) -> tuple[IntArray, list[str]]:
    """Sample numbers, and sentences on what was mended or lost."""
    if "seq" not in data:
        seq = numbers_from_clock(time)
        notes = ["no sample numbers; losses are worked out from the sensor's clock"]
    else:
        raw, turns = unwrap_counter(data["seq"])
        column = str(columns.columns["seq"])
        checked = check_sample_numbers(raw, column, file.where)
        check_agreement(checked, time, column, file.where)
        seq, mended = reconcile(checked, time)
        notes = [mended] if mended else []
        if turns:
            notes.append(f"sample numbers ran over {counted(turns, 'time')} and were continued")
    losses = describe_losses(seq, time)
    return seq, notes + ([losses] if losses else [])


def _arrivals(
    data: dict[str, FloatArray], columns: ColumnMap, file: CsvFile
) -> tuple[FloatArray, list[str]]:
    """Arrival times in s, NaN where unknown; an error where they go back."""
    if "t_host" not in data:
        return np.full(len(data["ax"]), np.nan), ["no arrival times"]
    host = data["t_host"] * columns.factor("t_host")
    known = np.flatnonzero(np.isfinite(host))
    (bad,) = np.nonzero(np.diff(host[known]) < 0)
    if len(bad):
        row = int(known[bad[0] + 1])
        raise SwingspreadError(
            f"{file.where(row, str(columns.columns['t_host']))}: arrival time goes back; sort the "
            'rows by seq, or, if the host\'s clock was set back, map "t_host" to null'
        )
    missing = len(host) - len(known)
    said = f"{counted(missing, 'arrival time')} {'is' if missing == 1 else 'are'} missing"
    return host, [said] if missing else []


@dataclass(frozen=True, eq=False)
class _Samples:
    """One file's samples in SI units, with sentences on what was mended."""

    time: FloatArray
    seq: IntArray
    host: FloatArray
    acc: FloatArray
    gyr: FloatArray
    notes: list[str]


def _read_samples(path: Path, columns: ColumnMap, progress: Progress | None) -> _Samples:
    file = CsvFile(path, columns.layout, progress)
    data = file.columns(columns.present, may_be_blank=("t_host",))
    timing_checks.check_count(len(data["t_sensor"]), path.name)
    time, notes = _clock(data["t_sensor"], columns, file)
    seq, number_notes = _numbers(data, time, columns, file)
    host, host_notes = _arrivals(data, columns, file)
    vectors = {}
    for quantity, axes in (("acc", _ACC), ("gyr", _GYR)):
        values = np.column_stack([data.pop(axis) for axis in axes])
        values *= [-1.0 if axis in columns.reversed_axes else 1.0 for axis in axes]
        names = tuple(str(columns.columns[axis]) for axis in axes)
        still = checks.check_constant(values, names, path.name)
        notes += [still] if still else []
        checks.check_spikes(values, names, file.where)
        factor = columns.factor(quantity)
        vectors[quantity] = values if factor == 1.0 else values * factor
    return _Samples(
        time, seq, host, vectors["acc"], vectors["gyr"], notes + number_notes + host_notes
    )


def _same_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _exchange_sensors(meta: Meta) -> Meta:
    """The declared properties of the two sensors exchanged; distances stay with the place."""
    arm, club = meta.sensors[FOREARM], meta.sensors[CLUB]
    places = ("distance_to_wrist", "distance_from_butt")

    def moved(sensor: DeclaredSensor, place: DeclaredSensor) -> DeclaredSensor:
        facts = {key: value for key, value in sensor.facts.items() if key not in places}
        facts |= {key: value for key, value in place.facts.items() if key in places}
        return replace(sensor, facts=facts)

    sensors = meta.sensors | {FOREARM: moved(club, arm), CLUB: moved(arm, club)}
    manifest = replace(
        meta.manifest, sensors={role: sensor.facts for role, sensor in sensors.items()}
    )
    return replace(meta, sensors=sensors, manifest=manifest)


def _rates_fit_crosswise(samples: Mapping[str, _Samples], meta: Meta) -> bool:
    """True when each file runs at the rate declared for the other sensor, not at its own."""
    implied = {role: 1.0 / sample_period(item.time) for role, item in samples.items()}

    def fits(role: str, declared: str) -> bool:
        return (
            abs(implied[role] / meta.sensors[declared].rate_hz - 1.0)
            <= timing_checks.RATE_TOLERANCE
        )

    straight = fits(FOREARM, FOREARM) and fits(CLUB, CLUB)
    return not straight and fits(FOREARM, CLUB) and fits(CLUB, FOREARM)


def _share(progress: Progress | None, index: int, count: int) -> Progress | None:
    """Progress of one of several files as part of the whole."""
    if progress is None:
        return None
    whole = progress
    return lambda part: whole((index + part) / count)


def _labelled(manifest: Manifest, files: Mapping[str, Path], **labels: str | None) -> Manifest:
    given: dict[str, Any] = {
        key: clean_label(value, key) for key, value in labels.items() if value is not None
    }
    player = given.pop("player", None)
    if player is not None:
        manifest = replace(manifest, player=replace(manifest.player, name=player))
    names = ", ".join(path.name for path in files.values())
    return replace(manifest, source=f"CSV: {names}", **given)


def import_csv(
    forearm: Path | str | None,
    club: Path | str | None,
    meta: Path | str | Mapping[str, Any],
    column_map: Path | str | Mapping[str, Any] | None = None,
    *,
    others: Mapping[str, Path | str] | None = None,
    name: str | None = None,
    session: str | None = None,
    block: str | None = None,
    player: str | None = None,
    swap: bool = False,
    keep_order: bool = False,
    progress: Progress | None = None,
) -> Recording:
    """Read the CSV files of one recording.

    forearm, club : files, either may be None. others : files of further sensors by role.
    meta, column_map : JSON files, or their content. name, session, block, player : labels that
    go before those of the meta file. swap : exchange the two files. keep_order : do not doubt
    which is which. progress : called with the part done, 0 to 1.

    Raises SwingspreadError naming file, line, column and mend for anything wrong; see
    ``imu.recordings.checks`` for what physics is asked. Nothing is written here.
    """
    given = {FOREARM: forearm, CLUB: club, **(others or {})}
    files = {check_role(role): Path(path) for role, path in given.items() if path is not None}
    if not files:
        raise SwingspreadError("no sensor file given; name one with --forearm or --club")
    both = FOREARM in files and CLUB in files
    if swap and not both:
        raise SwingspreadError("--swap exchanges the forearm and the club file; give both")
    if swap:
        files[FOREARM], files[CLUB] = files[CLUB], files[FOREARM]
    roles = list(files)
    meta_source = _json_source(meta, "meta")
    map_source = _json_source(column_map, "column map") if column_map is not None else None
    facts = parse_meta(meta_source, roles)
    maps = {role: column_map_for(role, meta_source, map_source) for role in roles}
    for index, role in enumerate(roles):
        for other in roles[:index]:
            same_columns = maps[role].columns == maps[other].columns
            if same_columns and _same_file(files[role], files[other]):
                raise SwingspreadError(
                    f"{files[role].name}: given for {other} and for {role}; each sensor has a "
                    "file of its own, or columns of its own in a column map"
                )
    manifest = _labelled(
        facts.manifest, files, name=name, session=session, block=block, player=player
    )
    facts = replace(facts, manifest=manifest)

    samples = {
        role: _read_samples(path, maps[role], _share(progress, index, len(files)))
        for index, (role, path) in enumerate(files.items())
    }
    if swap and _rates_fit_crosswise(samples, facts):
        facts = _exchange_sensors(facts)
    found = {
        role: checks.motions(item.acc, item.gyr, sample_period(item.time))
        for role, item in samples.items()
    }
    faults = list(facts.assumed)
    streams: dict[str, Stream] = {}
    for role, item in samples.items():
        declared, where = facts.sensors[role], files[role].name
        rates = {key: sensor.rate_hz for key, sensor in facts.sensors.items() if key != role}
        rate_note = timing_checks.check_rate(item.time, declared.rate_hz, maps[role], where, rates)
        timing_checks.check_duration(item.time, where)
        timing_checks.check_host_time(item.host, item.time, maps[role], where)
        checks.check_acceleration_unit(found[role], maps[role], where)
        checks.check_rotation_unit(found[role], maps[role], where)
        checks.check_gravity(item.time, item.acc, item.gyr, maps[role], where)
        streams[role] = Stream(
            role=role,
            time=item.time,
            acc=item.acc,
            gyr=item.gyr,
            seq=item.seq,
            host_time=item.host,
            rate_hz=declared.rate_hz,
            acc_range=declared.acc_range,
            gyr_range=declared.gyr_range,
        )
        notes = [*item.notes, rate_note, *checks.check_ranges(streams[role])]
        faults += [f"{role}: {note}" for note in notes if note]
    for first, second in itertools.combinations(streams.values(), 2):
        checks.check_distinct(first, second)
        faults.append(timing_checks.check_overlap(first, second))
    if both and not keep_order:
        names = (files[FOREARM].name, files[CLUB].name)
        faults.append(checks.check_order(found[FOREARM], found[CLUB], names))
    if not both:
        missing = " and no ".join(role for role in (FOREARM, CLUB) if role not in streams)
        faults.append(f"no {missing} sensor: what needs both sensors cannot be had")
    said = tuple(dict.fromkeys(fault for fault in faults if fault))
    return make_recording(facts.manifest, streams, said)

"""Does what a file says agree with physics? Units, ranges, and which sensor is which.

Each check needs strong evidence before it refuses a file: wrong units are off by a factor of
ten or more, and the sensors are taken as exchanged only when both the turning rate and the
acceleration say so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings.column_map import QUANTITIES, ColumnMap, other_unit
from imu.recordings.gravity_check import better_scale, gravity_errors
from imu.recordings.sampling import Where
from imu.types import FloatArray, Stream
from imu.units import DEG, STANDARD_GRAVITY

REST_SHARE = 0.2
"""Share of samples, those that turn slowest, taken as near rest."""
TOP_SHARE = 0.005
"""Share of samples, the most violent, that characterise the swings."""
REST_LOW, REST_HIGH = 0.6, 1.6
"""Acceptable size of the acceleration near rest, in units of gravity."""
FASTEST_RAD_S = 150.0
"""No part of a swing turns faster (8600 °/s): more than three times the rates published."""
SUSTAINED_S, SUSTAINED_BLOCKS = 0.05, 4
"""Length and number of the blocks with the greatest mean acceleration; taps average out in them."""
VIGOROUS_M_S2 = 50.0
"""Sustained acceleration that walking and taps do not reach but swings do."""
RADIUS_LOW_M, RADIUS_HIGH_M = 0.01, 20.0
"""Sustained acceleration over rate squared: the radius of the turn. About 0.3 m in swings; a
unit mistake in the gyroscope moves it by a factor of 3283 or more."""
SPIKE = 1000.0
"""A strike stands out by a factor of tens; a damaged number by any factor."""
CLEARLY = 1.25
"""By this factor the supposed forearm must exceed the supposed club in both measures."""
SWING_RATE_RAD_S = 8.0
"""Both sensors must turn at least this fast before their order is judged: no swing, no sign."""


@dataclass(frozen=True)
class Motions:
    """Sizes that characterise a stream, m/s² and rad/s.

    rest : median near rest. top : root mean square of the most violent samples. sustained : median
    over the blocks of greatest mean acceleration, of that acceleration and of the turning rate
    with it; 0 in a recording too short to have such blocks.
    """

    rest_acc: float
    rest_gyr: float
    top_acc: float
    top_gyr: float
    sustained_acc: float
    sustained_gyr: float


def _top(size: FloatArray) -> float:
    count = max(int(len(size) * TOP_SHARE), 1)
    largest = np.partition(size, len(size) - count)[-count:]
    return float(np.sqrt(np.mean(largest**2)))


def _sustained(acc: FloatArray, gyr_size: FloatArray, period: float) -> tuple[float, float]:
    """Median acceleration and turning rate of the blocks with the greatest mean acceleration."""
    length = max(round(SUSTAINED_S / period), 1)
    blocks = len(acc) // length
    if blocks < SUSTAINED_BLOCKS:
        return 0.0, 0.0
    used = blocks * length
    pull = np.linalg.norm(acc[:used].reshape(blocks, length, 3).mean(axis=1), axis=1)
    turn = np.sqrt((gyr_size[:used].reshape(blocks, length) ** 2).mean(axis=1))
    hardest = np.argpartition(pull, blocks - SUSTAINED_BLOCKS)[-SUSTAINED_BLOCKS:]
    return float(np.median(pull[hardest])), float(np.median(turn[hardest]))


def motions(acc: FloatArray, gyr: FloatArray, period: float) -> Motions:
    """Characteristic sizes of (N, 3) acceleration and turning rate; period in s."""
    acc_size = np.sqrt(np.einsum("ij,ij->i", acc, acc))
    gyr_size = np.sqrt(np.einsum("ij,ij->i", gyr, gyr))
    count = max(int(len(gyr_size) * REST_SHARE), 1)
    slow = np.argpartition(gyr_size, count - 1)[:count]
    return Motions(
        float(np.median(acc_size[slow])),
        float(np.median(gyr_size[slow])),
        _top(acc_size),
        _top(gyr_size),
        *_sustained(acc, gyr_size, period),
    )


def check_acceleration_unit(found: Motions, columns: ColumnMap, where: str) -> None:
    """Near rest an accelerometer shows gravity, whatever else it does."""
    declared = columns.units["acc"]
    rest = found.rest_acc / STANDARD_GRAVITY
    if REST_LOW <= rest <= REST_HIGH:
        return
    scales = QUANTITIES["acc"]
    fits = {
        unit: REST_LOW <= rest * scale / scales[declared] <= REST_HIGH
        for unit, scale in scales.items()
    }
    seen = f"{where}: near rest the acceleration is {found.rest_acc:.3g} m/s² instead of 9.81"
    if REST_LOW <= found.rest_gyr / STANDARD_GRAVITY <= REST_HIGH:
        raise SwingspreadError(
            f"{seen}, while the turning rate columns hold gravity; "
            "acceleration and turning rate seem exchanged: correct the column names"
        )
    unit = other_unit("acc", declared, fits)
    if unit:
        raise SwingspreadError(
            f"{seen}; the columns seem to be in {unit}, not {declared}: "
            f'say "acc": "{unit}" under units'
        )
    if rest < 0.3:
        raise SwingspreadError(
            f"{seen}; gravity seems to have been taken out: export the raw acceleration"
        )
    raise SwingspreadError(
        f"{seen}, which fits no unit (m/s^2, g, mg); check the columns and the logger's scale"
    )


def check_rotation_unit(found: Motions, columns: ColumnMap, where: str) -> None:
    """Turning rates of swings have an upper bound, and fit the acceleration they cause."""
    declared = columns.units["gyr"]
    scales = QUANTITIES["gyr"]
    vigorous = found.sustained_acc > VIGOROUS_M_S2
    fits = {}
    for unit, scale in scales.items():
        change = scale / scales[declared]
        radius = found.sustained_acc / max(found.sustained_gyr * change, 1e-12) ** 2
        turns = not vigorous or RADIUS_LOW_M < radius < RADIUS_HIGH_M
        fits[unit] = turns and found.top_gyr * change < FASTEST_RAD_S
    if fits[declared]:
        return
    seen = f"{where}: the fastest turning is {found.top_gyr:.3g} rad/s"
    if vigorous:
        seen += f", with {found.sustained_gyr:.3g} rad/s at {found.sustained_acc:.0f} m/s²"
    unit = other_unit("gyr", declared, fits)
    if unit:
        raise SwingspreadError(
            f"{seen}; the columns seem to be in {unit}, not {declared}: "
            f'say "gyr": "{unit}" under units'
        )
    raise SwingspreadError(
        f"{seen}, which fits no unit (rad/s, deg/s, mdeg/s); "
        "check the columns and the logger's scale"
    )


def check_constant(values: FloatArray, names: tuple[str, ...], where: str) -> str:
    """Refuse a sensor whose three axes never change; a sentence for a single such axis.

    values : (N, 3). names : of the three columns. Raises SwingspreadError.
    """
    still = [name for name, axis in zip(names, values.T, strict=True) if np.ptp(axis) == 0.0]
    if len(still) == len(names):
        raise SwingspreadError(
            f"{where}: columns {', '.join(names)} hold the same number in every row; "
            "the sensor was off, or these are the wrong columns"
        )
    return f"column {still[0]} holds the same number in every row" if still else ""


def check_gravity(
    time: FloatArray, acc: FloatArray, gyr: FloatArray, columns: ColumnMap, where: str
) -> None:
    """Between rests, gravity must turn as the gyroscope says: its unit and its signs.

    time : (N,) s. acc, gyr : (N, 3), as if the declared units were right. Raises SwingspreadError
    naming the unit or sign that would fit.
    """
    declared = columns.units["gyr"]
    scales = {unit: size / columns.factor("gyr") for unit, size in QUANTITIES["gyr"].items()}
    errors = gravity_errors(time, acc, gyr, scales | {"reversed": -1.0})
    better = better_scale(errors, declared)
    if errors is None or not better:
        return
    seen = (
        f"{where}: between rests gravity turns otherwise than the gyroscope says, by "
        f"{errors[declared] / DEG:.0f}°, but by {errors[better] / DEG:.0f}° only if its"
    )
    if better == "reversed":
        raise SwingspreadError(
            f"{seen} signs are reversed; say so in a column map, for example "
            f'"gx": "-{columns.columns["gx"]}", and for gy and gz alike'
        )
    raise SwingspreadError(
        f'{seen} unit is {better}, not {declared}: say "gyr": "{better}" under units'
    )


def check_spikes(values: FloatArray, names: tuple[str, ...], where: Where) -> None:
    """Refuse a lone value beyond anything else in its (N, 3) columns, naming its row."""
    sizes = np.abs(values).max(axis=1)
    rank = len(sizes) - max(len(sizes) // 1000, 3)
    ordinary = np.partition(sizes, rank)[rank]
    row = int(np.argmax(sizes))
    if sizes[row] > SPIKE * ordinary > 0.0:
        axis = int(np.argmax(np.abs(values[row])))
        raise SwingspreadError(
            f"{where(row, names[axis])}: {values[row, axis]:.6g} is more than {SPIKE:g} times "
            "all other values; mend it, or take out the row, seq marks the loss"
        )


def check_ranges(stream: Stream) -> list[str]:
    """Sentences on samples at or beyond the declared full scales."""
    notes = []
    for word, values, limit in (
        ("accelerometer", stream.acc, stream.acc_range),
        ("gyroscope", stream.gyr, stream.gyr_range),
    ):
        largest = float(np.abs(values).max())
        if not np.isfinite(limit):
            continue
        if largest > 1.05 * limit:
            notes.append(
                f"the {word} reads {largest / limit:.2g} times its declared range; "
                "check the range in the meta file"
            )
        elif largest > 0.999 * limit:
            count = int(np.count_nonzero((np.abs(values) > 0.999 * limit).any(axis=1)))
            notes.append(f"{counted(count, 'sample')} at the end of the {word}'s range (clipped)")
    return notes


def check_distinct(first: Stream, second: Stream) -> None:
    """Refuse the same samples given for two sensors under two file names."""
    if np.array_equal(first.acc, second.acc) and np.array_equal(first.gyr, second.gyr):
        raise SwingspreadError(
            f"the files for {first.role} and {second.role} hold the very same samples; "
            "one is a copy of the other, give each sensor its own file"
        )


def check_order(forearm: Motions, club: Motions, files: tuple[str, str]) -> str:
    """Is the supposed club the one that turns faster and is struck harder?

    Raises SwingspreadError when the evidence for exchanged sensors is strong; returns a
    sentence when the turning rate alone speaks for it.
    """
    if min(forearm.top_gyr, club.top_gyr) < SWING_RATE_RAD_S:
        return ""
    rate, shock = forearm.top_gyr / club.top_gyr, forearm.top_acc / club.top_acc
    if rate > CLEARLY and shock > CLEARLY:
        raise SwingspreadError(
            f"{files[0]} (forearm) and {files[1]} (club) seem swapped: the supposed forearm turns "
            f"{rate:.1f} times as fast as the supposed club and is shaken {shock:.1f} times as "
            "hard; use --swap to exchange the files, or --keep-order if they are right"
        )
    if rate > CLEARLY:
        return (
            f"the forearm turns {rate:.1f} times as fast as the club, which is unusual; "
            "are the sensors swapped?"
        )
    return ""

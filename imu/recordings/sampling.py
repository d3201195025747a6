"""Sample numbers and sensor time: made whole, checked against each other, losses found.

Counters that ran over (16- or 32-bit) are continued. A clock that stands still or goes back is
an error. Sample numbers are trusted, except where the clock shows that they only count rows;
then the missing numbers are taken from the clock.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from imu.errors import SwingspreadError
from imu.number_words import counted
from imu.recordings.csv_file import is_whole
from imu.types import FloatArray, IntArray

LONGEST_GAP_S = 600.0
"""A longer silence separates two recordings."""
FARTHEST_LEAP = 1000
"""Sample numbers may run ahead of the clock by this much before they are refused."""

Where = Callable[[int, str], str]
"""Words for a row (from 0) and a column of the file at hand."""


def unwrap_counter(values: FloatArray) -> tuple[FloatArray, int]:
    """Continue a whole-number counter past its 16- or 32-bit end.

    Returns the continued counter and how often it ran over. A fall counts as an overrun only
    when it lies within a quarter of the counter's range of a full turn.
    """
    if len(values) < 2 or not is_whole(values) or values.min() < 0:
        return values, 0
    for bits in (16, 32):
        turn = 2.0**bits
        step = np.diff(values)
        falls = step < 0
        if values.max() < turn and falls.any() and np.all(step[falls] + turn < turn / 4):
            turns = np.concatenate([[0.0], np.cumsum(falls)])
            return values + turn * turns, int(turns[-1])
    return values, 0


def check_increasing(values: FloatArray, column: str, where: Where) -> None:
    """Refuse a clock (N,) that stands still or goes back: SwingspreadError at the first row."""
    (bad,) = np.nonzero(np.diff(values) <= 0)
    if not len(bad):
        return
    row = int(bad[0]) + 1
    before, now = values[row - 1], values[row]
    if len(bad) > len(values) // 10:
        raise SwingspreadError(
            f"{where(row, column)}: here and at {len(bad) - 1} other rows time does not go on; "
            "sort the rows by time"
        )
    if now == before:
        mend = "take out doubled rows, or export the clock with more digits"
        raise SwingspreadError(f"{where(row, column)}: time stands still at {now:.15g}; {mend}")
    if now < before / 2 or now <= 0 < before:
        mend = "the sensor seems to have restarted: cut the file here into two recordings"
    else:
        mend = "sort the rows by time, or take out the rows out of order"
    raise SwingspreadError(
        f"{where(row, column)}: time goes back from {before:.15g} to {now:.15g}; {mend}"
    )


def check_gaps(time: FloatArray, column: str, where: Where) -> None:
    """Refuse a clock (s) that jumps on further than any loss within one recording."""
    steps = np.diff(time)
    (bad,) = np.nonzero(steps > max(LONGEST_GAP_S, 1000.0 * sample_period(time)))
    if len(bad):
        row = int(bad[0]) + 1
        raise SwingspreadError(
            f"{where(row, column)}: time jumps on by {steps[bad[0]]:.6g} s; mend the value, or "
            "cut the file here into two recordings"
        )


def check_agreement(seq: IntArray, time: FloatArray, column: str, where: Where) -> None:
    """Refuse a sample number that leaps while the clock (s) hardly goes on."""
    steps, elapsed = np.diff(seq), np.diff(time) / sample_period(time)
    (bad,) = np.nonzero((steps - elapsed > FARTHEST_LEAP) & (steps > 2.0 * elapsed))
    if len(bad):
        row = int(bad[0]) + 1
        raise SwingspreadError(
            f"{where(row, column)}: sample number leaps by {steps[bad[0]]} while the clock goes on "
            f"by {1e3 * (time[row] - time[row - 1]):.4g} ms; mend the number, or map "
            '"seq" to null'
        )


def check_sample_numbers(values: FloatArray, column: str, where: Where) -> IntArray:
    """Sample numbers (N,) as integers, strictly increasing.

    Raises SwingspreadError naming the first row where they are not.
    """
    if not is_whole(values):
        row = int(np.flatnonzero((values != np.rint(values)) | (np.abs(values) >= 2.0**53))[0])
        raise SwingspreadError(
            f"{where(row, column)}: sample number {values[row]:.15g} is not whole, "
            "or far too large; is this the right column?"
        )
    (bad,) = np.nonzero(np.diff(values) <= 0)
    if len(bad):
        row = int(bad[0]) + 1
        if values[row] == values[row - 1]:
            raise SwingspreadError(
                f"{where(row, column)}: sample number {values[row]:.0f} is there twice; "
                "take out the doubled row"
            )
        raise SwingspreadError(
            f"{where(row, column)}: sample number falls from {values[row - 1]:.0f} to "
            f"{values[row]:.0f}; sort the rows, or cut the file where the sensor restarted"
        )
    return values.astype(np.int64)


def sample_period(time: FloatArray) -> float:
    """Time between samples, s: the mean of the steps that are no longer than usual."""
    return _usual_step(np.diff(time))


def _usual_step(steps: FloatArray) -> float:
    # the median alone is off by the jitter; the mean of neighbours cancels it
    return float(np.mean(steps[steps < 1.5 * np.median(steps)]))


def numbers_from_clock(time: FloatArray) -> IntArray:
    """(N,) sample numbers that a clock (N,) in s implies: one a period, at least one a row."""
    period = sample_period(time)
    for _ in range(3):  # a better period from the numbers, better numbers from the period
        steps = np.maximum(np.rint(np.diff(time) / period), 1.0)
        numbers = np.concatenate([[0.0], np.cumsum(steps)])
        spread = numbers - numbers.mean()
        period = float(spread @ (time - time.mean()) / (spread @ spread))
    return numbers.astype(np.int64)


def reconcile(seq: IntArray, time: FloatArray) -> tuple[IntArray, str]:
    """Sample numbers (N,) that agree with the clock (N,) in s, and a sentence when mended.

    A step of the clock that is longer than the numbers say, by three quarters of a period and
    by 2 % of the step, hides lost samples: the later numbers are moved on.
    """
    steps = np.diff(seq)
    usual = steps == 1
    if not usual.any():
        return seq, "sample numbers never rise by one; losses cannot be told from them"
    period = _usual_step(np.diff(time)[usual])
    elapsed = np.diff(time) / period
    hidden = np.rint(elapsed - steps)
    hidden[(elapsed - steps < 0.75) | (hidden < 0.02 * elapsed)] = 0
    if hidden.any():
        moved = seq + np.concatenate([[0], np.cumsum(hidden)]).astype(np.int64)
        return moved, (
            f"{counted(int(hidden.sum()), 'sample')} missing by the sensor's clock that the sample "
            "numbers do not show; the numbers were moved on there"
        )
    ahead = steps - elapsed
    odd = int(np.count_nonzero((ahead > 2) & (ahead > 0.05 * steps)))
    if odd:
        return seq, (
            f"sample numbers jump ahead of the sensor's clock at {counted(odd, 'place')}; "
            "losses there may be overstated"
        )
    return seq, ""


def describe_losses(seq: IntArray, time: FloatArray) -> str:
    """A sentence on lost samples by their numbers and times (N,) in s; "" when there are none."""
    steps = np.diff(seq)
    lost = steps - 1
    total = int(lost.sum())
    if total == 0:
        return ""
    gaps = int(np.count_nonzero(lost))
    part = 100.0 * total / (len(seq) + total)
    longest = float(np.diff(time)[lost > 0].max()) * 1e3
    lost_words = f"{counted(total, 'sample')} lost in {counted(gaps, 'gap')}"
    return f"{lost_words} ({part:.2g} %), the longest {longest:.0f} ms"

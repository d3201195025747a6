"""The strike: its shock in the club's acceleration, its onset between samples, its error.

A struck ball shakes the club within a millisecond or two; swing forces, however high, change
smoothly, an unbending shaft shivers slowly, and a clipped axis merely stands still. So each
sample is held against the parabola through the three before it: its *jump* is what that did
not foretell. A strike's jumps stand out from those before it and are in proportion to the
speed of the club.

The onset is read between samples, on a logarithmic scale, since a low-pass filter rounds a
shock's beginning roughly so: the moment the acceleration is away from what the samples before the
shock foretold by a fifth of its first height. An anti-alias filter with its corner at 0.25 to 0.4
of the sampling rate delays by 0.5 to 0.7 of a sampling interval; about that is taken off. What
stays unknown of the filter, the strike's own shape and the sampling are in the standard error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imu.types import FloatArray, Stream

BEFORE = 3
"""Samples before each sample whose parabola foretells it."""

LOSS = 1.8
"""Sampling intervals from one sample to the next that mean a loss."""

LEAST_SHOCK = 5.0
"""m/s². A jump below this is never taken for a strike."""

SHOCK_PER_RATE = 1.0
"""m/s² for each rad/s of club rate: a strike's jump grows with the speed of the head. Swings
without a ball stay below a half, the shaft's unbending included; strikes lie above two."""

SHARPNESS = 6.0
"""How many times the usual jump before it (the median) a strike must reach."""

QUIET_BEFORE = 0.012
"""s before the greatest jump that may already belong to the shock."""

CLEAR_PART = 0.2
"""Part of the greatest jump from which a sample surely belongs to the shock."""

LOOK_EARLIER = 4
"""Samples before the first clear one in which the shock may already have begun."""

FIRST_HEIGHT = 0.004
"""s after the first jump within which the shock's first height is read."""

TOUCHED = 12.0
"""How many times the noise a jump must reach to be the shock's first."""

FORETELLING = 5
"""Samples before the first touched one that foretell what the shock's are held against."""

ONSET_PART = 0.2
"""Part of the first height at which the onset is read."""

DELAY_ERROR = 0.0003
"""s, standard error from the unknown delay of the sensor's filter and the shape of the shock."""

FILTER_LAG = 0.5
"""Lag of that point behind the strike, as a part of the sampling interval."""

TRAVEL = 0.0002
"""s for the shock to run up a metre of shaft (about 5000 m/s in steel and carbon)."""

STEP_ERROR = 0.3
"""Standard error from sampling and filter, as a part of the interval (even spread: 0.29)."""


@dataclass(frozen=True)
class Strike:
    """A shock: onset (s, recording time), its standard error (s) and size (m/s²).

    lost : its samples are missing; ``time`` is the middle of the loss.
    """

    time: float
    time_se: float
    size: float
    lost: bool = False


def find_strike(stream: Stream, begin: float, end: float, club_rate: float) -> Strike | None:
    """The strike between two times, or None when there is none.

    stream : the club's, in recording time. club_rate : rad/s, greatest club rate near, against
    which the size of the shock is judged.
    """
    first = max(int(np.searchsorted(stream.time, begin)) - 2 * BEFORE, 0)
    stop = int(np.searchsorted(stream.time, end))
    if stop - first < 6 * BEFORE:
        return None
    time, acc = stream.time[first:stop], stream.acc[first:stop]
    jump = jumps(time, acc)
    inside = time >= begin
    greatest = int(np.argmax(np.where(inside, jump, 0.0)))
    quiet = inside & (time < time[greatest] - QUIET_BEFORE)
    usual = float(np.median(jump[quiet])) if quiet.any() else 0.0
    if jump[greatest] < max(LEAST_SHOCK, SHOCK_PER_RATE * club_rate, SHARPNESS * usual):
        return None
    # The greatest jump may be in the ringing; the onset is in the first of its run.
    clear = max(CLEAR_PART * float(jump[greatest]), SHARPNESS * usual)
    run = np.flatnonzero(inside & (jump >= min(clear, float(jump[greatest]))))
    run = run[(time[run] > time[greatest] - QUIET_BEFORE) & (run <= greatest)]
    shock = int(run[0])
    return _after_gap(time, shock) or _onset(time, acc, jump, shock, usual)


def _after_gap(time: FloatArray, shock: int) -> Strike | None:
    """A strike first seen right after lost samples happened somewhere among them."""
    step = np.diff(time[max(shock - BEFORE - 2, 0) : shock + 1])
    usual = float(np.median(np.diff(time)))
    longest = int(np.argmax(step))
    if step[longest] < LOSS * usual:
        return None
    begin = float(time[max(shock - BEFORE - 2, 0) + longest])
    end = float(time[shock])
    return Strike(0.5 * (begin + end), (end - begin) / math.sqrt(12.0), math.inf, lost=True)


def _onset(
    time: FloatArray, acc: FloatArray, jump: FloatArray, shock: int, usual: float
) -> Strike | None:
    """Onset of the shock whose first clear sample is ``shock``."""
    first = max(shock - LOOK_EARLIER, BEFORE)
    noise = max(usual, 1e-3 * float(jump[first : shock + 1].max()))
    (beyond,) = np.nonzero(jump[first : shock + 1] > TOUCHED * noise)
    touched = first + int(beyond[0]) if len(beyond) else shock
    stop = int(np.searchsorted(time, time[touched] + FIRST_HEIGHT, side="right"))
    away = _away(time, acc, touched, max(stop, touched + 2))
    height = float(away.max())
    level = max(ONSET_PART * height, 4.0 * noise)
    (over,) = np.nonzero(away > level)
    if len(over) == 0:
        return None
    place = touched + int(over[0])
    step = float(time[place] - time[place - 1])
    before = float(jump[place - 1]) if place == touched else float(away[over[0] - 1])
    low, high = max(before, noise), float(away[over[0]])
    share = math.log(level / low) / math.log(high / low) if low < level else 0.5
    usual_step = float(np.median(np.diff(time)))
    moment = float(time[place - 1]) + share * step - FILTER_LAG * usual_step - TRAVEL
    return Strike(moment, math.hypot(STEP_ERROR * step, DELAY_ERROR), height)


def _away(time: FloatArray, acc: FloatArray, touched: int, stop: int) -> FloatArray:
    """(stop − touched,) m/s², distance from what the samples before ``touched`` foretold.

    Unlike a jump it does not forget: what is foretold stays free of the shock.
    """
    base = slice(max(touched - FORETELLING, 0), touched)
    origin = float(time[touched])
    parabola = np.polynomial.polynomial.polyfit(time[base] - origin, acc[base], 2)
    foretold = np.polynomial.polynomial.polyval(time[touched:stop] - origin, parabola).T
    missed = acc[touched:stop] - foretold
    return np.sqrt(np.einsum("ij,ij->i", missed, missed))


def jumps(time: FloatArray, acc: FloatArray) -> FloatArray:
    """(N,) m/s², distance of each sample from the parabola through the three before it.

    Zero where nothing can be foretold: the first samples, and those soon after a gap.
    """
    a, b, c = (time[BEFORE - back : len(time) - back] - time[BEFORE:] for back in (3, 2, 1))
    # Lagrange weights of the three past samples at the present one.
    weights = (
        b * c / ((a - b) * (a - c)),
        a * c / ((b - a) * (b - c)),
        a * b / ((c - a) * (c - b)),
    )
    missed = acc[BEFORE:].copy()
    for weight, back in zip(weights, (3, 2, 1), strict=True):
        missed -= weight[:, None] * acc[BEFORE - back : len(time) - back]
    jump = np.zeros(len(time))
    jump[BEFORE:] = np.sqrt(np.einsum("ij,ij->i", missed, missed))
    step = np.diff(time)
    for place in np.flatnonzero(step > LOSS * float(np.median(step))):
        jump[place + 1 : place + 1 + BEFORE] = 0.0
    return jump

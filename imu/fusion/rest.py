"""Spells of rest in one sensor's stream: when gravity and the gyroscope's bias can be read.

A sensor on a table is still; a golfer at address is nearly so: the rate wanders by some degrees
a second and the acceleration by a metre per second squared, about a mean that is worth having.
So the threshold follows the stream's own quietest moments, between physical bounds, and each
spell carries the standard error of its means.

Quiet: over a sliding window the rms of the rate (bias taken off) and the spread of the
acceleration are both low; in the manner of the stance detectors compared by Skog, Händel,
Nilsson & Rantakokko (2010, IEEE Trans Biomed Eng 57:2657-2666).

Means are tapered (sin² over the spell), which sets little store by the ends, where the movement
before and after leaks in, and averages sway out faster than a plain mean.

Standard errors: while a body sways, its angle and its velocity stay bounded, so the mean rate
over T seconds is off by about √2·σ_angle/T and the mean acceleration by √2·σ_velocity/T; white
noise adds σ/√n. Treating swaying samples as independent would claim far too much. Slow turning
of the whole body hides within a spell but shows between spells: they scatter by an angle κ/T
more than their own errors, with κ read off the median spell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from imu.fusion.runs import runs
from imu.types import BoolArray, FloatArray, IntArray, frozen_array
from imu.units import DEG


@dataclass(frozen=True)
class RestSettings:
    """What counts as rest.

    window : s, length of the sliding window, and the shortest spell kept.
    still_rate, still_acceleration : rms rate in rad/s and spread of acceleration in m/s², over
    what the sensor's noise explains, below which a sensor is *still* (on a table, clamped).
    nearly_rate, nearly_acceleration : the most that may still pass for *nearly still*.
    quiet_share : the share of the stream taken as its quietest, which sets the level to follow.
    quiet_factor : how far above that level still counts as rest.
    largest_bias : rad/s an axis; an even rate beyond it is turning, whatever its spread.
    """

    window: float = 0.3
    still_rate: float = 1.0 * DEG
    still_acceleration: float = 0.1
    nearly_rate: float = 12.0 * DEG
    nearly_acceleration: float = 3.0
    quiet_share: float = 0.05
    quiet_factor: float = 2.0
    largest_bias: float = 15.0 * DEG


@dataclass(frozen=True, eq=False)
class RestSpells:
    """R spells of rest, in order of time.

    span : (R, 2) s, first and last sample. samples : (R, 2) index, [start, end).
    acc, acc_se : (R, 3) m/s², mean specific force and its standard error.
    gyr, gyr_se : (R, 3) rad/s, mean rate (the bias, were the body wholly at rest) and its error.
    sway_velocity : (R,) m/s, rms velocity about the mean seen by the accelerometer.
    still : (R,) True where nothing but sensor noise was seen; False: nearly still.
    """

    span: FloatArray
    samples: IntArray
    acc: FloatArray
    acc_se: FloatArray
    gyr: FloatArray
    gyr_se: FloatArray
    sway_velocity: FloatArray
    still: BoolArray

    def __post_init__(self) -> None:
        size = len(self.span)
        for name, shape, dtype in (
            ("span", (size, 2), np.float64),
            ("samples", (size, 2), np.int64),
            ("acc", (size, 3), np.float64),
            ("acc_se", (size, 3), np.float64),
            ("gyr", (size, 3), np.float64),
            ("gyr_se", (size, 3), np.float64),
            ("sway_velocity", (size,), np.float64),
            ("still", (size,), np.bool_),
        ):
            object.__setattr__(
                self, name, frozen_array(getattr(self, name), shape, dtype, name=name)
            )

    def __len__(self) -> int:
        return len(self.span)

    @property
    def duration(self) -> FloatArray:
        """(R,) s."""
        length: FloatArray = self.span[:, 1] - self.span[:, 0]
        return length


def rest_spells(
    time: ArrayLike, acc: ArrayLike, gyr: ArrayLike, settings: RestSettings | None = None
) -> RestSpells:
    """Find the spells of rest in a stream.

    time : (N,) s, increasing. acc : (N, 3) m/s². gyr : (N, 3) rad/s, bias and all.
    Spells never reach across a gap of more than half a window. A stream that never comes to
    rest gives no spells. Slow turning about the vertical at an even rate cannot be told from
    bias by one sensor; it is refused when it differs from the rate in the other quiet spells.
    Raises ValueError on wrong shapes.
    """
    chosen = settings or RestSettings()
    clock = np.asarray(time, dtype=np.float64)
    force = np.asarray(acc, dtype=np.float64)
    rates = np.asarray(gyr, dtype=np.float64)
    size = len(clock)
    if force.shape != (size, 3) or rates.shape != (size, 3):
        raise ValueError(f"acc, gyr: expected shape ({size}, 3), got {force.shape}, {rates.shape}")
    if size < 4 or clock[-1] - clock[0] < chosen.window:
        return _describe(clock, force, rates, np.empty((0, 2), dtype=np.int64), 0.0, 0.0, chosen)
    bins = _Bins.of(clock, force, rates, chosen.window)
    if len(bins.count) == 0:
        return _describe(clock, force, rates, np.empty((0, 2), dtype=np.int64), 0.0, 0.0, chosen)
    noise_rate, noise_force = _sensor_noise(force, rates, bins)
    rate, force_spread = _levels(bins, noise_rate, noise_force, chosen)
    quiet = (rate.value <= rate.limit) & (force_spread.value <= force_spread.limit)
    mild = (rate.value <= rate.mild) & (force_spread.value <= force_spread.mild)
    spans = bins.spells(quiet, mild)
    return _describe(clock, force, rates, spans, noise_rate, noise_force, chosen)


_BINS_IN_WINDOW = 6
_FEWEST_TO_COMPARE = 4
_FINEST_RATE = 1e-6  # rad/s and
_FINEST_FORCE = 1e-5  # m/s², the least standard error ever stated
_USUAL_TURN = 0.2 * DEG  # κ where there are too few spells to read it off
_MEDIAN_CHI2_3 = 2.366  # median of chi-squared with three degrees of freedom


@dataclass(frozen=True, eq=False)
class _Bins:
    """Sums over short bins; windows of six bins slide over them."""

    start: IntArray  # (K,) first sample of each bin
    end: IntArray  # (K,) one past the last
    count: FloatArray  # (W,) samples in each window
    whole: BoolArray  # (W,) no gap within
    mean: FloatArray  # (W, 6) acc and gyr
    square: FloatArray  # (W, 6) mean squares

    @classmethod
    def of(cls, time: FloatArray, acc: FloatArray, gyr: FloatArray, window: float) -> _Bins:
        width = window / _BINS_IN_WINDOW
        # A quarter of a sample early, so that rounding of the clock cannot move a sample across.
        early = 0.25 * float(np.median(np.diff(time)))
        number = np.floor((time - time[0] + early) / width)
        edges = np.concatenate([[0], np.flatnonzero(np.diff(number)) + 1, [len(time)]])
        start, end = edges[:-1], edges[1:]
        both = np.concatenate([acc, gyr], axis=1)
        step = np.diff(time, append=time[-1])
        gap = step > max(0.5 * window, 4.0 * float(np.median(step)))
        sums = np.concatenate(
            [
                np.add.reduceat(both, start, axis=0),
                np.add.reduceat(both * both, start, axis=0),
                (end - start)[:, None],
                np.add.reduceat(gap.astype(np.float64), start)[:, None],
            ],
            axis=1,
        )
        # NaN samples spoil their own windows only: they are counted as a gap.
        broken = ~np.isfinite(sums).all(axis=1)
        sums[broken] = 0.0
        sums[broken, -1] = 1.0
        running = np.concatenate([np.zeros((1, sums.shape[1])), np.cumsum(sums, axis=0)])
        total = running[_BINS_IN_WINDOW:] - running[:-_BINS_IN_WINDOW]
        count = total[:, 12]
        safe = np.maximum(count, 1.0)[:, None]
        return cls(
            start,
            end,
            count,
            (total[:, 13] < 0.5) & (count >= 4),
            total[:, :6] / safe,
            total[:, 6:12] / safe,
        )

    def spells(self, quiet: BoolArray, mild: BoolArray) -> IntArray:
        """Samples [start, end) of the runs of bins that some quiet window covers.

        Two runs at most two windows apart are one when the windows between are ``mild``: a slow
        sway is quickest in the middle.
        """
        inside = self._covered(quiet & self.whole)
        allowed = self._covered(mild & self.whole)
        for left, right in runs(~inside):
            between = left > 0 and right < len(inside) and right - left <= 2 * _BINS_IN_WINDOW
            if between and allowed[left:right].all():
                inside[left:right] = True
        begin, stop = runs(inside).T
        return np.column_stack([self.start[begin], self.end[stop - 1]]).astype(np.int64)

    def _covered(self, windows: BoolArray) -> BoolArray:
        """(K,) True for bins within any of the windows."""
        change = np.zeros(len(self.start) + 1)
        (first,) = np.nonzero(windows)
        np.add.at(change, first, 1.0)
        np.add.at(change, first + _BINS_IN_WINDOW, -1.0)
        return np.cumsum(change[:-1]) > 0.5


def weighted_median(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Median of each column of ``values`` (R, C), the rows weighing ``weight`` (R, C or 1)."""
    order = np.argsort(values, axis=0)
    mass = np.cumsum(np.take_along_axis(np.broadcast_to(weight, values.shape), order, 0), axis=0)
    middle = np.argmax(mass >= 0.5 * mass[-1], axis=0)
    median: FloatArray = np.take_along_axis(values, order, 0)[middle, np.arange(values.shape[1])]
    return median


def _sensor_noise(acc: FloatArray, gyr: FloatArray, bins: _Bins) -> tuple[float, float]:
    """Noise rms (three axes together) of rate and acceleration, from second differences.

    Motion hardly moves second differences at hundreds of samples a second; the quietest tenth
    of the windows leaves out what does.
    """
    noise = []
    for values in (gyr, acc):
        second = np.diff(values, n=2, axis=0)
        # White noise of variance s² has second differences of variance 6 s².
        power = np.concatenate([np.sum(second * second, axis=1) / 6.0, [0.0, 0.0]])
        power[~np.isfinite(power)] = 0.0
        running = np.concatenate([[0.0], np.cumsum(np.add.reduceat(power, bins.start))])
        total = running[_BINS_IN_WINDOW:] - running[:-_BINS_IN_WINDOW]
        mean = total[bins.whole] / bins.count[bins.whole]
        noise.append(float(np.sqrt(np.quantile(mean, 0.1))) if mean.size else 0.0)
    return noise[0], noise[1]


@dataclass(frozen=True, eq=False)
class _Level:
    """Restlessness of each window, the limit below which it is rest, and a milder one."""

    value: FloatArray
    limit: float
    mild: float


def _levels(
    bins: _Bins, noise_rate: float, noise_force: float, settings: RestSettings
) -> tuple[_Level, _Level]:
    """Levels of the rate and of the force."""
    variance = np.maximum(bins.square - bins.mean**2, 0.0)
    force = np.sqrt(variance[:, :3].sum(axis=1))
    spread = np.sqrt(variance[:, 3:].sum(axis=1))
    slow = np.abs(bins.mean[:, 3:]).max(axis=1) <= settings.largest_bias
    usable = bins.whole & slow
    if not np.any(usable):
        return _Level(spread, -1.0, -1.0), _Level(force, -1.0, -1.0)
    # The quietest windows by spread alone hold the bias between them, but a slow sway is steady at
    # its quickest: so the median over all that may be rest, the steadier the heavier.
    maybe = usable & (spread <= np.hypot(settings.nearly_rate, 1.2 * noise_rate))
    maybe &= force <= np.hypot(settings.nearly_acceleration, 1.2 * noise_force)
    if not np.any(maybe):
        return _Level(spread, -1.0, -1.0), _Level(force, -1.0, -1.0)
    weight = 1.0 / (spread[maybe] ** 2 + settings.still_rate**2)
    bias = weighted_median(bins.mean[maybe, 3:], weight[:, None])
    rate = np.sqrt(variance[:, 3:].sum(axis=1) + np.sum((bins.mean[:, 3:] - bias) ** 2, axis=1))
    unrest = rate / settings.nearly_rate + force / settings.nearly_acceleration
    unrest[~usable] = np.inf
    quietest = round(settings.quiet_share * np.count_nonzero(bins.whole))
    calm = np.isfinite(unrest) & (unrest <= np.partition(unrest, quietest)[quietest])
    rate[~slow] = np.inf
    levels = []
    for values, still, nearly, noise in (
        (rate, settings.still_rate, settings.nearly_rate, noise_rate),
        (force, settings.still_acceleration, settings.nearly_acceleration, noise_force),
    ):
        usual = settings.quiet_factor * float(np.median(values[calm]))
        most = float(np.hypot(nearly, 1.2 * noise))
        limit = min(max(usual, float(np.hypot(still, 1.2 * noise))), most)
        levels.append(_Level(values, limit, min(settings.quiet_factor * limit, most)))
    return levels[0], levels[1]


def _describe(
    time: FloatArray,
    acc: FloatArray,
    gyr: FloatArray,
    spans: IntArray,
    noise_rate: float,
    noise_force: float,
    settings: RestSettings,
) -> RestSpells:
    number = len(spans)
    acc_mean, acc_se, gyr_mean, gyr_se = np.empty((4, number, 3))
    velocity, duration = np.empty((2, number))
    still = np.empty(number, dtype=np.bool_)
    for row, (start, end) in enumerate(spans):
        clock = time[start:end]
        both = np.concatenate([acc[start:end], gyr[start:end]], axis=1)
        mean, error, bound, spread = _bounded_mean(clock, both)
        acc_mean[row], gyr_mean[row] = mean[:3], mean[3:]
        acc_se[row], gyr_se[row] = error[:3], error[3:]
        acc_rms, gyr_rms = np.sqrt(spread[:3].sum()), np.sqrt(spread[3:].sum())
        velocity[row] = np.linalg.norm(bound[:3])
        duration[row] = clock[-1] - clock[0]
        still[row] = gyr_rms <= np.hypot(settings.still_rate, 1.2 * noise_rate) and (
            acc_rms <= np.hypot(settings.still_acceleration, 1.2 * noise_force)
        )
    # Noise-free streams have errors of zero, which no estimator can weigh.
    acc_se, gyr_se = np.maximum(acc_se, _FINEST_FORCE), np.maximum(gyr_se, _FINEST_RATE)
    moved = ~still
    if np.any(moved):
        turn = _usual_turn(gyr_mean[moved], gyr_se[moved], duration[moved])
        gyr_se[moved] = np.hypot(gyr_se[moved], turn / duration[moved][:, None])
    return RestSpells(
        span=np.column_stack([time[spans[:, 0]], time[spans[:, 1] - 1]]),
        samples=spans,
        acc=acc_mean,
        acc_se=acc_se,
        gyr=gyr_mean,
        gyr_se=gyr_se,
        sway_velocity=velocity,
        still=still,
    )


def _usual_turn(mean: FloatArray, error: FloatArray, duration: FloatArray) -> float:
    """Angle κ (rad, an axis) by which nearly still spells scatter beyond their own errors."""
    if len(mean) < _FEWEST_TO_COMPARE:
        return _USUAL_TURN
    apart = np.sum((mean - np.median(mean, axis=0)) ** 2, axis=1)
    excess = np.median((apart - np.sum(error**2, axis=1)) * duration**2) / _MEDIAN_CHI2_3
    return float(np.sqrt(max(excess, 0.0)))


def _bounded_mean(
    time: FloatArray, values: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Tapered mean of swaying quantities (N, C), its error, rms of the integral, mean square."""
    step = np.diff(time, append=2 * time[-1] - time[-2])
    length = time[-1] - time[0] + step[-1]
    phase = (time - time[0] + 0.5 * step) / length
    weight = np.sin(np.pi * phase) ** 2 * step
    weight /= weight.sum()
    mean = weight @ values
    rest = values - mean
    integral = np.cumsum(rest * step[:, None], axis=0)
    bound = np.sqrt(weight @ (integral - weight @ integral) ** 2)
    # Successive differences see white noise and hardly the sway.
    white = np.sum(np.diff(values, axis=0) ** 2, axis=0) / (2.0 * len(values))
    error = np.sqrt(2.0 * (bound / length) ** 2 + white * np.sum(weight**2))
    return mean, error, bound, np.mean(rest * rest, axis=0)

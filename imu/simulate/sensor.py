"""A modelled inertial sensor: from the exact movement to samples as they reach the host.

In the order of the physics: mounting and place on the segment, shaft bending and shocks, scale
and cross-axis errors, bias, clipping at full scale, low-pass filter (second-order Butterworth,
so that clipped samples may come out below full scale), sampling on the sensor's own clock,
white noise, rounding, packets, radio losses, arrival times with host stalls.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.signal import butter, lfilter, lfilter_zi
from scipy.spatial.transform import Rotation

from imu.simulate.kinematics import Body, into
from imu.simulate.paths import smooth_noise
from imu.simulate.profiles import SensorDraw
from imu.simulate.setup_faults import Wobble
from imu.simulate.timeline import Shock
from imu.types import CLUB, FloatArray, IntArray, Stream

MIRROR_ACC: FloatArray = np.array([1.0, -1.0, 1.0])
"""A left-handed player is the mirror image: the sensor's y is reflected …"""
MIRROR_GYR: FloatArray = np.array([-1.0, 1.0, -1.0])
"""… and angular velocity, an axial vector, changes the other two."""

_FINE = 1.0 / 8000.0
_CHUNK = 60_000
_NOMINAL_FOREARM = np.array([[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
"""Sensor to segment: sensor x distal, z outward from the back of the wrist."""

_RING = ((118.0, 0.022, 0.5), (236.0, 0.012, 0.8), (390.0, 0.006, 0.6))
"""Shaft modes after a blow: frequency Hz, decay s, share."""

_UP_THE_SHAFT = 0.0008
"""s by which a blow comes later to the forearm."""

Signal = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def mounting(draw: SensorDraw, upside_down: bool = False) -> Rotation:
    """Sensor to segment: an arbitrary roll about the long axis, then a small tilt."""
    tilt = Rotation.from_rotvec([0.0, *draw.tilt])
    mount = Rotation.from_matrix(_NOMINAL_FOREARM) * Rotation.from_euler("x", draw.roll) * tilt
    return mount * Rotation.from_euler("z", np.pi) if upside_down else mount


@dataclass(frozen=True, eq=False)
class SensorSite:
    """Where a sensor sits. mount : sensor to segment. point : (3,) m from the wrist, segment."""

    mount: Rotation
    point: FloatArray


def site(
    draw: SensorDraw, role: str, wrist_from_butt: float, upside_down: bool = False
) -> SensorSite:
    """Place of a sensor from its distances and its radial offset (outward, sensor z)."""
    mount = mounting(draw, upside_down)
    along = draw.distance if role != CLUB else -(draw.distance - wrist_from_butt)
    return SensorSite(mount, np.array([0.0, along, 0.0]) + mount.apply([0.0, 0.0, draw.radial]))


def ideal_signal(
    body: Body,
    place: SensorSite,
    role: str,
    mirrored: bool = False,
    wobbles: Sequence[Wobble] = (),
    wrong_arm: bool = False,
) -> Signal:
    """Specific force and angular rate in sensor axes, each (N, 3), as a function of time.

    wobbles : movements of the sensor against its segment: the shaft bends, skin slides, a strap
    slips. wrong_arm : the forearm's sensor sits on the trail arm.
    """

    def signal(time: FloatArray) -> tuple[FloatArray, FloatArray]:
        if role == CLUB:
            state = body.club_at(time)
        else:
            state = body.trail_forearm_at(time) if wrong_arm else body.forearm_at(time)
        force = state.force_at(place.point)
        turning, bending = list(state.rate.T), list(state.acceleration.T)
        for wobble in wobbles:
            angle, speed, faster = wobble.curve(time)
            if wobble.lever:
                # Seen from the segment the sensor moves along x: Coriolis, Euler, centripetal.
                (wx, wy, wz), (_, ay, az) = turning, bending
                aside, drift = wobble.lever * angle, wobble.lever * speed
                force = force + np.column_stack(
                    [
                        wobble.lever * faster - (wy**2 + wz**2) * aside,
                        2.0 * wz * drift + (az + wx * wy) * aside,
                        -2.0 * wy * drift + (wx * wz - ay) * aside,
                    ]
                )
            cosine, sine = np.cos(angle), np.sin(angle)
            force = np.column_stack(into(list(force.T), wobble.axis, cosine, sine))
            turning = into(turning, wobble.axis, cosine, sine)
            turning[wobble.axis] = turning[wobble.axis] + speed
        to_sensor = place.mount.as_matrix()
        acc, gyr = force @ to_sensor, np.column_stack(turning) @ to_sensor
        return (acc * MIRROR_ACC, gyr * MIRROR_GYR) if mirrored else (acc, gyr)

    return signal


def ringing(shocks: Sequence[Shock], role: str, mount: Rotation, mirrored: bool = False) -> Signal:
    """What blows add to specific force and rate, (N, 3) each in sensor axes; zero before."""
    to_sensor = mount.as_matrix()

    def signal(time: FloatArray) -> tuple[FloatArray, FloatArray]:
        acc, gyr = np.zeros((len(time), 3)), np.zeros((len(time), 3))
        for shock in shocks:
            size = shock.club if role == CLUB else shock.forearm
            since = time - shock.time - (0.0 if role == CLUB else _UP_THE_SHAFT)
            hit = (since > 0.0) & (since < 0.25)
            if size == 0.0 or not np.any(hit):
                continue
            rng = np.random.default_rng([shock.seed, role == CLUB])
            t = since[hit]
            for frequency, decay, share in _RING:
                slower = 1.0 if role == CLUB else 0.6
                wave = np.exp(-t / decay) * np.sin(2.0 * np.pi * frequency * slower * t)
                aim = rng.normal(0.0, 1.0, 3) * [1.0, 0.25, 1.0]
                acc[hit] += share * size * wave[:, None] * aim
                turn = shock.rate * (1.0 if role == CLUB else 0.15) * share
                gyr[hit] += turn * wave[:, None] * rng.normal(0.0, 0.5, 3)
        acc, gyr = acc @ to_sensor, gyr @ to_sensor
        return (acc * MIRROR_ACC, gyr * MIRROR_GYR) if mirrored else (acc, gyr)

    return signal


def _in_chunks(signal: Signal, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    parts = [signal(time[i : i + _CHUNK]) for i in range(0, len(time), _CHUNK)]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _windows(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Overlapping spans merged, in order."""
    merged: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged


def _filtered(
    exact: Signal, blows: Signal, shocks: Sequence[Shock], draw: SensorDraw, time: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Filtered signals at sampling times, and per sample whether the input was clipped.

    A smooth movement passes the filter with a pure delay; only around blows and clipped peaks
    the signal is worked out at 8 kHz and filtered for real.
    """
    acc, gyr = _in_chunks(exact, time - draw.filter_delay)
    acc, gyr = acc @ draw.acc_matrix.T + draw.acc_bias, gyr @ draw.gyr_matrix.T + draw.gyr_bias
    clipped_acc, clipped_gyr = np.zeros(len(time), bool), np.zeros(len(time), bool)
    spans = [(shock.time - 0.02, shock.time + 0.20) for shock in shocks]
    near = np.any(np.abs(acc) > 0.9 * draw.acc_range, axis=1)
    near |= np.any(np.abs(gyr) > 0.9 * draw.gyr_range, axis=1)
    spans += [(t - 0.03, t + 0.03) for t in time[near]]
    b, a = butter(2, 2.0 * draw.cutoff_hz * _FINE)
    start = lfilter_zi(b, a)
    for low, high in _windows(spans):
        fine = np.arange(low - 0.03, high, _FINE)
        inside = (time >= low) & (time < high - 2 * _FINE)
        if not np.any(inside):
            continue
        raw_acc, raw_gyr = exact(fine)
        more_acc, more_gyr = blows(fine)
        raw_acc = (raw_acc + more_acc) @ draw.acc_matrix.T + draw.acc_bias
        raw_gyr = (raw_gyr + more_gyr) @ draw.gyr_matrix.T + draw.gyr_bias
        for raw, limit, out, clipped in (
            (raw_acc, draw.acc_range, acc, clipped_acc),
            (raw_gyr, draw.gyr_range, gyr, clipped_gyr),
        ):
            held = np.clip(raw, -limit, limit)
            smooth, _ = lfilter(b, a, held, axis=0, zi=start[:, None] * held[0])
            for axis in range(3):
                out[inside, axis] = np.interp(time[inside], fine, smooth[:, axis])
            over = np.any(np.abs(raw) > limit, axis=1).astype(float)
            reach = np.interp(time[inside], fine, np.convolve(over, np.ones(8))[: len(over)])
            clipped[inside] = reach > 0.0
    return acc, gyr, clipped_acc, clipped_gyr


@dataclass(frozen=True, eq=False)
class Measured:
    """A sensor's stream, and what is true of it as plain values.

    clipped_acc, clipped_gyr : (N,) the input was beyond full scale near this sample.
    true_time : (N,) s when each sample was really taken.
    """

    stream: Stream
    true_time: FloatArray
    clipped_acc: np.ndarray[Any, np.dtype[np.bool_]]
    clipped_gyr: np.ndarray[Any, np.dtype[np.bool_]]
    lost: int
    site: SensorSite


def measure(
    body: Body,
    shocks: Sequence[Shock],
    draw: SensorDraw,
    role: str,
    duration: float,
    rng: np.random.Generator,
    wrist_from_butt: float = 0.05,
    mirrored: bool = False,
    wobbles: Sequence[Wobble] = (),
    start: float = 0.2,
    upside_down: bool = False,
    wrong_arm: bool = False,
) -> Measured:
    """Samples of one sensor from ``start`` to ``duration`` (s of true time).

    body, shocks : the movement and the blows that ring on top of it. draw : the sensor's errors.
    wrist_from_butt : m. mirrored : a left-handed player. wobbles : movements of the sensor against
    its segment. upside_down, wrong_arm : how it is strapped on wrongly.
    """
    place = site(draw, role, wrist_from_butt, upside_down)
    exact = ideal_signal(body, place, role, mirrored, wobbles, wrong_arm)
    blows = ringing(shocks, role, place.mount, mirrored)
    first = start + float(rng.uniform(0.0, 0.02))
    clock = draw.clock_offset + (1.0 + draw.clock_skew) * first
    count = int((duration - first) * draw.rate_hz)
    ticks = clock + np.arange(count) / draw.rate_hz
    time = (ticks - draw.clock_offset) / (1.0 + draw.clock_skew)
    acc, gyr, clipped_acc, clipped_gyr = _filtered(exact, blows, shocks, draw, time)

    width = np.sqrt(draw.noise_bandwidth_hz)
    acc += rng.normal(0.0, draw.acc_noise * width, acc.shape)
    gyr += rng.normal(0.0, draw.gyr_noise * width, gyr.shape)
    for axis in range(3):
        wander = smooth_noise(rng, duration, 20.0, draw.gyr_wander)
        gyr[:, axis] += wander(time)[0]
    for values, limit in ((acc, draw.acc_range), (gyr, draw.gyr_range)):
        step = limit / 32768.0
        np.clip(np.round(values / step), -32768, 32767, out=values)
        values *= step
        values[:] = values.astype(np.float32)  # exact in 32 bits, as recordings keep them

    stamps = np.round((ticks + rng.normal(0.0, draw.stamp_jitter, count)) * 1e6)
    stamps = np.maximum.accumulate(stamps - np.arange(count)) + np.arange(count)
    kept, host = _over_the_air(time, draw, rng)
    sequence: IntArray = np.arange(count, dtype=np.int64)
    stream = Stream(
        role=role,
        time=stamps[kept] / 1e6,
        acc=acc[kept],
        gyr=gyr[kept],
        seq=sequence[kept],
        host_time=np.round(host[kept], 6),
        rate_hz=draw.rate_hz,
        acc_range=draw.acc_range,
        gyr_range=draw.gyr_range,
    )
    return Measured(
        stream, time[kept], clipped_acc[kept], clipped_gyr[kept], count - int(kept.sum()), place
    )


def _over_the_air(
    time: FloatArray, draw: SensorDraw, rng: np.random.Generator
) -> tuple[np.ndarray[Any, np.dtype[np.bool_]], FloatArray]:
    """Which samples arrive, and when (host s): whole packets, in order, some late, some lost."""
    size = draw.packet_samples
    packets = -(-len(time) // size)
    last = np.minimum(np.arange(1, packets + 1) * size - 1, len(time) - 1)
    sent = time[last]
    late = rng.gamma(1.3, draw.arrival_jitter / 1.3, packets)
    host = sent + draw.latency + late
    stalls = rng.poisson(draw.stalls_per_minute * (time[-1] - time[0]) / 60.0)
    for _ in range(stalls):
        begin = rng.uniform(time[0], time[-1])
        until = begin + rng.uniform(0.3, 1.0) * draw.stall
        host = np.where((host > begin) & (host < until), until, host)
    host = np.maximum.accumulate(host)
    lost = np.zeros(packets, bool)
    burst = 1.6
    starts = rng.random(packets) < draw.loss / burst
    for index in np.flatnonzero(starts):
        lost[index : index + int(rng.geometric(1.0 / burst))] = True
    owner = np.arange(len(time)) // size
    return ~lost[owner], host[owner]

"""Sizes of sensor errors: profiles from near-ideal to a cheap sensor on a bad radio."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imu.errors import SwingspreadError
from imu.types import CLUB, FOREARM, FloatArray
from imu.units import DEG, STANDARD_GRAVITY

_MICRO_G = 1e-6 * STANDARD_GRAVITY


@dataclass(frozen=True)
class Profile:
    """Standard deviations of the errors, SI units and radians, and what is fixed.

    rates : choices per role. acc_ranges, gyr_ranges : choices per role. roll : spread of the
    mounting's roll about the long axis, tilt : of its tilt, per role. scale, cross : of the
    sensitivity matrices. noise densities per √Hz. cutoff : filter, share of the rate. skew :
    clock rate. jitter : of time stamps, s. late : mean lateness of packets, s. bend : greatest
    shaft bending at the sensor, just below the grip. skin : greatest turn of the forearm's sensor
    on the skin. declared : error of measured distances, m.
    """

    rates: dict[str, tuple[float, ...]]
    acc_ranges: dict[str, tuple[float, ...]]
    gyr_ranges: dict[str, tuple[float, ...]]
    gyr_bias: float
    acc_bias: float
    scale: float
    cross: float
    gyr_noise: float
    acc_noise: float
    cutoff: float
    skew: float
    jitter: float
    late: float
    loss: float
    stalls_per_minute: float
    stall: float
    bend: float
    skin: float
    tilt: dict[str, float]
    roll: dict[str, float]
    declared: float


def _both(value: float) -> dict[str, tuple[float, ...]]:
    return {FOREARM: (value,), CLUB: (value,)}


_G, _DPS = STANDARD_GRAVITY, DEG
PROFILES: dict[str, Profile] = {
    "clean": Profile(
        rates=_both(1000.0),
        acc_ranges=_both(200.0 * _G),
        gyr_ranges=_both(4000.0 * _DPS),
        gyr_bias=0.0003,
        acc_bias=0.02,
        scale=0.0007,
        cross=0.0004,
        gyr_noise=0.004 * _DPS,
        acc_noise=70.0 * _MICRO_G,
        cutoff=0.40,
        skew=5e-6,
        jitter=3e-6,
        late=0.0015,
        loss=0.0,
        stalls_per_minute=0.0,
        stall=0.0,
        bend=0.0,
        skin=0.0,
        tilt={FOREARM: 3.5 * DEG, CLUB: 0.4 * DEG},
        roll={FOREARM: 20.0 * DEG, CLUB: 60.0 * DEG},
        declared=0.002,
    ),
    "good": Profile(
        rates=_both(400.0),
        acc_ranges={FOREARM: (32.0 * _G,), CLUB: (200.0 * _G,)},
        gyr_ranges=_both(4000.0 * _DPS),
        gyr_bias=0.002,
        acc_bias=0.06,
        scale=0.002,
        cross=0.001,
        gyr_noise=0.005 * _DPS,
        acc_noise=100.0 * _MICRO_G,
        cutoff=0.35,
        skew=20e-6,
        jitter=0.0,
        late=0.003,
        loss=0.001,
        stalls_per_minute=0.3,
        stall=0.08,
        bend=0.1 * DEG,
        skin=0.8 * DEG,
        tilt={FOREARM: 4.0 * DEG, CLUB: 0.6 * DEG},
        roll={FOREARM: 20.0 * DEG, CLUB: 60.0 * DEG},
        declared=0.003,
    ),
    "typical": Profile(
        rates={FOREARM: (500.0, 800.0), CLUB: (500.0, 800.0)},
        acc_ranges={FOREARM: (32.0 * _G,), CLUB: (200.0 * _G,)},
        gyr_ranges={FOREARM: (2000.0 * _DPS, 4000.0 * _DPS), CLUB: (4000.0 * _DPS,)},
        gyr_bias=0.006,
        acc_bias=0.15,
        scale=0.005,
        cross=0.002,
        gyr_noise=0.007 * _DPS,
        acc_noise=120.0 * _MICRO_G,
        cutoff=0.35,
        skew=30e-6,
        jitter=23e-6,
        late=0.005,
        loss=0.004,
        stalls_per_minute=0.8,
        stall=0.12,
        bend=0.2 * DEG,
        skin=1.6 * DEG,
        tilt={FOREARM: 4.0 * DEG, CLUB: 0.8 * DEG},
        roll={FOREARM: 25.0 * DEG, CLUB: 80.0 * DEG},
        declared=0.004,
    ),
    "harsh": Profile(
        rates={FOREARM: (200.0,), CLUB: (500.0,)},
        acc_ranges=_both(16.0 * _G),
        gyr_ranges=_both(2000.0 * _DPS),
        gyr_bias=0.018,
        acc_bias=0.24,
        scale=0.008,
        cross=0.005,
        gyr_noise=0.010 * _DPS,
        acc_noise=180.0 * _MICRO_G,
        cutoff=0.30,
        skew=55e-6,
        jitter=170e-6,
        late=0.012,
        loss=0.02,
        stalls_per_minute=3.0,
        stall=0.25,
        bend=0.3 * DEG,
        skin=2.2 * DEG,
        tilt={FOREARM: 4.0 * DEG, CLUB: 1.5 * DEG},
        roll={FOREARM: 30.0 * DEG, CLUB: 180.0 * DEG},
        declared=0.005,
    ),
}


def profile_named(name: str) -> Profile:
    """A profile by name. Raises SwingspreadError naming the choices."""
    if name not in PROFILES:
        raise SwingspreadError(f"sensor profile {name!r}: choose one of {', '.join(PROFILES)}")
    return PROFILES[name]


@dataclass(frozen=True, eq=False)
class SensorDraw:
    """One sensor with its errors drawn. SI units and radians.

    distance : m along the segment (forearm: to the wrist; club: from the butt). radial : m
    from the long axis. roll, tilt : of the mounting. matrices (3, 3): true to measured.
    """

    rate_hz: float
    acc_range: float
    gyr_range: float
    distance: float
    radial: float
    roll: float
    tilt: tuple[float, float]
    acc_matrix: FloatArray
    gyr_matrix: FloatArray
    acc_bias: FloatArray
    gyr_bias: FloatArray
    gyr_wander: float
    acc_noise: float
    gyr_noise: float
    cutoff_hz: float
    clock_offset: float
    clock_skew: float
    stamp_jitter: float
    latency: float
    arrival_jitter: float
    packet_samples: int
    loss: float
    stalls_per_minute: float
    stall: float

    @property
    def filter_delay(self) -> float:
        """Delay of the low-pass for slow signals, s: √2/(2π·cut-off) for this filter."""
        return math.sqrt(2.0) / (2.0 * math.pi * self.cutoff_hz)

    @property
    def noise_bandwidth_hz(self) -> float:
        """Bandwidth of white noise behind the low-pass, Hz: π/(2√2) of the cut-off."""
        return math.pi / (2.0 * math.sqrt(2.0)) * self.cutoff_hz


def draw_sensor(profile: Profile, role: str, rng: np.random.Generator) -> SensorDraw:
    """Draw one sensor's errors."""
    rate = float(rng.choice(profile.rates[role]))
    matrices = []
    for _ in range(2):
        matrix = np.eye(3) + rng.normal(0.0, profile.cross, (3, 3))
        np.fill_diagonal(matrix, 1.0 + rng.normal(0.0, profile.scale, 3))
        matrices.append(matrix)
    club = role == CLUB
    return SensorDraw(
        rate_hz=rate,
        acc_range=float(rng.choice(profile.acc_ranges[role])),
        gyr_range=float(rng.choice(profile.gyr_ranges[role])),
        distance=0.33 if club else 0.06,
        radial=(0.014 if club else 0.036) + float(rng.normal(0.0, 0.001 if club else 0.003)),
        roll=float(rng.uniform(-1.0, 1.0) * profile.roll[role]),
        tilt=(
            float(np.clip(rng.normal(), -2.0, 2.0) * profile.tilt[role]),
            float(np.clip(rng.normal(), -2.0, 2.0) * profile.tilt[role]),
        ),
        acc_matrix=matrices[0],
        gyr_matrix=matrices[1],
        acc_bias=rng.normal(0.0, profile.acc_bias, 3),
        gyr_bias=rng.normal(0.0, profile.gyr_bias, 3),
        gyr_wander=0.04 * profile.gyr_bias,
        acc_noise=profile.acc_noise,
        gyr_noise=profile.gyr_noise,
        cutoff_hz=profile.cutoff * rate,
        clock_offset=float(rng.uniform(2.0, 80.0)),
        clock_skew=float(rng.normal(0.0, profile.skew)),
        stamp_jitter=profile.jitter,
        latency=float(rng.uniform(0.004, 0.020)),
        arrival_jitter=profile.late,
        packet_samples=max(4, round(rate * 0.0125)),
        loss=profile.loss,
        stalls_per_minute=profile.stalls_per_minute,
        stall=profile.stall,
    )

"""Virtual sensors that feel a simulated player, with whatever faults are asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from imu.recorder.packet import FULL_COUNT, nominal_scales, range_code
from imu.simulate.virtual_link_peripheral import Faults, VirtualPeripheral
from imu.simulate.virtual_link_sensor import CountingSource, SampleSource, VirtualSensor
from imu.types import BELT, CLUB, FOREARM, Manifest, Stream

if TYPE_CHECKING:  # large, and not needed for numbered samples
    from imu.simulate.session import SimulatedSession

PRACTICE_ACTIONS = (
    "stand",
    "calibrate",
    *("ball",) * 4,
    "practice",
    *("ball",) * 4,
    "walk",
    *("ball",) * 4,
)
"""What the virtual player does; begins anew when it is over."""

SERIALS = {FOREARM: "V1001", CLUB: "V1002"}
RANGES = range_code(200, 4000)
BELT_LEAD_S, BELT_LEAD_SD_S = 0.07, 0.02
"""By how much the virtual player's belt turns back before the arm (invented)."""


class MotionSource:
    """Samples of a simulated stream in counts, over and over, at the rate the sensor is set to."""

    def __init__(self, stream: Stream, code: int = RANGES) -> None:
        acc_scale, gyr_scale = nominal_scales(code)
        scaled = np.column_stack([stream.acc / acc_scale, stream.gyr / gyr_scale])
        counts = np.clip(np.rint(scaled), -FULL_COUNT, FULL_COUNT - 1).astype(np.int16)
        self._rate_hz = stream.rate_hz
        numbers = stream.seq - stream.seq[0]
        self._counts = np.zeros((int(numbers[-1]) + 1, 6), dtype=np.int16)
        for axis in range(6):
            filled = np.interp(np.arange(len(self._counts)), numbers, counts[:, axis])
            self._counts[:, axis] = np.rint(filled).astype(np.int16)

    def counts(self, first: int, count: int, rate_hz: int) -> NDArray[np.int16]:
        """(count, 6) counts; the stream begins anew after its end."""
        numbers = np.rint(np.arange(first, first + count) * (self._rate_hz / rate_hz))
        return self._counts[numbers.astype(np.int64) % len(self._counts)]


@dataclass(frozen=True)
class VirtualSetup:
    """Which virtual sensors there are.

    motion : True feels a simulated player, at that player's rate; False sends numbered samples
    (for tests). faults : per role.
    """

    roles: tuple[str, ...] = (FOREARM, CLUB)
    motion: bool = True
    seed: int = 1
    faults: Mapping[str, Faults] = field(default_factory=dict)


def virtual_peripherals(setup: VirtualSetup) -> tuple[list[VirtualPeripheral], Manifest | None]:
    """The sensors of a setup, and what is known of the simulated player (None without one)."""
    sources: dict[str, SampleSource] = {role: CountingSource() for role in setup.roles}
    drifts = {FOREARM: 18e-6, CLUB: -11e-6}
    rate, manifest = 1000, None
    if setup.motion:
        from imu.simulate.plan import SessionPlan
        from imu.simulate.session import simulate_session

        session = simulate_session(SessionPlan(PRACTICE_ACTIONS), "clean", setup.seed)
        manifest = session.recording.manifest
        for role in setup.roles:
            if role == BELT:
                sources[role] = MotionSource(_belt(session, setup.seed))
                continue
            measured = session.measured[role]
            sources[role] = MotionSource(measured.stream)
            rate = round(measured.stream.rate_hz)
            drifts[role] = _drift(measured.stream, measured.true_time)
    peripherals = []
    for number, role in enumerate(setup.roles):
        sensor = VirtualSensor(
            SERIALS.get(role, f"V{2000 + number}"),
            role,
            sources[role],
            rate_hz=rate,
            range_code=RANGES,
            drift=drifts.get(role, 0.0),
            clock_start_us=(number + 3) * 7_000_000,
            seed=setup.seed + number,
        )
        seed = setup.seed + 100 + number
        peripherals.append(VirtualPeripheral(sensor, setup.faults.get(role), seed=seed))
    return peripherals, manifest


def _belt(session: SimulatedSession, seed: int) -> Stream:
    """What a sensor on the player's belt feels, as fast and from the same moment as the club's."""
    from imu.simulate.belt import with_belt

    swings = len(session.truth.swings)
    leads = np.random.default_rng(seed).normal(BELT_LEAD_S, BELT_LEAD_SD_S, swings)
    rate_hz = session.measured[CLUB].stream.rate_hz
    return with_belt(
        session, [float(one) for one in leads], seed, rate_hz, margin=0.0
    ).recording.streams[BELT]


def _drift(stream: Stream, true_time: NDArray[np.float64]) -> float:
    """Relative error of the simulated sensor's clock."""
    clock = float(stream.time[-1] - stream.time[0])
    return clock / float(true_time[-1] - true_time[0]) - 1.0

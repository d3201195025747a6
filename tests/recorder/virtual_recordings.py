"""Helpers: record from virtual sensors whose samples tell their own number."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from imu.recorder.assemble import recording_from_folder
from imu.recorder.capture import SensorCapture
from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.profile import MINIMUM_PAYLOAD
from imu.recorder.session import RecordingSession
from imu.simulate.virtual_link import InProcessRadio
from imu.simulate.virtual_link_peripheral import Faults, VirtualPeripheral
from imu.simulate.virtual_link_sensor import CountingSource, VirtualSensor
from imu.types import CLUB, FOREARM, Club, IntArray, Manifest, Player, Recording, Stream

MANIFEST = Manifest(Player("Robin Field"), Club("seven iron", 0.94), block="practice")
SERIALS = {FOREARM: "F0001", CLUB: "C0001"}


def peripheral(role: str, faults: Faults | None = None, **options: object) -> VirtualPeripheral:
    sensor_options = {k: v for k, v in options.items() if k not in ("mtu", "rssi")}
    link_options = {k: v for k, v in options.items() if k in ("mtu", "rssi")}
    seed = 1 if role == FOREARM else 2
    drift = 25e-6 if role == FOREARM else -15e-6
    sensor = VirtualSensor(
        SERIALS[role], role, CountingSource(), drift=drift, seed=seed, **sensor_options
    )  # type: ignore[arg-type]
    return VirtualPeripheral(sensor, faults, seed=seed, **link_options)  # type: ignore[arg-type]


async def until(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    """Wait for a condition, which has to come true within ``seconds``."""
    async with asyncio.timeout(seconds):
        while not condition():
            await asyncio.sleep(0.01)


def record(
    tmp_path: Path,
    peripherals: Mapping[str, VirtualPeripheral],
    seconds: float,
    speed: float = 8.0,
    during: Callable[[RecordingSession], None] | None = None,
    **options: Any,
) -> tuple[RecordingSession, JournalFolder]:
    """Record for ``seconds`` of world time from when every sensor sends, or says why it never will.

    during : called ten times on the way. options : of the session.
    """
    folder = new_folder(tmp_path, MANIFEST)

    def begun(capture: tuple[str, SensorCapture]) -> bool:
        role, one = capture
        near = peripherals[role]
        able = not near.faults.absent and near.payload_size >= MINIMUM_PAYLOAD
        return bool(one.intake.received if able else one.status.problem)

    async def run() -> RecordingSession:
        async with InProcessRadio(list(peripherals.values()), speed) as radio:
            serials = {role: SERIALS[role] for role in peripherals}
            session = RecordingSession(radio, folder, serials, **options)
            task = asyncio.create_task(session.run())
            await until(lambda: all(map(begun, session.captures.items())))
            for _ in range(10):
                await asyncio.sleep(seconds / speed / 10)
                if during is not None:
                    during(session)
            session.stop.set()
            await asyncio.wait_for(task, 60)
            return session

    return asyncio.run(run()), folder


def assembled(folder: JournalFolder) -> Recording:
    recording = recording_from_folder(folder)
    assert recording is not None
    return recording


def sample_numbers(stream: Stream) -> IntArray:
    """The numbers the samples tell, checked against their other channels."""
    counts = np.rint(
        np.column_stack([stream.acc / stream.acc_range, stream.gyr / stream.gyr_range]) * 32768
    ).astype(np.int64)
    number = counts[:, 0] + 30011 * counts[:, 1]
    np.testing.assert_array_equal(counts[:, 2], -counts[:, 0])
    np.testing.assert_array_equal(counts[:, 3], (7 * number) % 10007)
    np.testing.assert_array_equal(counts[:, 4], -counts[:, 1])
    np.testing.assert_array_equal(counts[:, 5], (number % 2) * 100)
    return number

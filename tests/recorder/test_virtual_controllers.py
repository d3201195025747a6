"""The client over virtual controllers: real ATT, GATT, MTU exchange and link drops (bumble)."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("bumble", reason="bumble is not installed: no virtual controllers")

from virtual_controllers import MTU, controller_radio
from virtual_recordings import MANIFEST, SERIALS, assembled, peripheral, sample_numbers

from imu.recorder import profile
from imu.recorder.find import find_sensors
from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.radio import CommandRefusedError, Connection, Sighting
from imu.recorder.session import RecordingSession
from imu.simulate.virtual_link_peripheral import Faults, VirtualPeripheral
from imu.types import CLUB, FOREARM


def run_session(
    tmp_path: Path, peripherals: dict[str, VirtualPeripheral], seconds: float
) -> tuple[RecordingSession, JournalFolder]:
    folder = new_folder(tmp_path, MANIFEST)

    async def run() -> RecordingSession:
        async with controller_radio(list(peripherals.values())) as radio:
            found = await find_sensors(radio, 5.0, lambda heard: len(heard) >= len(peripherals))
            addresses = {sensor.role: sensor.address for sensor in found}
            serials = {sensor.role: sensor.serial for sensor in found}
            session = RecordingSession(radio, folder, serials, addresses=addresses)
            await asyncio.wait_for(session.run(seconds), 60)
            return session

    return asyncio.run(run()), folder


def test_two_sensors_record_over_real_att_without_loss(tmp_path: Path) -> None:
    both = {FOREARM: peripheral(FOREARM), CLUB: peripheral(CLUB)}
    session, folder = run_session(tmp_path, both, 1.5)
    recording = assembled(folder)
    for role in both:
        np.testing.assert_array_equal(np.diff(sample_numbers(recording.streams[role])), 1)
        assert len(recording.streams[role].seq) >= 1400
        assert session.captures[role].status.lost == 0


def test_a_dropped_link_is_made_again_and_the_rest_fetched(tmp_path: Path) -> None:
    club = peripheral(CLUB, Faults(drops=((0.7, 0.7),), loss=0.02))
    session, folder = run_session(tmp_path, {CLUB: club}, 2.0)
    np.testing.assert_array_equal(np.diff(sample_numbers(assembled(folder).streams[CLUB])), 1)
    status = session.captures[CLUB].status
    assert (status.breaks, status.lost) == (1, 0) and status.backfilled > 600


def test_mtu_refusals_and_values_come_through_the_protocol() -> None:
    async def run() -> tuple[int, int, list[str]]:
        async with controller_radio([peripheral(CLUB)]) as radio:
            heard: list[Sighting] = []
            await radio.scan(5.0, lambda sighting: bool(heard.append(sighting)) or True)
            connection: Connection = await radio.connect(heard[0])
            size = connection.payload_size
            with pytest.raises(CommandRefusedError) as refusal:
                await connection.write(profile.CONTROL, profile.start())
            await connection.close()
            (sensor,) = await find_sensors(radio, 5.0, lambda sightings: True)
            return size, refusal.value.code, [sensor.serial, sensor.role, sensor.firmware]

    size, code, facts = asyncio.run(run())
    assert size == MTU - 3
    assert code == profile.CommandError.NOT_SUBSCRIBED
    assert facts == [SERIALS[CLUB], CLUB, "1.0.0"]

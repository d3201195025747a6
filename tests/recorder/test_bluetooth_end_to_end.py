"""The unmodified Bluetooth client, whole: D-Bus daemon, service stand-in, bleak, journal."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import MANIFEST, assembled, sample_numbers

from imu.errors import SwingspreadError
from imu.recorder.find import choose_roles, command_sensor, find_sensors
from imu.recorder.folder import JournalFolder, new_folder
from imu.recorder.profile import identify, set_role
from imu.recorder.radio import RadioUnavailableError, Sighting
from imu.recorder.session import RecordingSession
from imu.simulate.virtual_link_motion import SERIALS, VirtualSetup
from imu.simulate.virtual_link_peripheral import Faults
from imu.simulate.virtual_link_process import virtual_bluetooth, virtual_bluetooth_possible
from imu.types import CLUB, FOREARM

pytestmark = pytest.mark.skipif(
    not virtual_bluetooth_possible(), reason="no dbus-daemon here: the real client is not run"
)


def record(
    setup: VirtualSetup, root: Path, seconds: float, start_notify: bool
) -> tuple[RecordingSession, JournalFolder]:
    from imu.recorder.link import BluetoothRadio

    folder = new_folder(root, MANIFEST)

    def everyone(sightings: Sequence[Sighting]) -> bool:
        return len(sightings) >= len(setup.roles)

    async def run() -> RecordingSession:
        radio = BluetoothRadio(use_start_notify=start_notify)
        found = await find_sensors(radio, 5.0, everyone)
        roles = choose_roles(found, {FOREARM: None, CLUB: None})
        session = RecordingSession(radio, folder, {r: s.serial for r, s in roles.items()})
        await asyncio.wait_for(session.run(seconds), 60)
        return session

    with virtual_bluetooth(setup):
        return asyncio.run(run()), folder


@pytest.mark.parametrize("start_notify", [True, False], ids=["signals", "socket"])
def test_two_sensors_are_found_and_recorded_without_loss(
    tmp_path: Path, start_notify: bool
) -> None:
    session, folder = record(VirtualSetup(motion=False), tmp_path, 1.5, start_notify)
    recording = assembled(folder)
    for role in (FOREARM, CLUB):
        stream = recording.streams[role]
        np.testing.assert_array_equal(np.diff(sample_numbers(stream)), 1)
        assert len(stream.seq) >= 1400
        assert session.captures[role].status.backfilled <= 19
        assert recording.manifest.sensors[role]["serial"] == SERIALS[role]


def test_loss_a_drop_and_a_stall_lose_nothing(tmp_path: Path) -> None:
    faults = {
        FOREARM: Faults(loss=0.02, stalls=((0.5, 1.0),)),
        CLUB: Faults(loss=0.02, drops=((0.7, 1.0),)),
    }
    session, folder = record(VirtualSetup(motion=False, faults=faults), tmp_path, 2.0, True)
    recording = assembled(folder)
    for role in (FOREARM, CLUB):
        np.testing.assert_array_equal(np.diff(sample_numbers(recording.streams[role])), 1)
        assert session.captures[role].status.lost == 0
    assert session.captures[CLUB].status.breaks == 1
    assert session.captures[CLUB].status.backfilled > 900


def test_a_reset_is_survived(tmp_path: Path) -> None:
    setup = VirtualSetup((CLUB,), motion=False, faults={CLUB: Faults(resets=(0.7,))})
    session, folder = record(setup, tmp_path, 2.0, True)
    assert session.captures[CLUB].status.restarts == 1
    assert any("restarted" in fault for fault in assembled(folder).faults)


def test_a_sensor_can_be_told_its_role_and_asked_to_blink(tmp_path: Path) -> None:
    from imu.recorder.link import BluetoothRadio

    async def run() -> list[str]:
        radio = BluetoothRadio()
        sightings: list[Sighting] = []

        def heard(sighting: Sighting) -> bool:
            sightings.append(sighting)
            return True

        await radio.scan(5.0, heard)
        await command_sensor(radio, sightings[0], identify(3))
        await command_sensor(radio, sightings[0], set_role(FOREARM))
        (sensor,) = await find_sensors(radio, 5.0, lambda found: True)
        return [sensor.role, sensor.serial, sensor.firmware, str(sensor.battery)]

    with virtual_bluetooth(VirtualSetup((CLUB,), motion=False)):
        assert asyncio.run(run()) == [FOREARM, SERIALS[CLUB], "1.0.0", "80"]


@pytest.mark.parametrize(
    ("powered", "adapter", "words"), [(False, True, "switched off"), (True, False, "no Bluetooth")]
)
def test_bluetooth_off_or_missing_is_said_with_the_mend(
    powered: bool, adapter: bool, words: str
) -> None:
    from imu.recorder.link import BluetoothRadio

    setup = VirtualSetup((CLUB,), motion=False)
    with (
        virtual_bluetooth(setup, powered, adapter),
        pytest.raises(RadioUnavailableError, match=words),
    ):
        asyncio.run(find_sensors(BluetoothRadio(), 1.0))


def test_a_private_bus_that_does_not_start_is_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "dbus-daemon"
    broken.write_text("#!/bin/sh\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    with (
        pytest.raises(SwingspreadError, match="did not start"),
        virtual_bluetooth(VirtualSetup((CLUB,), motion=False)),
    ):
        pass
    said = capfd.readouterr().err
    assert "is dbus installed whole?" in said and "Traceback" not in said


def test_no_bluetooth_service_is_said_with_the_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    from imu.recorder.link import BluetoothRadio

    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/bus")
    with pytest.raises(RadioUnavailableError, match="not running"):
        asyncio.run(find_sensors(BluetoothRadio(), 1.0))

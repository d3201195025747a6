"""A third sensor is recorded beside the other two, by its role alone."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import SERIALS, assembled, peripheral, record, sample_numbers

from app.cli import main
from app.commands import sensors
from app.commands.record import choose_sensors
from imu.further_sensors import ROLE_CODES
from imu.recorder import profile
from imu.recorder.profile import SensorInfo, State, decode_info, set_role
from imu.recordings.library import Library
from imu.simulate import virtual_link_motion
from imu.simulate.virtual_link import InProcessRadio
from imu.simulate.virtual_link_motion import VirtualSetup, virtual_peripherals
from imu.simulate.virtual_link_peripheral import VirtualPeripheral
from imu.simulate.virtual_link_sensor import CountingSource, VirtualSensor
from imu.types import BELT, CLUB, FOREARM


def all_three(monkeypatch) -> dict[str, VirtualPeripheral]:
    monkeypatch.setitem(SERIALS, BELT, "B0001")
    belt = VirtualSensor("B0001", "", CountingSource(), drift=10e-6, seed=3)
    three = {role: peripheral(role) for role in (FOREARM, CLUB)}
    return {**three, BELT: VirtualPeripheral(belt, seed=3)}


def test_three_sensors_are_recorded_without_loss(tmp_path: Path, monkeypatch) -> None:
    _, folder = record(tmp_path, all_three(monkeypatch), 6.0)
    recording = assembled(folder)
    assert set(recording.streams) == {FOREARM, CLUB, BELT}
    for stream in recording.streams.values():
        assert np.all(np.diff(sample_numbers(stream)) == 1)


def chosen(three: dict[str, VirtualPeripheral], belt_sensor: str | None) -> dict[str, str]:
    asked = dict.fromkeys((f"{role}_sensor" for role in (FOREARM, CLUB, *ROLE_CODES)), None)
    arguments = argparse.Namespace(**{**asked, "belt_sensor": belt_sensor})

    async def choose() -> dict[str, str]:
        async with InProcessRadio(list(three.values()), 8.0) as radio:
            found = await choose_sensors(radio, arguments)
            return {role: sensor.serial for role, sensor in found.items()}

    return asyncio.run(choose())


def test_the_belts_sensor_is_chosen_by_its_serial(monkeypatch) -> None:
    both = {FOREARM: "F0001", CLUB: "C0001"}
    three = all_three(monkeypatch)
    assert chosen(three, "b0001") == {**both, BELT: "B0001"}
    assert chosen(three, None) == both


def test_a_sensor_told_that_it_is_the_belts_is_chosen_without_its_serial(
    monkeypatch, tmp_path: Path, capsys
) -> None:
    three = all_three(monkeypatch)

    @contextlib.asynccontextmanager
    async def open_radio(virtual: bool, further=()):
        async with InProcessRadio(list(three.values()), 8.0) as radio:
            yield radio, None

    monkeypatch.setattr(sensors, "open_radio", open_radio)
    assert chosen(three, "") == {FOREARM: "F0001", CLUB: "C0001"}
    assert main(["sensors", "--seconds", "0.5", "--set-role", "B0001=belt"]) == 0
    assert three[BELT].sensor.role == BELT
    assert chosen(three, "") == {FOREARM: "F0001", CLUB: "C0001", BELT: "B0001"}
    places = ["--journals", str(tmp_path / "j"), "--library", str(tmp_path / "l")]
    words = ["record", "--belt-sensor", "--seconds", "1", "--no-analysis", *places]
    assert main(words) == 0
    (entry,) = Library(tmp_path / "l").entries()
    assert set(entry.samples) == {FOREARM, CLUB, BELT}


@pytest.mark.parametrize("role", ROLE_CODES)
def test_every_further_role_is_told_to_a_sensor_and_read_back(role: str) -> None:
    info = SensorInfo(role, 0x22, State.IDLE, 1000, 7, 9, 0, 0, 0, 0.01, 0.001)
    read = decode_info(info.encode())
    assert isinstance(read, SensorInfo) and read.role == role
    assert set_role(role)[1] == info.encode()[1]
    assert len({*profile.ROLE_CODES.values()}) == len(profile.ROLE_CODES)


def test_a_virtual_player_swings_as_fast_at_whatever_rate_is_asked_for(monkeypatch) -> None:
    monkeypatch.setattr(virtual_link_motion, "PRACTICE_ACTIONS", ("stand", "ball"))
    (club,), _ = virtual_peripherals(VirtualSetup((CLUB,)))
    usual = club.sensor.source.counts(0, 20_000, 1000)
    assert club.write(profile.CONTROL, profile.set_rate(500)) == 0
    np.testing.assert_array_equal(
        club.sensor.source.counts(0, 10_000, club.sensor.rate_hz), usual[::2]
    )


def test_virtual_sensors_can_have_a_belt(monkeypatch) -> None:
    monkeypatch.setattr(virtual_link_motion, "PRACTICE_ACTIONS", ("stand", "ball"))
    peripherals, manifest = virtual_peripherals(VirtualSetup((FOREARM, CLUB, BELT)))
    assert manifest is not None
    assert [one.sensor.role for one in peripherals] == [FOREARM, CLUB, BELT]
    counts = [one.sensor.source.counts(0, 2000, 1000) for one in peripherals]
    assert all(np.ptp(part, axis=0).max() > 0 for part in counts)

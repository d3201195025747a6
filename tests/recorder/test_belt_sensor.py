"""A third sensor is recorded beside the other two, by its role alone."""

from __future__ import annotations

import argparse
import asyncio
from pathlib import Path

import numpy as np
from virtual_recordings import SERIALS, assembled, peripheral, record, sample_numbers

from app.commands.record import choose_sensors
from imu.simulate.virtual_link import InProcessRadio
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


def test_the_belts_sensor_is_chosen_by_its_serial(monkeypatch) -> None:
    arguments = argparse.Namespace(forearm_sensor=None, club_sensor=None, belt_sensor="b0001")

    async def choose() -> dict[str, str]:
        async with InProcessRadio(list(all_three(monkeypatch).values()), 8.0) as radio:
            found = await choose_sensors(radio, arguments)
            return {role: sensor.serial for role, sensor in found.items()}

    assert asyncio.run(choose()) == {FOREARM: "F0001", CLUB: "C0001", BELT: "B0001"}

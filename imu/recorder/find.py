"""Which sensors are near, what state they are in, and which is worn where."""

from __future__ import annotations

import contextlib
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from imu.errors import SwingspreadError
from imu.recorder import profile
from imu.recorder.profile import SensorInfo, decode_info
from imu.recorder.radio import CommandRefusedError, Connection, LinkError, Radio, Sighting
from imu.types import CLUB, FOREARM

TRIES = 3

Answer = TypeVar("Answer")


@dataclass(frozen=True)
class FoundSensor:
    """A sensor of our profile, as it answered.

    role : where it says it is worn, "" when unset. problem : why it cannot be used, or "".
    """

    serial: str
    address: str
    rssi: int | None
    role: str = ""
    firmware: str = ""
    battery: int | None = None
    info: SensorInfo | None = None
    problem: str = ""


async def find_sensors(
    radio: Radio,
    seconds: float = 5.0,
    enough: Callable[[Sequence[Sighting]], bool] = lambda sightings: False,
) -> list[FoundSensor]:
    """Scan, then ask every sensor heard who it is.

    enough : told all sightings so far; True ends the scan early.
    Raises RadioUnavailableError when there is no Bluetooth to scan with.
    """
    heard: dict[str, Sighting] = {}

    def hear(sighting: Sighting) -> bool:
        heard[sighting.address] = sighting
        return enough(list(heard.values()))

    await radio.scan(seconds, hear)
    return [await look_at(radio, sighting) for sighting in heard.values()]


async def look_at(radio: Radio, sighting: Sighting) -> FoundSensor:
    """Connect and read serial, firmware, battery and INFO; failures are told in ``problem``.

    Raises RadioUnavailableError.
    """
    try:
        return await _asked(radio, sighting, lambda connection: _read_all(connection, sighting))
    except LinkError as failure:
        serial = sighting.serial or sighting.address
        return FoundSensor(serial, sighting.address, sighting.rssi, problem=str(failure))


async def _asked(
    radio: Radio, sighting: Sighting, ask: Callable[[Connection], Awaitable[Answer]]
) -> Answer:
    """What ``ask`` gets over a connection of its own; a link that fails is tried again.

    Raises the last LinkError, CommandRefusedError at once, and RadioUnavailableError.
    """
    for tries_left in reversed(range(TRIES)):
        try:
            connection = await radio.connect(sighting)
            try:
                return await ask(connection)
            finally:
                await connection.close()
        except CommandRefusedError:
            raise
        except LinkError:
            if not tries_left:
                raise
    raise AssertionError("a last try answers or raises")


async def _read_all(connection: Connection, sighting: Sighting) -> FoundSensor:
    serial = (await connection.read(profile.SERIAL_NUMBER)).decode("utf-8", "replace")
    firmware, battery = "", None
    with contextlib.suppress(CommandRefusedError):
        firmware = (await connection.read(profile.FIRMWARE_REVISION)).decode("utf-8", "replace")
    with contextlib.suppress(CommandRefusedError):
        level = await connection.read(profile.BATTERY_LEVEL)
        battery = level[0] if level else None
    info = decode_info(await connection.read(profile.INFO))
    if isinstance(info, str):
        return FoundSensor(
            serial, sighting.address, sighting.rssi, "", firmware, battery, None, info
        )
    return FoundSensor(serial, sighting.address, sighting.rssi, info.role, firmware, battery, info)


async def command_sensor(radio: Radio, sighting: Sighting, value: bytes) -> None:
    """Connect and write one command. Raises SwingspreadError when it cannot be carried out."""
    name = sighting.serial or sighting.address
    try:
        await _asked(radio, sighting, lambda link: link.write(profile.CONTROL, value))
    except CommandRefusedError as failure:
        raise SwingspreadError(f"sensor {name}: {failure}") from failure
    except LinkError as failure:
        raise SwingspreadError(f"sensor {name}: {failure}; move nearer and try again") from failure


def choose_roles(
    found: Sequence[FoundSensor], wanted: Mapping[str, str | None]
) -> dict[str, FoundSensor]:
    """Which sensor is worn where.

    wanted : role → serial asked for by the user, or None to go by what the sensor says.
    Roles nobody fills are left out. Raises SwingspreadError when the choice is not clear.
    """
    usable = [sensor for sensor in found if not sensor.problem]
    chosen: dict[str, FoundSensor] = {}
    for role, serial in wanted.items():
        if serial is None:
            continue
        match = [sensor for sensor in found if sensor.serial.lower() == serial.lower()]
        if not match:
            raise SwingspreadError(
                f"sensor {serial} was not heard (heard: {_serials(found)}); "
                "is it charged, switched on and near?"
            )
        if match[0].problem:
            raise SwingspreadError(f"sensor {serial} cannot be used: {match[0].problem}")
        if match[0] in chosen.values():
            raise SwingspreadError(
                f"sensor {serial} is named for two places, one of them the {role}; "
                "name another for one of them"
            )
        chosen[role] = match[0]
    taken = {sensor.serial for sensor in chosen.values()}
    for role in (role for role in wanted if role not in chosen):
        match = [s for s in usable if s.role == role and s.serial not in taken]
        if len(match) > 1:
            raise SwingspreadError(
                f"{len(match)} sensors say they are the {role} ({_serials(match)}); "
                f"choose with --{role}-sensor SERIAL"
            )
        if match:
            chosen[role] = match[0]
            taken.add(match[0].serial)
    if not chosen and usable:
        raise SwingspreadError(
            f"the sensors heard ({_serials(usable)}) do not know where they are worn; "
            f"set it once with: swingspread sensors --set-role SERIAL={FOREARM} "
            f"--set-role SERIAL={CLUB}"
        )
    return chosen


def _serials(sensors: Sequence[FoundSensor]) -> str:
    return ", ".join(sensor.serial for sensor in sensors) or "none"

"""`swingspread sensors`: which sensors are near, and setting them up."""

from __future__ import annotations

import argparse
import contextlib
import json
import signal
import threading
from collections.abc import AsyncIterator, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from app.arguments import seconds
from imu.further_sensors import ROLE_CODES

if TYPE_CHECKING:
    from imu.recorder.find import FoundSensor
    from imu.recorder.radio import Radio, Sighting
    from imu.types import Manifest

HELP = "find sensors: where worn, battery, signal, ranges; make one blink, set its role"
EXAMPLES = """\
  swingspread sensors
  swingspread sensors --identify A1042
  swingspread sensors --set-role A1042=forearm --set-role A1043=club
  swingspread sensors --set-role A1044=belt
  swingspread sensors --virtual
"""

ROLES = ("forearm", "club", *ROLE_CODES)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread sensors`."""
    parser.add_argument(
        "--seconds", type=seconds, default=5.0, metavar="S", help="how long to listen (default: 5)"
    )
    parser.add_argument(
        "--identify", metavar="SERIAL", help="make this sensor blink for ten seconds"
    )
    parser.add_argument(
        "--set-role",
        metavar="SERIAL=ROLE",
        action="append",
        default=[],
        help=f"tell a sensor where it is worn ({', '.join(ROLES)}); may be repeated",
    )
    parser.add_argument("--json", action="store_true", help="print the sensors as JSON")
    add_virtual(parser)


def add_virtual(parser: argparse._ActionsContainer) -> None:
    """The argument that does without hardware."""
    parser.add_argument(
        "--virtual",
        action="store_true",
        help="use two virtual sensors worn by a simulated player; no hardware needed",
    )


def run(arguments: argparse.Namespace) -> int:
    """Scan, carry out what was asked, print a table."""
    import asyncio

    wishes = role_wishes(arguments.set_role)
    found = asyncio.run(_look(arguments, wishes))
    if arguments.json:
        print(json.dumps([as_document(sensor) for sensor in found], indent=2))
    elif not found:
        print("no sensor was heard; is one charged, switched on and near?")
    else:
        print_sensors(found)
    return 0 if found else 1


async def _look(arguments: argparse.Namespace, wishes: dict[str, str]) -> list[FoundSensor]:
    from imu.errors import SwingspreadError
    from imu.recorder import profile
    from imu.recorder.find import command_sensor, look_at

    async with open_radio(arguments.virtual) as (radio, _):
        heard: dict[str, Sighting] = {}

        def hear(sighting: Sighting) -> bool:
            heard[sighting.address] = sighting
            return False

        await radio.scan(arguments.seconds, hear)
        sensors = {address: await look_at(radio, sighting) for address, sighting in heard.items()}
        address_of = {sensor.serial.lower(): address for address, sensor in sensors.items()}
        commands = [(serial, profile.set_role(role)) for serial, role in wishes.items()]
        if arguments.identify:
            commands.append((arguments.identify, profile.identify(10)))
        for serial, command in commands:
            if serial.lower() not in address_of:
                known = ", ".join(sensor.serial for sensor in sensors.values()) or "none"
                raise SwingspreadError(
                    f"sensor {serial} was not heard (heard: {known}); is it charged, switched on "
                    "and near?"
                )
            address = address_of[serial.lower()]
            await command_sensor(radio, heard[address], command)
            sensors[address] = await look_at(radio, heard[address])
        return list(sensors.values())


@contextlib.asynccontextmanager
async def open_radio(
    virtual: bool, further: Sequence[str] = ()
) -> AsyncIterator[tuple[Radio, Manifest | None]]:
    """The computer's Bluetooth, or virtual sensors with what is known of their player.

    further : roles of virtual sensors beside forearm and club.
    """
    if not virtual:
        from imu.recorder.link import BluetoothRadio

        yield BluetoothRadio(), None
        return
    async with contextlib.AsyncExitStack() as stack:
        with _interrupted_at_once():
            from imu.simulate.virtual_link import InProcessRadio
            from imu.simulate.virtual_link_motion import VirtualSetup, virtual_peripherals
            from imu.simulate.virtual_link_process import (
                virtual_bluetooth,
                virtual_bluetooth_possible,
            )

            setup = VirtualSetup(roles=("forearm", "club", *further))
            radio: Radio
            if virtual_bluetooth_possible():
                from imu.recorder.link import BluetoothRadio

                manifest = stack.enter_context(virtual_bluetooth(setup))
                radio = BluetoothRadio()
            else:
                peripherals, manifest = virtual_peripherals(setup)
                radio = InProcessRadio(peripherals)
        if isinstance(radio, InProcessRadio):
            await stack.enter_async_context(radio)
        yield radio, manifest


@contextlib.contextmanager
def _interrupted_at_once() -> Iterator[None]:
    """Within, Ctrl-C is raised at once; asyncio would wait until the work next awaits something."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def role_wishes(texts: list[str]) -> dict[str, str]:
    """Serial → role from ``SERIAL=ROLE`` texts. Raises SwingspreadError for anything else."""
    from imu.errors import SwingspreadError

    wishes = {}
    for text in texts:
        serial, _, role = text.partition("=")
        if not serial or role not in ROLES:
            raise SwingspreadError(
                f"--set-role {text}: write SERIAL=ROLE with one of the roles {', '.join(ROLES)}"
            )
        if serial in wishes:
            raise SwingspreadError(f"--set-role {text}: sensor {serial} has a role given already")
        wishes[serial] = role
    return wishes


def as_document(sensor: FoundSensor) -> dict[str, Any]:
    """A sensor as plain JSON values."""
    from imu.recorder.packet import full_scales
    from imu.units import DEG, STANDARD_GRAVITY

    document: dict[str, Any] = {
        "serial": sensor.serial,
        "role": sensor.role,
        "battery_percent": sensor.battery,
        "signal_dbm": sensor.rssi,
        "firmware": sensor.firmware,
        "problem": sensor.problem,
    }
    if sensor.info is not None:
        acc, gyr = full_scales(sensor.info.range_code)
        document["rate_hz"] = sensor.info.rate_hz
        document["acc_range_g"] = round(acc / STANDARD_GRAVITY)
        document["gyr_range_deg_s"] = round(gyr / DEG)
        document["sampling"] = sensor.info.state.name == "SAMPLING"
    return document


def print_sensors(found: list[FoundSensor]) -> None:
    """The table for people."""
    from rich.console import Console
    from rich.table import Table

    from app.findings_table import safe
    from imu.recorder.packet import describe_ranges

    table = Table(box=None, header_style="bold")
    for name in ("serial", "worn on", "battery", "signal", "rate", "ranges", "firmware", ""):
        table.add_column(name)
    for sensor in found:
        info = sensor.info
        table.add_row(
            safe(sensor.serial),
            sensor.role or "not set",
            "" if sensor.battery is None else f"{sensor.battery} %",
            "" if sensor.rssi is None else f"{sensor.rssi} dBm",
            f"{info.rate_hz} Hz" if info else "",
            describe_ranges(info.range_code) if info else "",
            safe(sensor.firmware),
            safe(sensor.problem),
        )
    Console().print(table)

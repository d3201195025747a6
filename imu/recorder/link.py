"""Real Bluetooth LE through bleak: the only module that imports it.

The notification callback stamps the arrival and hands the bytes on, nothing more. A sensor that
the system still holds a connection to (a recorder was killed) does not advertise, so those are
looked at before scanning.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from bleak import BleakAdapter, BleakClient, BleakScanner
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
    BleakGATTProtocolError,
)

from imu.recorder import profile
from imu.recorder.radio import (
    CommandRefusedError,
    LinkError,
    RadioUnavailableError,
    Sighting,
    Sink,
)

CONNECT_TIMEOUT = 10.0
REQUEST_TIMEOUT = 5.0

_Reason = BleakBluetoothNotAvailableReason

_NO_RADIO = "this computer has no Bluetooth LE radio that is switched on at the hardware; "
_OFF = "Bluetooth is switched off; "
_DENIED = "this program may not use Bluetooth; "

_MENDS: dict[str, dict[str, str]] = {
    "linux": {
        "none": _NO_RADIO + "plug in a Bluetooth LE adapter and check `bluetoothctl list`",
        "off": _OFF + "switch it on in the settings, or with `bluetoothctl power on` "
        "(if that fails: `rfkill unblock bluetooth`)",
        "denied": _DENIED + "add your user to the group `bluetooth` and log in again",
        "service": "the Bluetooth service is not running; start it with "
        "`sudo systemctl start bluetooth`, or record with --virtual to try without sensors",
    },
    "darwin": {
        "none": _NO_RADIO + "use a Mac with Bluetooth LE",
        "off": _OFF + "switch it on in the menu bar or in System Settings, Bluetooth",
        "denied": _DENIED + "allow your terminal in System Settings, Privacy & Security, "
        "Bluetooth, then start it anew",
        "service": "macOS does not offer Bluetooth to this program; start it from a terminal "
        "with Bluetooth allowed",
    },
    "win32": {
        "none": _NO_RADIO + "plug in a Bluetooth LE adapter (Windows 10 or later)",
        "off": _OFF + "switch it on in Settings, Bluetooth & devices",
        "denied": _DENIED + "allow it in Settings, Privacy & security, Radios",
        "service": "the Bluetooth service is not running; start `Bluetooth Support Service` "
        "in Services",
    },
}


def unavailable(kind: str, platform: str = sys.platform, detail: str = "") -> RadioUnavailableError:
    """The message for one kind of trouble (none, off, denied, service) on one platform."""
    mends = _MENDS.get(platform, _MENDS["linux"])
    return RadioUnavailableError(mends[kind] + (f" ({detail})" if detail else ""))


def _translated(problem: Exception) -> RadioUnavailableError | LinkError:
    """What went wrong in terms of the recorder."""
    if isinstance(problem, BleakBluetoothNotAvailableError):
        kinds = {
            _Reason.NO_BLUETOOTH: "none",
            _Reason.NO_BLE_CENTRAL_ROLE: "none",
            _Reason.POWERED_OFF: "off",
            _Reason.DENIED_BY_USER: "denied",
            _Reason.DENIED_BY_SYSTEM: "denied",
            _Reason.DENIED_BY_UNKNOWN: "denied",
        }
        return unavailable(kinds.get(problem.reason, "service"))
    if isinstance(problem, BleakGATTProtocolError):
        return CommandRefusedError(int(problem.code))
    if isinstance(problem, BleakDBusError):
        name = problem.dbus_error
        if name.endswith((".ServiceUnknown", ".NameHasNoOwner", ".Spawn.ServiceNotFound")):
            return unavailable("service")
        if name.endswith(".AccessDenied"):
            return unavailable("denied")
        if name.endswith((".NotReady", ".NotPowered")):
            return unavailable("off")
    if isinstance(problem, PermissionError):
        return unavailable("denied")
    if isinstance(problem, FileNotFoundError | ConnectionRefusedError):
        return unavailable("service")
    if isinstance(problem, TimeoutError):
        return LinkError("the sensor did not answer in time")
    return LinkError(str(problem) or type(problem).__name__)


_FAILURES = (BleakError, OSError, TimeoutError, EOFError, AssertionError)
"""What bleak and the system libraries under it raise when a link or the radio fails."""


@dataclass(frozen=True)
class Backend:
    """A Bluetooth of another make than the computer's own, for bleak to use."""

    scanner: type[BaseBleakScanner]
    client: type[BaseBleakClient]


class BluetoothConnection:
    """One connection through bleak."""

    def __init__(
        self, device: BLEDevice, use_start_notify: bool, backend: Backend | None = None
    ) -> None:
        self.lost = asyncio.Event()
        self._start_notify = use_start_notify
        self._client = BleakClient(
            device,
            disconnected_callback=lambda _: self.lost.set(),
            timeout=CONNECT_TIMEOUT,
            backend=backend.client if backend else None,
        )

    async def open(self) -> None:
        """Connect and find the profile's service. Raises LinkError, RadioUnavailableError."""
        try:
            await self._client.connect()
        except _FAILURES as problem:
            await self.close()
            raise _translated(problem) from problem
        if self._client.services.get_service(profile.SERVICE) is None:
            await self.close()
            raise LinkError("this device is no sensor of our profile")

    @property
    def payload_size(self) -> int:
        data = self._client.services.get_characteristic(profile.DATA)
        return data.max_write_without_response_size if data is not None else 20

    async def read(self, characteristic: str) -> bytes:
        try:
            async with asyncio.timeout(REQUEST_TIMEOUT):
                return bytes(await self._client.read_gatt_char(characteristic))
        except _FAILURES as problem:
            raise _translated(problem) from problem

    async def write(self, characteristic: str, value: bytes) -> None:
        try:
            async with asyncio.timeout(REQUEST_TIMEOUT):
                await self._client.write_gatt_char(characteristic, value, response=True)
        except _FAILURES as problem:
            raise _translated(problem) from problem

    async def subscribe(self, characteristic: str, sink: Sink) -> None:
        def callback(_: BleakGATTCharacteristic, value: bytearray) -> None:
            sink(time.monotonic_ns(), bytes(value))

        try:
            async with asyncio.timeout(REQUEST_TIMEOUT):
                await self._client.start_notify(
                    characteristic, callback, bluez={"use_start_notify": self._start_notify}
                )
        except _FAILURES as problem:
            raise _translated(problem) from problem

    async def close(self) -> None:
        with contextlib.suppress(*_FAILURES):
            await self._client.disconnect()
        self.lost.set()


class BluetoothRadio:
    """The computer's own Bluetooth.

    use_start_notify : on Linux, receive through D-Bus signals instead of a socket of its own.
    backend : use this instead of the computer's own.
    """

    def __init__(self, use_start_notify: bool = True, backend: Backend | None = None) -> None:
        self._start_notify = use_start_notify
        self._backend = backend

    async def scan(self, seconds: float, found: Callable[[Sighting], bool]) -> None:
        enough = asyncio.Event()

        def heard(device: BLEDevice, advertisement: AdvertisementData) -> None:
            name = advertisement.local_name or device.name or ""
            if found(Sighting(device.address, name, advertisement.rssi, device)):
                enough.set()

        try:
            for device in await self._still_connected():
                if found(Sighting(device.address, device.name or "", None, device)):
                    return
            backend = self._backend.scanner if self._backend else None
            async with BleakScanner(heard, service_uuids=[profile.SERVICE], backend=backend):
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(enough.wait(), seconds)
        except _FAILURES as problem:
            raise _as_radio_problem(_translated(problem)) from problem

    async def _still_connected(self) -> list[BLEDevice]:
        if self._backend is not None:
            return []
        try:
            adapter = await BleakAdapter.get()
            return await adapter.get_connected_devices([profile.SERVICE])
        except NotImplementedError:
            return []

    async def connect(self, sighting: Sighting) -> BluetoothConnection:
        connection = BluetoothConnection(sighting.handle, self._start_notify, self._backend)
        await connection.open()
        return connection


def _as_radio_problem(problem: RadioUnavailableError | LinkError) -> RadioUnavailableError:
    if isinstance(problem, RadioUnavailableError):
        return problem
    return unavailable("service", detail=str(problem))

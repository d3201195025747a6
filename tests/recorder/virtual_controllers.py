"""Virtual sensors on virtual Bluetooth controllers: real link layer framing, ATT and GATT.

The controllers, hosts and protocols are those of the library bumble; a small backend lets bleak
drive the central one. Its controllers repeat the advertisement as the scan response, so sensors
are heard without their names, as may happen on any system: they are told apart on connecting.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from typing import Any

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError, BleakGATTProtocolError
from bumble import gatt
from bumble.att import ATT_Error
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, ProtocolError
from bumble.device import Connection, Device, Peer
from bumble.hci import Address
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport.common import AsyncPipeSink

from imu.recorder import profile
from imu.recorder.link import Backend, BluetoothRadio
from imu.simulate.virtual_link_peripheral import CONNECTION_INTERVAL, VirtualPeripheral

MTU = 247
ADVERTISING_INTERVAL_MS = 100

SERVICES: dict[str, dict[str, str]] = {
    profile.SERVICE: {
        profile.DATA: "NOTIFY",
        profile.CONTROL: "WRITE",
        profile.BACKFILL: "NOTIFY",
        profile.TIME: "READ",
        profile.INFO: "READ",
    },
    profile.DEVICE_INFORMATION: {
        profile.SERIAL_NUMBER: "READ",
        profile.FIRMWARE_REVISION: "READ",
    },
    profile.BATTERY_SERVICE: {profile.BATTERY_LEVEL: "READ"},
}


def _full(uuid: Any) -> str:
    """A bumble UUID in the lower-case 128-bit form."""
    text = uuid.to_hex_str("-").lower()
    return profile.assigned_uuid(int(text, 16)) if len(text) == 4 else text


def _device(link: LocalLink, name: str, address: str) -> Device:
    controller = Controller(name, link=link)
    host = Host(controller, AsyncPipeSink(controller))
    return Device(name=name, address=Address(address), host=host)


class ControllerPeripheral:
    """A virtual sensor behind a controller of its own."""

    def __init__(self, link: LocalLink, peripheral: VirtualPeripheral, number: int) -> None:
        self.peripheral = peripheral
        self.device = _device(link, peripheral.name, f"F0:F1:F2:F3:F4:{number:02X}")
        self.connection: Connection | None = None
        self._advertising = False
        self._characteristics: dict[str, Any] = {}
        self._sending: asyncio.Queue[tuple[str, bytes]] = asyncio.Queue()
        peripheral.on_drop = lambda: asyncio.ensure_future(self._drop())
        for service, characteristics in SERVICES.items():
            made = [self._characteristic(*one) for one in characteristics.items()]
            self.device.add_service(gatt.Service(service, made))
        self.device.on("connection", self._connected)

    def _characteristic(self, uuid: str, kind: str) -> Any:
        readable, writeable = gatt.Characteristic.READABLE, gatt.Characteristic.WRITEABLE

        def read(_connection: Any) -> bytes:
            value = self.peripheral.read(uuid)
            if isinstance(value, int):
                raise ATT_Error(value)
            return value

        def write(_connection: Any, value: bytes) -> None:
            error = self.peripheral.write(uuid, bytes(value))
            if error:
                raise ATT_Error(error)

        made: Any = gatt.Characteristic(
            uuid,
            gatt.Characteristic.Properties[kind],
            {"READ": readable, "WRITE": writeable, "NOTIFY": readable}[kind],
            gatt.CharacteristicValue(read=read, write=write),
        )
        if kind == "NOTIFY":
            made.on("subscription", lambda _bearer, on, _indicate: self._subscribed(uuid, on))
        self._characteristics[uuid] = made
        return made

    def _subscribed(self, uuid: str, on: bool) -> None:
        if on:
            self.peripheral.subscribe(uuid, lambda value: self._sending.put_nowait((uuid, value)))
        else:
            self.peripheral.unsubscribe(uuid)

    def _connected(self, connection: Connection) -> None:
        self.connection = connection
        self._advertising = False
        self.peripheral.connect()
        connection.on("disconnection", self._disconnected)

    def _disconnected(self, _reason: int) -> None:
        self.connection = None
        if self.peripheral.connected:
            self.peripheral.disconnect()

    async def _drop(self) -> None:
        if self.connection is not None:
            await self.connection.disconnect()

    async def run(self) -> None:
        """Advertise while free, and send what the sensor has to say."""
        await self.device.power_on()
        sender = asyncio.create_task(self._send())
        loop = asyncio.get_running_loop()
        start = loop.time()
        try:
            while True:
                self.peripheral.tick(loop.time() - start)
                wanted = self.connection is None and self.peripheral.advertising
                if wanted and not self._advertising:
                    self._advertising = True
                    await self.device.start_advertising(
                        advertising_interval_min=ADVERTISING_INTERVAL_MS,
                        advertising_interval_max=ADVERTISING_INTERVAL_MS,
                        advertising_data=bytes(
                            AdvertisingData(
                                [
                                    (AdvertisingData.FLAGS, b"\x06"),
                                    (
                                        AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                                        UUID(profile.SERVICE).to_bytes(),
                                    ),
                                ]
                            )
                        ),
                        scan_response_data=bytes(
                            AdvertisingData(
                                [
                                    (
                                        AdvertisingData.COMPLETE_LOCAL_NAME,
                                        self.peripheral.name.encode(),
                                    )
                                ]
                            )
                        ),
                    )
                await asyncio.sleep(CONNECTION_INTERVAL)
        finally:
            sender.cancel()

    async def _send(self) -> None:
        while True:
            uuid, value = await self._sending.get()
            if self.connection is not None:
                made = self._characteristics[uuid]
                await self.device.notify_subscriber(self.connection, made, value)


def make_backend(central: Device) -> Backend:
    """bleak's scanner and client over a bumble device."""

    class Scanner(BaseBleakScanner):
        def __init__(self, callback: Any, service_uuids: Any, mode: Any, **_: Any) -> None:
            super().__init__(callback, service_uuids)

        def _heard(self, advertisement: Any) -> None:
            uuids = [
                _full(uuid)
                for kind in (
                    AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                    AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                )
                for uuid in (advertisement.data.get(kind) or [])
            ]
            if not self.is_allowed_uuid(uuids):
                return
            name = advertisement.data.get(AdvertisingData.COMPLETE_LOCAL_NAME)
            address = str(advertisement.address)
            told = AdvertisementData(name, {}, {}, uuids, None, advertisement.rssi, ())
            device = self.create_or_update_device(
                address, address, name, advertisement.address, told
            )
            self.call_detection_callbacks(device, told)

        async def start(self) -> None:
            self.seen_devices = {}
            central.on("advertisement", self._heard)
            await central.start_scanning(active=True)

        async def stop(self) -> None:
            central.remove_listener("advertisement", self._heard)
            await central.stop_scanning()

    class Client(BaseBleakClient):
        def __init__(self, device: BLEDevice, services: Any = None, **options: Any) -> None:
            super().__init__(
                device,
                disconnected_callback=options["disconnected_callback"],
                timeout=options["timeout"],
            )
            self._target = device.details
            self._peer: Peer | None = None

        @property
        def name(self) -> str:
            return self.address

        @property
        def mtu_size(self) -> int:
            return self._peer.connection.att_mtu if self._peer else 23

        @property
        def is_connected(self) -> bool:
            return self._peer is not None

        def _ended(self, _reason: int) -> None:
            self._peer = None
            if self._disconnected_callback is not None:
                self._disconnected_callback()

        async def connect(self, pair: bool, **_: Any) -> None:
            try:
                connection = await central.connect(self._target, timeout=self._timeout)
            except ProtocolError as problem:
                raise BleakError(str(problem)) from problem
            connection.on("disconnection", self._ended)
            peer = Peer(connection)
            await peer.request_mtu(MTU)
            await peer.discover_services()
            await peer.discover_characteristics()
            self._peer = peer
            collection = BleakGATTServiceCollection()
            for service in peer.services:
                found = BleakGATTService(service, service.handle, _full(service.uuid))
                collection.add_service(found)
                for one in service.characteristics:
                    collection.add_characteristic(
                        BleakGATTCharacteristic(
                            one,
                            one.handle,
                            _full(one.uuid),
                            [p.name.lower() for p in type(one.properties) if p in one.properties],  # type: ignore[misc]
                            lambda: self.mtu_size - 3,
                            found,
                        )
                    )
            self.services = collection

        async def disconnect(self) -> None:
            if self._peer is not None:
                await self._peer.connection.disconnect()
            self.services = None

        async def pair(self, *_: Any, **__: Any) -> None:
            raise NotImplementedError

        async def unpair(self) -> None:
            raise NotImplementedError

        async def read_gatt_char(
            self, characteristic: BleakGATTCharacteristic, **_: Any
        ) -> bytearray:
            try:
                return bytearray(await characteristic.obj.read_value())
            except ATT_Error as problem:
                raise BleakGATTProtocolError(problem.error_code) from problem

        async def write_gatt_char(
            self, characteristic: BleakGATTCharacteristic, data: Any, response: bool
        ) -> None:
            try:
                await characteristic.obj.write_value(bytes(data), with_response=response)
            except ATT_Error as problem:
                raise BleakGATTProtocolError(problem.error_code) from problem

        async def read_gatt_descriptor(self, *_: Any, **__: Any) -> bytearray:
            raise NotImplementedError

        async def write_gatt_descriptor(self, *_: Any, **__: Any) -> None:
            raise NotImplementedError

        async def start_notify(
            self, characteristic: BleakGATTCharacteristic, callback: Any, **_: Any
        ) -> None:
            await characteristic.obj.subscribe(lambda value: callback(bytearray(value)))

        async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
            await characteristic.obj.unsubscribe()

    return Backend(Scanner, Client)


@contextlib.asynccontextmanager
async def controller_radio(
    peripherals: Sequence[VirtualPeripheral],
) -> AsyncIterator[BluetoothRadio]:
    """A radio of our own link module over virtual controllers."""
    link = LocalLink()
    central = _device(link, "recorder", "C0:C1:C2:C3:C4:C5")
    await central.power_on()
    tasks = [
        asyncio.create_task(ControllerPeripheral(link, one, number).run())
        for number, one in enumerate(peripherals)
    ]
    try:
        yield BluetoothRadio(backend=make_backend(central))
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.wait(tasks)

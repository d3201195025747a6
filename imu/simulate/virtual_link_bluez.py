"""A stand-in for the Linux Bluetooth service, so that the unmodified client can be run whole.

It owns the name ``org.bluez`` on a private D-Bus daemon and shows an adapter and virtual
sensors as devices, with the objects, signals and order of events that the client library
expects of the real service (BlueZ D-Bus API: org.bluez.Adapter, Device, GattCharacteristic).
Run in a process of its own by `virtual_link_process`.
"""

from __future__ import annotations

import asyncio
import functools
import os
import socket
import time
from collections.abc import Sequence
from typing import Any

from dbus_fast import ErrorType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from imu.recorder import profile
from imu.recorder.packet import ATT_HEADER_SIZE
from imu.simulate.virtual_link_peripheral import CONNECTION_INTERVAL, VirtualPeripheral

ADAPTER_PATH = "/org/bluez/hci0"
ADVERTISING_INTERVAL = 0.2

_ADAPTER = "org.bluez.Adapter1"
_DEVICE = "org.bluez.Device1"
_SERVICE = "org.bluez.GattService1"
_CHARACTERISTIC = "org.bluez.GattCharacteristic1"
_PROPERTIES = "org.freedesktop.DBus.Properties"
_MANAGER = "org.freedesktop.DBus.ObjectManager"

_TREE: dict[str, tuple[str, dict[str, tuple[str, list[str]]]]] = {
    "service0010": (
        profile.SERVICE,
        {
            "char0011": (profile.DATA, ["notify"]),
            "char0014": (profile.CONTROL, ["write"]),
            "char0016": (profile.BACKFILL, ["notify"]),
            "char0019": (profile.TIME, ["read"]),
            "char001b": (profile.INFO, ["read"]),
        },
    ),
    "service0020": (
        profile.DEVICE_INFORMATION,
        {
            "char0021": (profile.SERIAL_NUMBER, ["read"]),
            "char0023": (profile.FIRMWARE_REVISION, ["read"]),
        },
    ),
    "service0030": (profile.BATTERY_SERVICE, {"char0031": (profile.BATTERY_LEVEL, ["read"])}),
}


class _Device:
    """One virtual sensor as a Bluetooth device object."""

    def __init__(self, peripheral: VirtualPeripheral, number: int) -> None:
        self.peripheral = peripheral
        self.address = f"C0:FF:EE:00:00:{number:02X}"
        self.path = f"{ADAPTER_PATH}/dev_{self.address.replace(':', '_')}"
        self.sockets: dict[str, socket.socket] = {}
        self.owners: dict[str, str] = {}

    def properties(self, connected: bool) -> dict[str, Variant]:
        return {
            "Address": Variant("s", self.address),
            "AddressType": Variant("s", "random"),
            "Name": Variant("s", self.peripheral.name),
            "Alias": Variant("s", self.peripheral.name),
            "Adapter": Variant("o", ADAPTER_PATH),
            "UUIDs": Variant("as", [profile.SERVICE]),
            "RSSI": Variant("n", self.peripheral.rssi),
            "Connected": Variant("b", connected),
            "Paired": Variant("b", False),
            "Trusted": Variant("b", False),
            "ServicesResolved": Variant("b", connected),
        }

    def objects(self) -> dict[str, dict[str, dict[str, Variant]]]:
        """Service and characteristic objects, as they appear on connecting."""
        tree: dict[str, dict[str, dict[str, Variant]]] = {}
        for service, (uuid, characteristics) in _TREE.items():
            tree[f"{self.path}/{service}"] = {
                _SERVICE: {
                    "UUID": Variant("s", uuid),
                    "Device": Variant("o", self.path),
                    "Primary": Variant("b", True),
                }
            }
            for name, (char_uuid, flags) in characteristics.items():
                facts = {
                    "UUID": Variant("s", char_uuid),
                    "Service": Variant("o", f"{self.path}/{service}"),
                    "Flags": Variant("as", flags),
                    "MTU": Variant("q", self.peripheral.payload_size + ATT_HEADER_SIZE),
                    "Value": Variant("ay", b""),
                }
                if "notify" in flags:
                    facts["Notifying"] = Variant("b", False)
                    facts["NotifyAcquired"] = Variant("b", False)
                tree[f"{self.path}/{service}/{name}"] = {_CHARACTERISTIC: facts}
        return tree

    def uuid_of(self, path: str) -> str:
        service, characteristic = path.removeprefix(self.path + "/").split("/")
        return _TREE[service][1][characteristic][0]


class BluetoothStandIn:
    """Answers on a D-Bus connection as the Bluetooth service would.

    powered : False plays a Bluetooth that is switched off; adapter : False plays none at all.
    """

    def __init__(
        self,
        bus: MessageBus,
        peripherals: Sequence[VirtualPeripheral],
        powered: bool = True,
        adapter: bool = True,
    ) -> None:
        self._bus = bus
        self._powered, self._adapter = powered, adapter
        self._devices = [_Device(p, n) for n, p in enumerate(peripherals)]
        self._scanning: set[str] = set()
        self._start = time.monotonic()
        for device in self._devices:
            device.peripheral.on_drop = functools.partial(self._dropped, device)

    async def run(self) -> None:
        """Own the name and play until cancelled."""
        self._bus.add_message_handler(self._handle)
        await self._bus.call(
            Message(
                destination="org.freedesktop.DBus",
                path="/org/freedesktop/DBus",
                interface="org.freedesktop.DBus",
                member="AddMatch",
                signature="s",
                body=["type='signal',member='NameOwnerChanged'"],
            )
        )
        await self._bus.request_name("org.bluez")
        advertise_at = 0.0
        while True:
            world = time.monotonic() - self._start
            for device in self._devices:
                device.peripheral.tick(world)
            if self._scanning and world >= advertise_at:
                self._advertise()
                advertise_at = world + ADVERTISING_INTERVAL
            await asyncio.sleep(CONNECTION_INTERVAL)

    def _advertise(self) -> None:
        for device in self._devices:
            if device.peripheral.advertising:
                self._changed(device.path, _DEVICE, RSSI=Variant("n", device.peripheral.rssi))

    def _signal(
        self, path: str, interface: str, member: str, signature: str, body: list[Any]
    ) -> None:
        self._bus.send(Message.new_signal(path, interface, member, signature, body))

    def _changed(self, path: str, interface: str, **values: Variant) -> None:
        self._signal(path, _PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, values, []])

    def _managed(self) -> dict[str, dict[str, dict[str, Variant]]]:
        if not self._adapter:
            return {}
        tree: dict[str, dict[str, dict[str, Variant]]] = {
            ADAPTER_PATH: {
                _ADAPTER: {
                    "Address": Variant("s", "C0:FF:EE:FF:FF:FF"),
                    "Roles": Variant("as", ["central"]),
                    "Powered": Variant("b", self._powered),
                    "Discovering": Variant("b", bool(self._scanning)),
                }
            }
        }
        for device in self._devices:
            connected = device.peripheral.connected
            tree[device.path] = {_DEVICE: device.properties(connected)}
            if connected:
                tree |= device.objects()
        return tree

    def _handle(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL:
            if message.member == "NameOwnerChanged" and not message.body[2]:
                self._client_gone(message.body[0])
            return None
        if message.message_type is not MessageType.METHOD_CALL:
            return None
        path = message.path or ""
        if message.member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self._managed()])
        if path == ADAPTER_PATH:
            return self._adapter_call(message)
        device = next((d for d in self._devices if path.startswith(d.path)), None)
        if device is None:
            return Message.new_error(message, ErrorType.UNKNOWN_OBJECT, f"no object {path}")
        if path == device.path:
            return self._device_call(message, device)
        return self._characteristic_call(message, device)

    def _adapter_call(self, message: Message) -> Message:
        sender = message.sender or ""
        if not self._powered and message.member == "StartDiscovery":
            return Message.new_error(message, "org.bluez.Error.NotReady", "Resource Not Ready")
        if message.member == "StartDiscovery":
            self._scanning.add(sender)
        elif message.member == "StopDiscovery":
            self._scanning.discard(sender)
        elif message.member != "SetDiscoveryFilter":
            return Message.new_error(message, ErrorType.UNKNOWN_METHOD, str(message.member))
        return Message.new_method_return(message)

    def _device_call(self, message: Message, device: _Device) -> Message:
        if message.member == "Connect":
            if not device.peripheral.connect():
                return Message.new_error(
                    message, "org.bluez.Error.Failed", "le-connection-create-socket"
                )
            self._changed(device.path, _DEVICE, Connected=Variant("b", True))
            for path, interfaces in device.objects().items():
                self._signal("/", _MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])
            self._changed(device.path, _DEVICE, ServicesResolved=Variant("b", True))
        elif message.member == "Disconnect":
            device.peripheral.disconnect()
            self._dropped(device)
        else:
            return Message.new_error(message, ErrorType.UNKNOWN_METHOD, str(message.member))
        return Message.new_method_return(message)

    def _dropped(self, device: _Device) -> None:
        for end in device.sockets.values():
            end.close()
        device.sockets.clear()
        device.owners.clear()
        self._changed(device.path, _DEVICE, ServicesResolved=Variant("b", False))
        for path, interfaces in reversed(device.objects().items()):
            self._signal("/", _MANAGER, "InterfacesRemoved", "oas", [path, list(interfaces)])
        self._changed(device.path, _DEVICE, Connected=Variant("b", False))

    def _client_gone(self, name: str) -> None:
        """A client vanished: its scan and subscriptions end, its connections stay open."""
        self._scanning.discard(name)
        for device in self._devices:
            for uuid in [uuid for uuid, owner in device.owners.items() if owner == name]:
                self._unsubscribe(device, uuid)

    def _unsubscribe(self, device: _Device, uuid: str) -> None:
        device.owners.pop(uuid, None)
        end = device.sockets.pop(uuid, None)
        if end is not None:
            end.close()
        device.peripheral.unsubscribe(uuid)

    def _characteristic_call(self, message: Message, device: _Device) -> Message:
        path = message.path or ""
        if not device.peripheral.connected:
            return Message.new_error(message, "org.bluez.Error.Failed", "Not connected")
        uuid = device.uuid_of(path)
        if message.member == "ReadValue":
            value = device.peripheral.read(uuid)
            if isinstance(value, int):
                return _att_error(message, value)
            return Message.new_method_return(message, "ay", [value])
        if message.member == "WriteValue":
            error = device.peripheral.write(uuid, bytes(message.body[0]))
            return _att_error(message, error) if error else Message.new_method_return(message)
        if message.member == "StartNotify":
            device.owners[uuid] = message.sender or ""
            device.peripheral.subscribe(
                uuid,
                lambda payload: self._changed(path, _CHARACTERISTIC, Value=Variant("ay", payload)),
            )
            return Message.new_method_return(message)
        if message.member == "AcquireNotify":
            return self._acquire(message, device, uuid)
        if message.member == "StopNotify":
            self._unsubscribe(device, uuid)
            return Message.new_method_return(message)
        return Message.new_error(message, ErrorType.UNKNOWN_METHOD, str(message.member))

    def _acquire(self, message: Message, device: _Device, uuid: str) -> Message:
        ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        ours.setblocking(False)
        device.sockets[uuid] = ours
        device.owners[uuid] = message.sender or ""

        def deliver(payload: bytes) -> None:
            try:
                ours.send(payload)
            except BlockingIOError:
                device.peripheral.lost += 1
            except OSError:
                self._unsubscribe(device, uuid)

        device.peripheral.subscribe(uuid, deliver)
        mtu = device.peripheral.payload_size + ATT_HEADER_SIZE
        handle = theirs.detach()
        asyncio.get_running_loop().call_later(1.0, os.close, handle)
        return Message.new_method_return(message, "hq", [0, mtu], unix_fds=[handle])


def _att_error(message: Message, code: int) -> Message:
    return Message.new_error(
        message, "org.bluez.Error.Failed", f"Operation failed with ATT error: 0x{code:02x}"
    )


async def serve(
    address: str,
    peripherals: Sequence[VirtualPeripheral],
    powered: bool = True,
    adapter: bool = True,
    ready: asyncio.Event | None = None,
) -> None:
    """Play the Bluetooth service on the D-Bus daemon at ``address`` until cancelled."""
    bus = await MessageBus(bus_address=address, negotiate_unix_fd=True).connect()
    stand_in = BluetoothStandIn(bus, peripherals, powered, adapter)
    task = asyncio.create_task(stand_in.run())
    try:
        if ready is not None:
            await bus.introspect("org.freedesktop.DBus", "/org/freedesktop/DBus")
            ready.set()
        await task
    finally:
        task.cancel()
        bus.disconnect()

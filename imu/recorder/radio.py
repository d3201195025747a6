"""What the recorder needs of a radio, whatever carries it: real Bluetooth or a virtual link."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from imu.errors import SwingspreadError
from imu.recorder.profile import COMMAND_ERROR_TEXT, NAME_PREFIX

Sink = Callable[[int, bytes], None]
"""Takes the arrival (monotonic ns) and the bytes of a notification; must return at once."""


class RadioUnavailableError(SwingspreadError):
    """Bluetooth is off, missing or forbidden; the text says what to do on this platform."""


class LinkError(Exception):
    """One connection failed or ended; trying again may help."""


class CommandRefusedError(LinkError):
    """The sensor answered a write or read with an ATT error."""

    def __init__(self, code: int) -> None:
        super().__init__(COMMAND_ERROR_TEXT.get(code, f"ATT error 0x{code:02x}"))
        self.code = code


@dataclass(frozen=True)
class Sighting:
    """A sensor heard while scanning.

    address : its name for this host only (an address, or a number of the system's own).
    name : advertised name. rssi : signal strength in dBm, None when unknown.
    handle : whatever the radio needs to connect.
    """

    address: str
    name: str
    rssi: int | None
    handle: Any

    @property
    def serial(self) -> str:
        """Serial from the advertised name; empty when the name does not carry one."""
        return self.name.removeprefix(NAME_PREFIX) if self.name.startswith(NAME_PREFIX) else ""


class Connection(Protocol):
    """An open connection. ``lost`` is set when it ends for whatever reason."""

    lost: asyncio.Event

    @property
    def payload_size(self) -> int:
        """Bytes one notification can carry (ATT MTU less 3)."""
        ...

    async def read(self, characteristic: str) -> bytes:
        """Value of a characteristic. Raises LinkError."""
        ...

    async def write(self, characteristic: str, value: bytes) -> None:
        """Write with response. Raises LinkError, CommandRefusedError when the sensor says no."""
        ...

    async def subscribe(self, characteristic: str, sink: Sink) -> None:
        """Have notifications handed to ``sink``. Raises LinkError."""
        ...

    async def close(self) -> None:
        """End the connection; never raises."""
        ...


class Radio(Protocol):
    """Finds sensors and connects to them, one at a time."""

    async def scan(self, seconds: float, found: Callable[[Sighting], bool]) -> None:
        """Report sensors as they are heard until ``found`` returns True or time is up.

        Raises RadioUnavailableError.
        """
        ...

    async def connect(self, sighting: Sighting) -> Connection:
        """Connect. Raises LinkError, RadioUnavailableError."""
        ...

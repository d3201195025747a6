"""What bleak raises becomes words with a mend, on every platform."""

from __future__ import annotations

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
    BleakGATTProtocolError,
)

from imu.recorder import link
from imu.recorder.profile import CommandError
from imu.recorder.radio import CommandRefusedError, LinkError, RadioUnavailableError

PLATFORMS = ("linux", "darwin", "win32", "freebsd14")


@pytest.mark.parametrize("platform", PLATFORMS)
@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("none", "adapter|Mac"),
        ("off", "switch it on"),
        ("denied", "may not use"),
        ("service", "not running|does not offer"),
    ],
)
def test_every_platform_has_a_mend_for_every_trouble(platform: str, kind: str, words: str) -> None:
    with pytest.raises(RadioUnavailableError, match=words):
        raise link.unavailable(kind, platform)


@pytest.mark.parametrize("reason", BleakBluetoothNotAvailableReason)
def test_every_reason_of_the_library_is_translated(
    reason: BleakBluetoothNotAvailableReason,
) -> None:
    problem = link._translated(BleakBluetoothNotAvailableError("text", reason))
    assert isinstance(problem, RadioUnavailableError)


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("org.freedesktop.DBus.Error.ServiceUnknown", RadioUnavailableError, "not running"),
        ("org.freedesktop.DBus.Error.AccessDenied", RadioUnavailableError, "may not use"),
        ("org.bluez.Error.NotReady", RadioUnavailableError, "switched off"),
        ("org.bluez.Error.Failed", LinkError, "Failed"),
    ],
)
def test_errors_of_the_linux_service_are_told_apart(
    name: str, kind: type[Exception], words: str
) -> None:
    problem = link._translated(BleakDBusError(name, []))
    assert isinstance(problem, kind) and words in str(problem)


def test_a_refusal_carries_its_code_and_words() -> None:
    problem = link._translated(BleakGATTProtocolError(int(CommandError.BATTERY_EMPTY)))
    assert isinstance(problem, CommandRefusedError)
    assert problem.code == CommandError.BATTERY_EMPTY and "charge" in str(problem)


def test_a_bus_that_lets_nobody_in_is_no_service_that_is_down() -> None:
    problem = link._translated(PermissionError(13, "Permission denied"))
    assert isinstance(problem, RadioUnavailableError) and "may not use" in str(problem)


def test_other_failures_are_worth_another_try() -> None:
    assert isinstance(link._translated(TimeoutError()), LinkError)
    assert "in time" in str(link._translated(TimeoutError()))
    assert str(link._translated(BleakError(""))) == "BleakError"

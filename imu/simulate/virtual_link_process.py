"""Virtual Bluetooth in processes of their own: a private D-Bus daemon and the stand-in on it.

    with virtual_bluetooth(VirtualSetup()):
        ...  # this process's Bluetooth is now the virtual one

Only where there is a D-Bus daemon (Linux); elsewhere use the in-process link.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from imu.errors import SwingspreadError
from imu.recordings.manifest import manifest_from_json, manifest_to_json
from imu.simulate.virtual_link_motion import VirtualSetup, virtual_peripherals
from imu.simulate.virtual_link_peripheral import Faults, VirtualPeripheral
from imu.types import Manifest

BUS_VARIABLE = "DBUS_SYSTEM_BUS_ADDRESS"

_DAEMON_CONFIG = """\
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""


def virtual_bluetooth_possible() -> bool:
    """True where a private D-Bus daemon can be started."""
    return sys.platform == "linux" and shutil.which("dbus-daemon") is not None


@contextlib.contextmanager
def virtual_bluetooth(
    setup: VirtualSetup, powered: bool = True, adapter: bool = True
) -> Iterator[Manifest | None]:
    """Let this process's Bluetooth be the virtual one while the block runs.

    Gives what is known of the simulated player, None without one. Must be entered before the
    client library is first used in an event loop.
    Raises SwingspreadError where that is not possible.
    """
    if not virtual_bluetooth_possible():
        raise SwingspreadError("there is no dbus-daemon here; install the package dbus")
    before = os.environ.get(BUS_VARIABLE)
    with _stand_in(setup, powered, adapter) as (address, manifest):
        os.environ[BUS_VARIABLE] = address
        try:
            yield manifest
        finally:
            if before is None:
                os.environ.pop(BUS_VARIABLE, None)
            else:
                os.environ[BUS_VARIABLE] = before


@contextlib.contextmanager
def _stand_in(
    setup: VirtualSetup, powered: bool, adapter: bool
) -> Iterator[tuple[str, Manifest | None]]:
    document = {"setup": setup_to_json(setup), "powered": powered, "adapter": adapter}
    process = subprocess.Popen(
        [sys.executable, "-m", __name__, json.dumps(document)],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        if not line.strip():
            raise SwingspreadError("the virtual sensors did not start; the reason stands above")
        ready = json.loads(line)
        known = ready["manifest"]
        manifest = manifest_from_json(known, "the virtual player") if known else None
        yield ready["address"], manifest
    finally:
        _end(process)


def _end(process: subprocess.Popen[str]) -> None:
    process.terminate()
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    if process.stdout is not None:
        process.stdout.close()


def setup_to_json(setup: VirtualSetup) -> dict[str, Any]:
    """A setup as plain JSON values."""
    return asdict(setup)


def setup_from_json(document: dict[str, Any]) -> VirtualSetup:
    """A setup from ``setup_to_json``."""
    faults = {}
    for role, one in document["faults"].items():
        values: dict[str, Any] = dict(one)
        for key in ("drops", "stalls"):
            values[key] = tuple((start, length) for start, length in one[key])
        values["resets"] = tuple(one["resets"])
        faults[role] = Faults(**values)
    return VirtualSetup(**document | {"roles": tuple(document["roles"]), "faults": faults})


def main() -> None:
    """Play the sensors of the JSON document given until told to end, or left alone."""
    document = json.loads(sys.argv[1])
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    peripherals, manifest = virtual_peripherals(setup_from_json(document["setup"]))
    known = manifest_to_json(manifest) if manifest else None
    with (
        tempfile.TemporaryDirectory(prefix="swingspread-") as folder,
        _daemon(Path(folder)) as address,
    ):
        told = json.dumps({"address": address, "manifest": known})
        asyncio.run(_play(address, peripherals, document, told))


@contextlib.contextmanager
def _daemon(folder: Path) -> Iterator[str]:
    config = folder / "bus.conf"
    config.write_text(_DAEMON_CONFIG.format(socket=folder / "bus"), encoding="utf-8")
    process = subprocess.Popen(
        ["dbus-daemon", f"--config-file={config}", "--nofork", "--print-address"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        if not address:
            sys.exit("swingspread: the private dbus-daemon did not start; is dbus installed whole?")
        yield address
    finally:
        _end(process)


async def _play(
    address: str, peripherals: list[VirtualPeripheral], document: Mapping[str, Any], told: str
) -> None:
    """Play until told to end; says ``told`` on standard output once a client may come."""
    from imu.simulate.virtual_link_bluez import serve

    ready = asyncio.Event()
    parent = os.getppid()
    task = asyncio.create_task(
        serve(address, peripherals, document["powered"], document["adapter"], ready)
    )
    await asyncio.wait(
        {task, asyncio.create_task(ready.wait())}, return_when=asyncio.FIRST_COMPLETED
    )
    if not task.done():
        print(told, flush=True)
    while not task.done():
        await asyncio.wait({task}, timeout=1.0)
        if os.getppid() != parent:  # whoever started this is gone
            return
    task.result()


if __name__ == "__main__":
    main()

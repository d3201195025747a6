"""Two sensors at 1 kHz for minutes through the unmodified client. Run by hand:

SOAK_SECONDS=600 pytest -m soak tests/recorder -s
"""

from __future__ import annotations

import asyncio
import os
import time
from pathlib import Path

import numpy as np
import pytest
from virtual_recordings import MANIFEST, assembled, sample_numbers

from imu.recorder.find import choose_roles, find_sensors
from imu.recorder.folder import new_folder
from imu.recorder.session import RecordingSession
from imu.recordings.clock import fit_clock
from imu.simulate.virtual_link_motion import VirtualSetup
from imu.simulate.virtual_link_process import virtual_bluetooth, virtual_bluetooth_possible
from imu.types import CLUB, FOREARM

SECONDS = float(os.environ.get("SOAK_SECONDS", "0"))


@pytest.mark.soak
@pytest.mark.skipif(SECONDS <= 0, reason="long: set SOAK_SECONDS to run it")
@pytest.mark.skipif(not virtual_bluetooth_possible(), reason="no dbus-daemon here")
@pytest.mark.parametrize("start_notify", [True, False], ids=["signals", "socket"])
def test_no_sample_is_lost_over_minutes_at_little_cost(tmp_path: Path, start_notify: bool) -> None:
    from imu.recorder.link import BluetoothRadio

    folder = new_folder(tmp_path, MANIFEST)
    spent = 0.0

    async def run() -> RecordingSession:
        nonlocal spent
        radio = BluetoothRadio(use_start_notify=start_notify)
        found = await find_sensors(radio, 5.0, lambda heard: len(heard) >= 2)
        roles = choose_roles(found, {FOREARM: None, CLUB: None})
        session = RecordingSession(radio, folder, {r: s.serial for r, s in roles.items()})
        began, cpu = time.monotonic(), time.process_time()
        await session.run(SECONDS)
        spent = (time.process_time() - cpu) / (time.monotonic() - began)
        return session

    with virtual_bluetooth(VirtualSetup(motion=False)):
        session = asyncio.run(run())
    began = time.process_time()
    recording = assembled(folder)
    print(
        f"\nrecorder {100 * spent:.2f} % of a core, assembling {time.process_time() - began:.2f} s"
    )
    for role, stream in recording.streams.items():
        np.testing.assert_array_equal(np.diff(sample_numbers(stream)), 1)
        assert len(stream.seq) >= 0.98 * SECONDS * 1000
        status = session.captures[role].status
        fit = fit_clock(*_packets(stream.time, stream.host_time))
        print(
            f"{role}: {len(stream.seq)} samples, {status.backfilled} by backfill, "
            f"clock {1e6 * fit.model.drift:+.2f} ppm, envelope ± {1e3 * fit.envelope_se:.3f} ms"
        )
    assert spent < 0.10


def _packets(time_s: np.ndarray, host: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    last = np.flatnonzero(np.isfinite(host) & np.r_[host[1:] != host[:-1], True])
    return time_s[last], host[last]

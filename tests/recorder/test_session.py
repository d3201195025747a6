"""A recording under way: what it asks of the sensors, and how it ends when something fails."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from virtual_recordings import assembled, peripheral, record, sample_numbers

from imu.recorder import journal as journals
from imu.recorder import profile
from imu.recorder.capture import CaptureStatus
from imu.recorder.journal import read_journal
from imu.recorder.session import RecordingSession
from imu.types import CLUB


class FullDisk:
    """Takes nothing while ``full``, as a disk without space."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.full = False
        real = os.write

        def write(file: int, data: Any) -> int:
            if self.full:
                raise OSError(errno.ENOSPC, "No space left on device")
            return real(file, data)

        monkeypatch.setattr(journals.os, "write", write)


def test_a_recording_that_ends_on_a_full_disk_waits_for_space_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk, told = FullDisk(monkeypatch), []

    def watch(_states: dict[str, CaptureStatus], warning: str) -> None:
        told.append(warning)
        if "ending waits" in warning:
            disk.full = False

    def fill(session: RecordingSession) -> None:
        disk.full = disk.full or session.captures[CLUB].intake.received > 2000

    club = peripheral(CLUB)
    _, folder = record(tmp_path, {CLUB: club}, 6.0, 4.0, during=fill, watcher=watch)
    assert any("the disk is full" in words and "ending waits" in words for words in told)
    (path,) = folder.journals()[CLUB]
    assert read_journal(path).closed
    numbers = sample_numbers(assembled(folder).streams[CLUB])
    np.testing.assert_array_equal(np.diff(numbers), 1)
    assert len(numbers) > 4000


def failing_after_a_while(problem: Exception) -> Callable[[dict[str, CaptureStatus], str], None]:
    def watch(states: dict[str, CaptureStatus], _warning: str) -> None:
        if states[CLUB].received > 1000:
            raise problem

    return watch


def test_a_screen_that_is_gone_ends_no_recording(tmp_path: Path) -> None:
    def still_on(session: RecordingSession) -> None:
        assert not session.stop.is_set()

    gone = failing_after_a_while(BrokenPipeError(errno.EPIPE, "Broken pipe"))
    club = peripheral(CLUB)
    session, folder = record(tmp_path, {CLUB: club}, 6.0, 4.0, during=still_on, watcher=gone)
    assert session.captures[CLUB].status.state == "stopped"
    assert len(assembled(folder).streams[CLUB].seq) > 5000


def test_what_nobody_foresaw_ends_the_recording_in_order_and_is_raised(tmp_path: Path) -> None:
    failing = failing_after_a_while(KeyError("unforeseen"))
    with pytest.raises(KeyError, match="unforeseen"):
        record(tmp_path, {CLUB: peripheral(CLUB)}, 6.0, 4.0, watcher=failing)
    (path,) = tmp_path.glob("*/club.journal")
    assert read_journal(path).closed


@pytest.mark.parametrize("left_running", [False, True])
def test_the_rate_asked_for_is_that_of_every_sample(tmp_path: Path, left_running: bool) -> None:
    """Also of a sensor that a killed recorder left sampling at another rate."""
    club = peripheral(CLUB)
    if left_running:
        assert club.sensor.command(profile.start(), 244, True) == 0
    _, folder = record(tmp_path, {CLUB: club}, 6.0, 4.0, rate_hz=500)
    stream = assembled(folder).streams[CLUB]
    assert stream.rate_hz == 500
    np.testing.assert_array_equal(np.diff(stream.seq), 1)
    np.testing.assert_allclose(np.diff(stream.time), 0.002, rtol=0.01)

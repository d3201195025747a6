"""The search for sensors, as the Record page asks for it."""

from __future__ import annotations

import subprocess
from typing import Any

import pytest

from app.recording_setup import look_for_sensors
from imu.errors import SwingspreadError


def ended(monkeypatch: pytest.MonkeyPatch, out: str, err: str = "") -> list[list[str]]:
    """The command ends with these words; how it was asked."""
    asked: list[list[str]] = []

    def run(command: list[str], **_: Any) -> subprocess.CompletedProcess[str]:
        asked.append(command)
        return subprocess.CompletedProcess(command, int(bool(err)), out, err)

    monkeypatch.setattr(subprocess, "run", run)
    return asked


def test_what_was_heard_is_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ended(monkeypatch, '[{"serial": "A1"}]', "a warning of the radio")
    assert look_for_sensors("-A1") == [{"serial": "A1"}]
    assert asked[0][-1] == "--identify=-A1"


@pytest.mark.parametrize(
    ("err", "said"),
    [
        ("a warning\nswingspread: no Bluetooth here", "^no Bluetooth here$"),
        ("", "ended without a word"),
    ],
)
def test_why_nothing_was_heard_is_said(
    err: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended(monkeypatch, "", err)
    with pytest.raises(SwingspreadError, match=said):
        look_for_sensors()


def test_a_radio_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def run(command: list[str], timeout: float, **_: Any) -> None:
        raise subprocess.TimeoutExpired(command, timeout)

    monkeypatch.setattr(subprocess, "run", run)
    with pytest.raises(SwingspreadError, match="did not end within 60 s"):
        look_for_sensors()

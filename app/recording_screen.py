"""What `swingspread record` shows: one status line on stderr, a line for each swing on stdout."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from typing import Any, TextIO

from app.live_words import DIGITS, further_metrics, value_and_error
from imu.cautions import BEFORE_SWINGING, YOUNG_PLAYERS
from imu.columns import METRIC_BY_NAME
from imu.number_words import number, with_unit
from imu.recorder.capture import CaptureStatus
from imu.recorder.find import FoundSensor
from imu.recorder.folder import JournalFolder
from imu.recorder.journal import Kind, read_journal
from imu.recorder.packet import describe_ranges
from imu.recordings.names import printable

SHOWN = ("tempo_ratio", "downswing_ms", "release_ms", "hinge_max_deg", "lag_at_parallel_deg")


class RecordingScreen:
    """Prints; keeps the status line below what is said, where stderr is a terminal."""

    def __init__(self) -> None:
        self._line = ""
        self._told: dict[str, str] = {}
        self._terminal = sys.stderr.isatty()

    def cautions(self) -> None:
        """What to mind before swinging."""
        for caution in (*BEFORE_SWINGING, YOUNG_PLAYERS):
            self.say(caution)

    def say(self, text: str) -> None:
        """One line for people, on stderr."""
        self.clear()
        _print(f"{printable(text)}\n", sys.stderr)
        self._redraw()

    def found(self, role: str, sensor: FoundSensor) -> None:
        """A sensor that will be recorded."""
        facts = [sensor.serial]
        if sensor.battery is not None:
            facts.append(f"battery {sensor.battery} %")
        if sensor.rssi is not None:
            facts.append(f"signal {sensor.rssi} dBm")
        if sensor.info is not None:
            facts += [f"{sensor.info.rate_hz} Hz", describe_ranges(sensor.info.range_code)]
        self.say(f"{role}: {', '.join(facts)}")

    def states(self, states: dict[str, CaptureStatus], warning: str) -> None:
        """How the sensors are doing."""
        self._line = "  |  ".join(state_words(status) for status in states.values())
        if warning:
            self._tell("disk", f"warning: {warning}")
        for role, status in states.items():
            self._tell(role, f"{role}: {status.problem}" if status.problem else "")
            if status.battery is not None and status.battery <= 15:
                self._tell(f"{role} battery", f"{role}: battery low, {status.battery} %")
        self._redraw()

    def _tell(self, about: str, text: str) -> None:
        if text and self._told.get(about) != text:
            self.say(text)
        self._told[about] = text

    async def swings(self, folder: JournalFolder) -> None:
        """Print each swing as the live analysis finds it, until cancelled."""
        offset, path = 0, None
        while True:
            latest = await asyncio.to_thread(folder.account, "swings")
            if latest is not None:
                offset = offset if latest == path else 0
                path = latest
                journal = await asyncio.to_thread(read_journal, path, offset)
                offset = journal.next_offset
                for record in journal.records:
                    self._swing(record.json() if record.kind is Kind.EVENT else {})
            await asyncio.sleep(0.02)

    def _swing(self, event: dict[str, Any]) -> None:
        if event.get("type") == "swing":
            self.clear()
            _print(f"{printable(swing_words(event))}\n", sys.stdout)
            self._redraw()
        elif event.get("type") == "problem":
            self.say(f"a swing's numbers could not be worked out just now: {event['text']}")

    def clear(self) -> None:
        """Take the status line away."""
        if self._terminal:
            _print("\r\x1b[K", sys.stderr)

    def _redraw(self) -> None:
        if self._terminal and self._line:
            _print(f"\r\x1b[K{printable(self._line)[:110]}", sys.stderr)


def _print(text: str, where: TextIO) -> None:
    """Print at once; a terminal that is closed is no reason to end a recording."""
    with contextlib.suppress(OSError):
        print(text, end="", file=where, flush=True)


def state_words(status: CaptureStatus) -> str:
    """One sensor in a few words."""
    words = [status.role, status.state]
    if status.info is not None and status.received:
        words.append(f"{status.received / status.info.rate_hz:.0f} s")
    if status.missing:
        words.append(f"fetching {status.missing}")
    if status.lost:
        words.append(f"lost {status.lost}")
    if status.battery is not None:
        words.append(f"battery {status.battery} %")
    return " ".join(words)


def swing_words(event: dict[str, Any]) -> str:
    """One swing in a line."""
    words = [f"swing {event['number']}", str(event["kind"])]
    for name in (*SHOWN, *further_metrics(event)):
        value, se = value_and_error(event, name)
        metric = METRIC_BY_NAME[name]
        if value is None:
            words.append(f"{metric.label.lower()} unknown")
            continue
        digits = DIGITS.get(metric.unit, 1)
        error = "" if se is None else f" ± {number(se, max(digits, 1))}"
        said = with_unit(f"{number(value, digits)}{error}", metric.unit)
        words.append(f"{metric.label.lower()} {said}")
    if event.get("quality") != "good":
        words.append(str(event.get("quality")))
    return "   ".join(words) + f"   ({event['after_impact_ms'] / 1000:.1f} s after impact)"

"""What the live analysis has told of a recording so far, over all its interruptions."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from typing import Any

from imu.recorder.folder import JournalFolder
from imu.recorder.journal import Kind, read_journal
from imu.recordings.notes import SAME_SWING_S, RecordingNotes
from imu.variation.blocks import AFTER_LAST_US, BlockSwing

COUNTED_QUALITIES = ("good", "fair")


def live_events(folder: JournalFolder) -> list[dict[str, Any]]:
    """Events in order: swings, calibration, clocks, problems. Each swing once, numbered through."""
    events: list[dict[str, Any]] = []
    impacts: list[float] = []
    for path in folder.accounts("swings"):
        for record in read_journal(path).records:
            event = record.json() if record.kind is Kind.EVENT else {}
            if event.get("type") != "swing":
                events += [event] if event else []
                continue
            impact = float(event["impact_club_clock_us"])
            if any(abs(impact - one) <= SAME_SWING_S * 1e6 for one in impacts):
                continue  # found once more when the recording was taken up again
            impacts.append(impact)
            events.append({**event, "number": len(impacts)})
    return events


def live_swings(folder: JournalFolder) -> list[dict[str, Any]]:
    """The swings among them."""
    return [event for event in live_events(folder) if event.get("type") == "swing"]


def block_swings(swings: Sequence[Mapping[str, Any]], notes: RecordingNotes) -> list[BlockSwing]:
    """Live swings as the blocks of a plan count them: struck, of fair quality, not left out."""
    return [
        BlockSwing(swing["impact_club_clock_us"], swing_counts(swing, notes)) for swing in swings
    ]


def swing_counts(swing: Mapping[str, Any], notes: RecordingNotes) -> bool:
    """Whether a live swing counts: what the statistics will take, as far as is known now."""
    note = notes.find(swing["impact_club_clock_us"])
    sound = swing["kind"] == "ball" and swing.get("quality", "good") in COUNTED_QUALITIES
    return sound and not (note and note.left_out)


def club_clock_now_us(
    swings: Sequence[Mapping[str, Any]], monotonic_ns: int | None = None
) -> float:
    """The club sensor's clock at this moment, from the latest swing; 0 before the first.

    Good to about the delay of the radio, and never before the end of that swing: enough to part
    one swing from the next. monotonic_ns : host time, now when not given.
    """
    if not swings:
        return 0.0
    latest = swings[-1]
    now = time.monotonic_ns() if monotonic_ns is None else monotonic_ns
    # Another monotonic clock than the swing's (the machine was started anew) gives no time since.
    since_us = max(AFTER_LAST_US, (now - latest.get("host_ns", now)) * 1e-3)
    return float(latest["impact_club_clock_us"]) + since_us

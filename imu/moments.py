"""Moments as recordings state them: ISO 8601 texts, of any offset from UTC or of none."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

EARLIEST = datetime.min.replace(tzinfo=UTC)


def moment(text: str) -> datetime:
    """The moment a text states, to order by; without an offset it counts as UTC.

    What cannot be read comes before everything else: order is never a reason to refuse.
    """
    try:
        read = datetime.fromisoformat(text.strip())
        return read.astimezone(UTC) if read.tzinfo else read.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        return EARLIEST


def clock_doubt(now: datetime, latest: datetime) -> str:
    """Words when the computer's clock is behind what was recorded last, so that a session would be
    put in the wrong place; "" when there is no such doubt."""
    if latest - now < timedelta(hours=12):
        return ""
    return (
        f"this computer's clock says {now:%Y-%m-%d %H:%M}, but the last recording is of "
        f"{latest.astimezone(now.tzinfo):%Y-%m-%d %H:%M}: set the clock, or sessions will be out "
        "of order"
    )

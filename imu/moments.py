"""Moments as recordings state them: ISO 8601 texts, of any offset from UTC or of none."""

from __future__ import annotations

from datetime import UTC, datetime

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

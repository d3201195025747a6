"""Numbers on pages: a dash where there is none, a space that does not break before the unit."""

from __future__ import annotations

import imu.number_words as words

MISSING = "–"
NO_BREAK = "\u00a0"


def plain(value: float | None, decimals: int) -> str:
    """The number with a true minus sign, or a dash when unknown."""
    return words.number(value, decimals, MISSING)


def with_unit(number: str, unit: str) -> str:
    """Number and unit as one; a dash stands alone."""
    return number if number == MISSING else words.with_unit(number, unit, NO_BREAK)

"""Numbers as people read them: rounded to their error, with a unit, never falsely precise."""

from __future__ import annotations

import math

MINUS = "−"
MISSING = "–"


def decimals_for(error: float, value: float = math.nan) -> int:
    """Decimals that show the first digit of ``error``, as is usual for a rounded result; without
    an error, three significant digits of ``value``."""
    if math.isfinite(error) and error > 0:
        return max(0, min(4, -math.floor(math.log10(error * 1.0000001))))
    if math.isfinite(value) and value != 0:
        return max(0, min(4, 2 - math.floor(math.log10(abs(value)))))
    return 1


def plain(value: float, decimals: int) -> str:
    """The number with a true minus sign, or a dash when unknown."""
    if value is None or not math.isfinite(value):
        return MISSING
    rounded = f"{value:.{decimals}f}"
    if float(rounded) == 0:
        rounded = rounded.lstrip("-")
    return rounded.replace("-", MINUS)


def with_unit(number: str, unit: str) -> str:
    """Number and unit with a no-break space; degrees sit close."""
    if not unit or number == MISSING:
        return number
    return f"{number}{unit}" if unit == "°" else f"{number}\u00a0{unit}"

"""Numbers as people read them: a true minus sign, no negative zero, no false precision, and one or
several of a thing."""

from __future__ import annotations

import math

MINUS = "−"


def decimals(size: float) -> int:
    """Decimals so that a number of this size shows two or three figures."""
    if not math.isfinite(size) or size == 0:
        return 0
    return max(0, min(4, 1 - math.floor(math.log10(abs(size)))))


def decimals_for(error: float, value: float = math.nan) -> int:
    """Decimals that show the first digit of ``error``, as is usual for a rounded result; without
    an error, three significant digits of ``value``."""
    if math.isfinite(error) and error > 0:
        return max(0, min(4, -math.floor(math.log10(error * 1.0000001))))
    if math.isfinite(value) and value != 0:
        return max(0, min(4, 2 - math.floor(math.log10(abs(value)))))
    return 1


def number(value: float | None, places: int, unknown: str = "unknown") -> str:
    """A number with ``places`` decimals; ``unknown`` when there is none."""
    if value is None or not math.isfinite(value):
        return unknown
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def counted(count: int, noun: str) -> str:
    """ "1 session", "3 sessions"."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def with_unit(text: str, unit: str, space: str = " ") -> str:
    """Number and unit as one: 12.5°, 14 ms, 3.1. Degrees sit close."""
    if not unit:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text}{space}{unit}"

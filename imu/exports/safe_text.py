"""Text made harmless for the spreadsheet that will open it."""

from __future__ import annotations

import re

import pandas as pd

_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def plain_cell(text: str) -> str:
    """Text that a spreadsheet shows and never runs (CWE-1236).

    A leading =, +, -, @, tab or line end gets an apostrophe before it, as OWASP's page on CSV
    injection advises; control characters are dropped.
    """
    cleaned = _CONTROL.sub("", text)
    return f"'{cleaned}" if cleaned.lstrip(" ").startswith(_STARTS_A_FORMULA) else cleaned


def plain_table(table: pd.DataFrame) -> pd.DataFrame:
    """A copy whose text cells are all ``plain_cell``; numbers are left as they are."""
    safe = table.copy()
    for name in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[name]):
            safe[name] = [
                plain_cell(cell) if isinstance(cell, str) else cell for cell in safe[name]
            ]
    return safe

"""Numbers and findings as the commands print them: rich tables, and plain JSON values."""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from rich.console import Console


def console() -> Console:
    """A console as wide as the terminal; 120 columns where output is no terminal."""
    from rich.console import Console

    terminal = sys.stdout.isatty()
    return Console(highlight=False, soft_wrap=not terminal, width=None if terminal else 120)


def safe(text: str) -> str:
    """Text for the console: no control characters, no markup."""
    from rich.markup import escape

    from imu.recordings.names import printable

    return escape(printable(text))


def with_ends(value: float, low: float, high: float, places: int) -> str:
    """A number with the ends of its interval, as "4.0 (2.9 to 6.5)"; without them where there is
    no interval, or nothing between its ends."""
    from imu.number_words import number

    shown = number(value, places)
    return f"{shown} ({number(low, places)} to {number(high, places)})" if low < high else shown


def sensors_part(row: Mapping[Any, Any], name: str) -> str:
    """What is owed to the sensors in a row of the spread table (``noise_sd``,
    ``least_difference``): by its own digits, with ≤ where some of it may be shared by all swings,
    "?" when unknown."""
    from imu.number_words import decimals, number
    from imu.variation.noise import AT_MOST

    value = row[name]
    if value != value:
        return "?"
    return f"{'≤ ' if row['noise_is'] == AT_MOST else ''}{number(value, decimals(value))}"


def print_table(
    shown: Console,
    title: str,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    words: int = 1,
) -> None:
    """One table: the first ``words`` columns hold words, the others numbers, to the right."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title=title or None, title_justify="left")
    for place, heading in enumerate(headings):
        table.add_column(
            heading, justify="left" if place < words else "right", no_wrap=place >= words
        )
    for row in rows:
        table.add_row(*(safe(cell) for cell in row))
    shown.print(table)


def print_lines(shown: Console, heading: str, lines: Iterable[str], mark: str = "•") -> None:
    """A heading and a list below it; nothing when there are no lines."""
    told = list(lines)
    if not told:
        return
    if heading:
        shown.print(f"[bold]{safe(heading)}[/bold]")
    for line in told:
        shown.print(f"{mark} {safe(line)}")


def plain(value: Any) -> Any:
    """Plain JSON values of dataclasses, tables and arrays; unknown numbers become null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, pd.DataFrame):
        return [plain(row) for row in value.to_dict("records")]
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is pd.NA or (isinstance(value, float) and not np.isfinite(value)):
        return None
    return value


def print_json(document: Any) -> None:
    """The document as JSON on stdout."""
    json.dump(plain(document), sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
    print()

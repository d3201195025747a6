"""JSON files written by people: read with messages that help them mend it."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from imu.errors import SwingspreadError

LARGEST_JSON = 4 << 20
"""Bytes a hand-written JSON file may have."""
_LONGEST_SHOWN = 60
"""Characters of a wrong value that a message repeats."""


def json_float(value: float) -> float:
    """A number of a JSON file as a float; infinite when it is too large for one."""
    try:
        return float(value)
    except OverflowError:  # JSON sets whole numbers no limit
        return math.inf if value > 0 else -math.inf


def read_json_object(path: Path | str) -> dict[str, Any]:
    """The JSON object in a file.

    Raises SwingspreadError, naming file, line and column, when it is missing, unreadable,
    malformed, or holds something other than an object.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_JSON:
            raise SwingspreadError(f"{path.name}: too large for a JSON description; wrong file?")
        text = path.read_bytes().decode("utf-8-sig")
        document = json.loads(text)
    except FileNotFoundError as problem:
        raise SwingspreadError(f"{path}: no such JSON file; check the path") from problem
    except OSError as problem:
        raise SwingspreadError(f"{path}: cannot be read ({problem.strerror})") from problem
    except json.JSONDecodeError as problem:
        raise SwingspreadError(
            f"{path.name}, line {problem.lineno}, column {problem.colno}: not valid JSON "
            f"({problem.msg}); mend it there"
        ) from problem
    except (ValueError, RecursionError) as problem:
        raise SwingspreadError(f"{path.name}: not valid JSON text in UTF-8") from problem
    if not isinstance(document, dict):
        raise SwingspreadError(f"{path.name}: should hold one JSON object, in braces")
    return document


class JsonObject:
    """Typed access to a JSON object, with file and key in every message.

    values : the object. where : the file's name. path : keys down to here, for messages.
    """

    def __init__(self, values: Any, where: str, path: str = "") -> None:
        if not isinstance(values, Mapping):
            raise SwingspreadError(f"{where}: {path or 'the file'} should be an object in braces")
        self.values: Mapping[str, Any] = values
        self.where, self.path = where, path

    def full(self, key: str) -> str:
        """The key with the keys above it."""
        return f"{self.path}.{key}" if self.path else key

    def problem(self, key: str, text: str) -> SwingspreadError:
        """An error about one key."""
        return SwingspreadError(f"{self.where}: {self.full(key)} {text}")

    def has(self, key: str) -> bool:
        """True when the key is there and not null."""
        return self.values.get(key) is not None

    def need(self, key: str, example: str) -> Any:
        """The value; an error with an example when it is missing."""
        if not self.has(key):
            raise self.problem(key, f'is missing; add for example "{key}": {example}')
        return self.values[key]

    def inside(self, key: str) -> JsonObject:
        """The object under ``key``, empty when missing."""
        return JsonObject(self.values.get(key) if self.has(key) else {}, self.where, self.full(key))

    def text(self, key: str, default: str = "") -> str:
        """Text, or the default when missing."""
        value = self.values.get(key) if self.has(key) else default
        if not isinstance(value, str):
            raise self.problem(key, f"should be text in quotes, is {_shown(value)}")
        return value

    def choice(self, key: str, value: Any, allowed: Collection[str]) -> str:
        """``value`` when it is one of the allowed words."""
        if not isinstance(value, str) or value not in allowed:
            raise self.problem(key, f"should be {' or '.join(allowed)}, is {_shown(value)}")
        return value

    def number(self, key: str, low: float, high: float, unit: str, example: str = "1") -> float:
        """A needed number within [low, high]; the unit is for the message."""
        value = self.need(key, example)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.problem(key, f"should be a number, is {_shown(value)}")
        size = json_float(value)
        if not math.isfinite(size):
            raise self.problem(key, f"should be a finite number, is {_shown(value)}")
        if not low <= size <= high:
            given = f"{size:g} {unit}".rstrip()
            limits = f"{low:g} to {high:g} {unit}".rstrip()
            raise self.problem(key, f"is {given}; expected {limits}")
        return size

    def check_keys(self, known: Collection[str]) -> None:
        """Refuse a key that nobody would read, most often a typing error."""
        for key in self.values:
            if key not in known:
                close = difflib.get_close_matches(str(key), known, n=1)
                meant = f"; did you mean {close[0]!r}?" if close else "."
                raise self.problem(
                    str(key), f"is not a known key{meant} Keys known here: {', '.join(known)}"
                )


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"

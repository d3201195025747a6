"""A set said in one line, as typed on the command line or kept in an address bar.

``player=Ada Fairway,block=pressure,since=2026-03-01``; several values of one field are parted
by ``|``. A ``|`` of a value's own is written ``\\|``, a comma that a field's word follows ``\\,``,
and a backslash before one of these, or at the end of a value, ``\\\\``.
"""

from __future__ import annotations

import datetime
import re

from imu.errors import SwingspreadError
from imu.variation.selection import Selection

FIELDS: dict[str, str] = {
    "recording": "recordings",
    "player": "players",
    "club": "clubs",
    "session": "sessions",
    "block": "blocks",
    "direction": "directions",
    "outcome": "outcomes",
    "kind": "kinds",
    "quality": "qualities",
    "since": "since",
    "until": "until",
    "date": "date",
}
"""Word in the line, and the field of ``Selection`` it fills. ``date`` fills both ends."""

_CHOICES = {
    "directions": ("left", "straight", "right"),
    "outcomes": ("good", "bad"),
    "kinds": ("ball", "practice"),
    "qualities": ("good", "fair", "poor"),
}


_NEXT_FIELD = rf",(?=\s*(?:{'|'.join(FIELDS)})\s*=)"
_KEPT = r"\\[\\|,]"
"""A backslash and what it keeps from being read as a sign."""


def is_selection(text: str) -> bool:
    """Whether the text reads as a selection, not as a name: it begins with a known field."""
    match = re.match(r"\s*([a-z]+)\s*=", text)
    return match is not None and match.group(1) in FIELDS


def parse_selection(text: str) -> Selection:
    """Read a line such as ``player=Ada,block=practice|warm-up``.

    A comma parts two fields only where a known field follows it, so values may hold commas.
    Raises SwingspreadError naming the part that cannot be read.
    """
    made: dict[str, tuple[str, ...] | str] = {}
    for part in _parted(text.strip(), _NEXT_FIELD):
        word, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or word not in FIELDS:
            known = ", ".join(FIELDS)
            raise SwingspreadError(f"{part.strip()!r} is not field=value with a field of: {known}")
        parts = (re.sub(_KEPT, lambda kept: kept[0][1], one) for one in _parted(value, r"\|"))
        values = tuple(one.strip() for one in parts if one.strip())
        if not values:
            raise SwingspreadError(f"{word}= needs a value")
        name = FIELDS[word]
        if name in made or (name == "date" and {"since", "until"} & made.keys()):
            raise SwingspreadError(f"{word} is given twice; part several values with |")
        if name in ("since", "until", "date"):
            day = _day(word, value)
            made.update({"since": day, "until": day} if name == "date" else {name: day})
            continue
        for one in values:
            if name in _CHOICES and one not in _CHOICES[name]:
                choices = ", ".join(_CHOICES[name])
                raise SwingspreadError(f"{word}={one}: use one of {choices}")
        made[name] = values
    return Selection(**made)  # type: ignore[arg-type]


def _parted(text: str, sign: str) -> list[str]:
    """The text cut at every sign that no backslash keeps."""
    cuts = [
        found.span() for found in re.finditer(f"{_KEPT}|(?P<sign>{sign})", text) if found["sign"]
    ]
    starts, ends = [0, *(end for _, end in cuts)], [*(start for start, _ in cuts), len(text)]
    return [text[start:end] for start, end in zip(starts, ends, strict=True)]


def _kept(value: str) -> str:
    """A value with a backslash before what would be read as a sign."""
    doubled = re.sub(r"\\(?=[\\|,]|$)", r"\\\\", value)
    return re.sub(rf"\||{_NEXT_FIELD}", lambda sign: f"\\{sign[0]}", doubled)


def _day(word: str, value: str) -> str:
    try:
        return datetime.date.fromisoformat(value).isoformat()
    except ValueError as problem:
        raise SwingspreadError(f"{word}={value}: write the day as YYYY-MM-DD") from problem


def write_selection(selection: Selection) -> str:
    """The line that ``parse_selection`` reads back, "" for what it takes unsaid. Swings picked or
    left out by hand have no place in it."""
    plain = Selection()
    parts = []
    for word, name in FIELDS.items():
        if name == "date":
            continue
        value = getattr(selection, name)
        if value and value != getattr(plain, name):
            values = (value,) if isinstance(value, str) else value
            parts.append(f"{word}={'|'.join(_kept(one) for one in values)}")
    return ",".join(parts)

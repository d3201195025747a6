"""Usual lengths of clubs; the person may give another."""

import re

CLUB_LENGTHS_CM: dict[str, float] = {
    "driver": 114,
    "3-wood": 109,
    "5-wood": 107,
    "hybrid": 102,
    "4-iron": 98,
    "5-iron": 97,
    "6-iron": 95,
    "7-iron": 94,
    "8-iron": 93,
    "9-iron": 91,
    "wedge": 89,
}
"""cm, common practice, no source."""


def usual_length_cm(name: str) -> float | None:
    """Usual length of a club in cm by its name, such as "7-iron" or "iron7"; None if unknown."""
    spelled = re.sub(r"^(iron|wood)[ -]?(\d)$", r"\2-\1", name.strip().lower())
    return CLUB_LENGTHS_CM.get(spelled)

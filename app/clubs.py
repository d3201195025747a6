"""Usual lengths of clubs; the person may give another."""

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

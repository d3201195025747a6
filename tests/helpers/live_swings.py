"""A swing as the live analysis tells it."""

from __future__ import annotations

from typing import Any


def swing(number: int, tempo: float = 3.0, **more: Any) -> dict[str, Any]:
    """Swing ``number`` with its impact every ten seconds of the club's clock; ``more`` of it."""
    return {
        "type": "swing",
        "number": number,
        "kind": "ball",
        "quality": "good",
        "impact_club_clock_us": number * 10e6,
        "after_impact_ms": 900,
        "metrics": {
            "tempo_ratio": [tempo, 0.01],
            "release_ms": [88.0, 0.6],
            "hinge_max_deg": [96.0, 0.7],
        },
        **more,
    }

"""A wrong set-up, named: what is wrong with which sensor, the evidence, and the mend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

SWAPPED = "sensors exchanged"
UNMOVED = "sensor not moving"
WRONG_ARM = "sensor on the trail arm"
HANDEDNESS = "handedness contradicted"
LOOSE = "loose sensor"
DISTANCE = "declared distance contradicted"
ARM_LENGTH = "declared arm length contradicted"
SLIPPED = "sensor slipped"
MOVED = "sensor moved"
CLUB_CHANGED = "club changed"

FAIR_AT_MOST, POOR_AT_MOST = "fair", "poor"


@dataclass(frozen=True)
class SetupFinding:
    """One thing found wrong with the set-up.

    kind : one of the names above. message : what is wrong, with the sensor. evidence : what was
    seen, with numbers. mend : what to do. swings : numbers of the swings touched. grade : the
    best grade those swings may keep ("" any).
    """

    kind: str
    message: str
    evidence: str
    mend: str
    swings: tuple[int, ...] = ()
    grade: str = ""

    @property
    def words(self) -> str:
        """The finding in full."""
        return f"{self.message} ({self.evidence}). {self.mend}"


def named(swings: Sequence[int]) -> str:
    """Swing numbers in words: "swing 3", "swings 3 and 5", "swings 3 to 9", "swings 1, 4 and 6"."""
    if len(swings) == 1:
        return f"swing {swings[0]}"
    if len(swings) > 2 and list(swings) == list(range(swings[0], swings[-1] + 1)):
        return f"swings {swings[0]} to {swings[-1]}"
    first = ", ".join(str(number) for number in swings[:-1])
    return f"swings {first} and {swings[-1]}"


def merged(findings: Sequence[SetupFinding]) -> tuple[SetupFinding, ...]:
    """The same thing found in several parts of a session said once, for the swings of all."""
    once: dict[tuple[str, str], SetupFinding] = {}
    for found in findings:
        key = (found.kind, found.message)
        if key in once:
            found = replace(once[key], swings=(*once[key].swings, *found.swings))
        once[key] = found
    return tuple(once.values())

"""Where a session must be split: a sensor turned on its segment, or another club taken.

The angle between the two sensors at address (``imu.fusion.setup_signs``) is all but constant
while nothing moves. A step in it is searched by binary segmentation (Scott & Knott 1974,
Biometrics 30:507-512): the split that leaves least scatter within the parts, taken when the step is
large in itself and against what usually lies between one swing and the next; then each part again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.setup_finding import CLUB_CHANGED, MOVED, SLIPPED, SetupFinding, named
from imu.fusion.setup_signs import SwingSigns, wrapped
from imu.types import CLUB, FOREARM, FloatArray
from imu.units import DEG

LEAST_STEP = 8.0 * DEG
"""A smaller step may be a grip taken a little otherwise."""
LEAST_STEP_WITH_LIE = 4.0 * DEG
LEAST_LIE_STEP = 2.5 * DEG
"""Where the lie steps too, by this at least, a smaller step counts: another club."""
_SCATTERS = 5.0
_LIE_ERRORS = 5.0
"""How many times the usual scatter a step must be, and its standard error a step of the lie."""
_SCATTER_FLOOR = 1.0 * DEG
_NEAR = 4
"""Swings on each side of a step from which its size is read."""
_OF_STRIKE = 0.4
"""Part of a step that a sensor must have turned in the strike before to have slipped in it."""
_FEWEST = 2
"""Swings on each side that make a step of more than one odd swing."""


@dataclass(frozen=True)
class Step:
    """A split before swing index ``at``.

    angle : rad, step of the angle between the sensors. thumb, lie : rad, steps of those signs.
    lie_errors : the lie's step over its standard error. struck : role whose sensor turned in the
    strike of the swing before ("" none).
    """

    at: int
    angle: float
    thumb: float
    lie: float
    lie_errors: float
    struck: str


def find_steps(signs: Sequence[SwingSigns]) -> list[Step]:
    """All splits of a session, in order."""
    address = np.array([s.address for s in signs])
    found: list[Step] = []
    _search(signs, address, 0, len(signs), found)
    return sorted(found, key=lambda step: step.at)


def _search(
    signs: Sequence[SwingSigns], address: FloatArray, first: int, last: int, found: list[Step]
) -> None:
    if last - first < _FEWEST:
        return
    part = address[first:last]
    scatter = [_scatter(part[:cut]) + _scatter(part[cut:]) for cut in range(1, len(part))]
    at = first + 1 + int(np.argmin(scatter))
    begin, end = max(first, at - _NEAR), min(last, at + _NEAR)
    angle, _ = _change(address, begin, at, end)
    thumb, _ = _change([s.thumb for s in signs], begin, at, end)
    lie, lie_errors = _change([s.lie for s in signs], begin, at, end)
    step = Step(at, angle, thumb, lie, lie_errors, _struck(signs, at - 1, angle))
    if not _real(step, part, min(at - first, last - at)):
        return
    found.append(step)
    _search(signs, address, first, at, found)
    _search(signs, address, at, last, found)


def _real(step: Step, part: FloatArray, fewest: int) -> bool:
    """Whether a step is more than scatter, drift, or one odd swing."""
    if fewest < _FEWEST and not step.struck:
        return False
    other_lie = abs(step.lie) > LEAST_LIE_STEP and step.lie_errors > _LIE_ERRORS
    if abs(step.angle) < (LEAST_STEP_WITH_LIE if other_lie else LEAST_STEP):
        return False
    if len(part) < 4:
        return bool(step.struck)
    # From one swing to the next: neither other steps nor a slow drift count, and a drift that
    # is fast enough to look like a step raises the bar.
    between = np.abs(wrapped(np.diff(part)))
    usual = 1.4826 * float(np.median(between)) / np.sqrt(2.0)
    return abs(step.angle) > _SCATTERS * float(np.hypot(usual, _SCATTER_FLOOR))


def _middle(angles: FloatArray) -> float:
    return float(np.angle(np.mean(np.exp(1j * angles))))


def _scatter(angles: FloatArray) -> float:
    return float(np.sum(wrapped(angles - _middle(angles)) ** 2))


def _change(
    values: Sequence[float] | FloatArray, first: int, at: int, last: int
) -> tuple[float, float]:
    """Change of the median over a split, and that over its standard error."""
    before, after = np.array(values[first:at]), np.array(values[at:last])
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if not len(before) or not len(after):
        return float("nan"), 0.0
    left, right = _median(before), _median(after)
    change = float(wrapped(np.array(right - left)))
    both = wrapped(np.concatenate([before - left, after - right]))
    spread = np.hypot(np.sqrt(np.sum(both**2) / max(len(both) - 2, 1)), 0.2 * DEG)
    return change, abs(change) / float(spread * np.sqrt(1.0 / len(before) + 1.0 / len(after)))


def _median(angles: FloatArray) -> float:
    """Median of angles that lie near each other, wherever on the circle."""
    middle = _middle(angles)
    return middle + float(np.median(wrapped(angles - middle)))


def _struck(signs: Sequence[SwingSigns], index: int, angle: float) -> str:
    """The sensor that turned in a swing's strike by a good part of ``angle``."""
    most, which = _OF_STRIKE * abs(angle), ""
    if abs(angle) < LEAST_STEP:
        return ""
    for role in (FOREARM, CLUB):
        twists = np.array([s.strike_twist[role] for s in signs])
        beyond = abs(float(twists[index] - np.nanmedian(twists)))
        if beyond > most:
            most, which = beyond, role
    return which


def sensor_of(step: Step) -> str:
    """The sensor that turned: the forearm's when the thumb's side stepped against the angle."""
    if step.struck:
        return step.struck
    against = abs(step.thumb + step.angle) < 0.5 * abs(step.angle)
    return FOREARM if against and abs(step.lie) < LEAST_LIE_STEP else CLUB


def step_findings(steps: Sequence[Step], numbers: Sequence[int]) -> list[SetupFinding]:
    """The steps of a session in words. numbers : of the swings the signs were read from."""
    edges = [0, *(step.at for step in steps), len(numbers)]
    found = []
    for step, first, last in zip(steps, edges, edges[2:], strict=False):
        before, after = numbers[first : step.at], numbers[step.at : last]
        were = "was" if len(before) == 1 else "were"
        apart = f"{named(before).capitalize()} {were} solved apart from {named(after)}."
        found.append(_in_words(step, numbers, apart))
    return found


def _in_words(step: Step, numbers: Sequence[int], apart: str) -> SetupFinding:
    """One step in words. apart : a sentence on what was solved apart for it."""
    before, after = numbers[step.at - 1], numbers[step.at]
    role = sensor_of(step)
    turn = f"{abs(step.angle) / DEG:.0f}°"
    rest = tuple(numbers[step.at :])
    if step.struck:
        where = "forearm" if role == FOREARM else "shaft"
        return SetupFinding(
            SLIPPED,
            f"{role} sensor: it slipped on the {where} in the strike of swing {before}",
            f"turned by {turn} against the other sensor from then on",
            f"Fasten it tighter and mark its place. {apart}",
            rest,
        )
    if role == FOREARM:
        return SetupFinding(
            MOVED,
            f"forearm sensor: it was moved or slipped between the addresses of swings {before} and "
            f"{after}",
            f"turned by {turn} on the forearm",
            f"Fasten it tighter and mark its place. {apart}",
            rest,
        )
    evidence = f"club sensor turned by {turn} on the shaft"
    if abs(step.lie) > LEAST_LIE_STEP and step.lie_errors > _LIE_ERRORS:
        way = "steeper" if step.lie > 0 else "flatter"
        lie = f"shaft at address {abs(step.lie) / DEG:.1f}° {way}"
        return SetupFinding(
            CLUB_CHANGED,
            f"club sensor: another club was taken between swings {before} and {after}",
            f"{evidence}, {lie}",
            f"Record each club by itself, with its length: speeds from swing {after} on rest on "
            f"the first club's. {apart}",
            rest,
        )
    return SetupFinding(
        MOVED,
        f"club sensor: it was moved, or put on another club, between the addresses of swings "
        f"{before} and {after}",
        evidence,
        "If it is another club, record it by itself with its length; else fasten the clamp "
        f"tighter, or say so if the grip was taken otherwise. {apart}",
        rest,
    )

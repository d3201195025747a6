"""Where a session must be split: a sensor turned on its segment, or another club taken.

The angle between the two sensors at address (``imu.fusion.setup_signs``) is all but constant
while nothing moves. A step in it is searched by binary segmentation (Scott & Knott 1974,
Biometrics 30:507-512): the split that leaves least scatter within the parts, taken when the step
is large against that scatter and explains far more than a steady drift; then each part again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imu.fusion.setup_finding import CLUB_CHANGED, MOVED, SLIPPED, SetupFinding
from imu.fusion.setup_signs import SwingSigns, wrapped
from imu.types import CLUB, FOREARM, FloatArray
from imu.units import DEG

LEAST_STEP = 8.0 * DEG
"""A smaller step may be a grip taken a little otherwise."""
LEAST_STEP_WITH_LIE = 4.0 * DEG
LEAST_LIE_STEP = 2.5 * DEG
_SCATTERS = 5.0
_LIE_ERRORS = 5.0
_SCATTER_FLOOR = 1.0 * DEG
_DRIFT_SHARE = 0.35
_OF_STRIKE = 0.4
_FEWEST = 2


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
    best: tuple[float, Step] | None = None
    part = address[first:last]
    for at in range(first + 1, last):
        before, after = part[: at - first], part[at - first :]
        left, right = _middle(before), _middle(after)
        scatter = _scatter(before, left) + _scatter(after, right)
        if best is not None and scatter >= best[0]:
            continue
        angle = float(wrapped(np.array(right - left)))
        thumb, _ = _change([s.thumb for s in signs], first, at, last)
        lie, lie_errors = _change([s.lie for s in signs], first, at, last)
        struck = _struck(signs, at - 1, angle)
        best = scatter, Step(at, angle, thumb, lie, lie_errors, struck)
    if best is None or not _real(
        best[1], best[0], part, min(best[1].at - first, last - best[1].at)
    ):
        return
    found.append(best[1])
    _search(signs, address, first, best[1].at, found)
    _search(signs, address, best[1].at, last, found)


def _real(step: Step, scatter: float, part: FloatArray, fewest: int) -> bool:
    """Whether a step is more than scatter, drift, or one odd swing."""
    if fewest < _FEWEST and not step.struck:
        return False
    size = abs(step.angle)
    spread = np.hypot(np.sqrt(scatter / max(len(part) - 2, 1)), _SCATTER_FLOOR)
    if size < _SCATTERS * spread:
        return False
    relative = wrapped(part - _middle(part))
    order = np.arange(len(part)) - 0.5 * (len(part) - 1)
    slope = float(order @ relative) / max(float(order @ order), 1e-9)
    drifting = float(np.sum((relative - slope * order) ** 2))
    if len(part) > 3 and scatter > _DRIFT_SHARE * drifting:
        return False
    other_lie = abs(step.lie) > LEAST_LIE_STEP and step.lie_errors > _LIE_ERRORS
    return size > (LEAST_STEP_WITH_LIE if other_lie else LEAST_STEP)


def _middle(angles: FloatArray) -> float:
    return float(np.angle(np.mean(np.exp(1j * angles))))


def _scatter(angles: FloatArray, middle: float) -> float:
    return float(np.sum(wrapped(angles - middle) ** 2))


def _change(values: Sequence[float], first: int, at: int, last: int) -> tuple[float, float]:
    """Change of the median over a split, and that over its standard error."""
    before, after = np.array(values[first:at]), np.array(values[at:last])
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if not len(before) or not len(after):
        return float("nan"), 0.0
    change = float(wrapped(np.array(np.median(after) - np.median(before))))
    both = np.concatenate([before - np.median(before), after - np.median(after)])
    spread = np.hypot(np.sqrt(np.sum(both**2) / max(len(both) - 2, 1)), 0.2 * DEG)
    return change, abs(change) / float(spread * np.sqrt(1.0 / len(before) + 1.0 / len(after)))


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


def step_finding(step: Step, numbers: Sequence[int]) -> SetupFinding:
    """The step in words. numbers : of the swings the signs were read from."""
    before, after, last = numbers[step.at - 1], numbers[step.at], numbers[-1]
    role = sensor_of(step)
    turn = f"{abs(step.angle) / DEG:.0f}°"
    rest = tuple(numbers[step.at :])
    apart = f"swings {numbers[0]} to {before} and {after} to {last} were solved apart"
    if step.struck:
        where = "forearm" if role == FOREARM else "shaft"
        return SetupFinding(
            SLIPPED,
            f"{role} sensor: it slipped on the {where} in the strike of swing {before}",
            f"turned by {turn} against the other sensor from then on",
            f"Fasten it tighter and mark its place. {apart[0].upper()}{apart[1:]}.",
            rest,
        )
    if role == FOREARM:
        return SetupFinding(
            MOVED,
            f"forearm sensor: it was moved or slipped between swings {before} and {after}",
            f"turned by {turn} on the forearm",
            f"Fasten it tighter and mark its place. {apart[0].upper()}{apart[1:]}.",
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
            f"the first club's. {apart[0].upper()}{apart[1:]}.",
            rest,
        )
    return SetupFinding(
        MOVED,
        f"club sensor: it was moved, or put on another club, between swings {before} and {after}",
        evidence,
        "If it is another club, record it by itself with its length; else fasten the clamp "
        f"tighter, or say so if the grip was taken otherwise. {apart[0].upper()}{apart[1:]}.",
        rest,
    )

"""Wrong set-ups, found from the recording alone and named.

What can be known. A sensor that hardly turns while the other swings is not worn. The fit gives each
sensor's lever arm from the wrist to a centimetre, so sensors exchanged (the "forearm" one then lies
beyond the wrist, and turns faster than the "club"), a sensor on the trail arm (whose wrist is a
hand's width nearer the club's sensor) and mistyped distances show. The sense in which the club
comes through shows handedness. Forces that disagree at the wrist show a loose strap. A box upside
down or turned is no fault: the fit finds its seat.

What can't. The clubhead moves nothing that two sensors near the hands could feel by itself: the
club's length is taken as declared. The arm's radius shows only roughly, since the shoulder moves;
only gross errors of the declared arm length are told. Where many strokes are chips no length is
judged at all.

Thresholds lie well between what modelled sensors show when all is right and when it is not;
published data with such faults are not known to us.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from imu.errors import SwingspreadError
from imu.fusion.axes import across_basis
from imu.fusion.parameters import LEVER, OFFSET
from imu.fusion.samples import SENSORS
from imu.fusion.session import SolvedSession, declared_distances
from imu.fusion.setup_finding import (
    ARM_LENGTH,
    DISTANCE,
    FAIR_AT_MOST,
    HANDEDNESS,
    LOOSE,
    POOR_AT_MOST,
    SWAPPED,
    UNMOVED,
    WRONG_ARM,
    SetupFinding,
    named,
)
from imu.fusion.setup_signs import SwingSigns
from imu.types import CLUB, FOREARM, Manifest, Stream, SwingWindow
from imu.units import DEG

_CLEAR_SENSE = 0.12
_CLEAR_SHARE = 0.8
"""Part of a swing's turning that is clearly the other way, and part of the swings it must be in."""
_UNMOVED_RATIO = 12.0
"""A club turns two to three times as fast as the lead forearm."""
_UNMOVED_WORDS = {role: f"{role} sensor: it hardly moves in the swings" for role in (FOREARM, CLUB)}
_EXCHANGED_WORDS = "forearm and club sensors: they are exchanged"
_LEAST_GRAVITY = 2.0
"""m/s², of what an accelerometer feels most of the time."""
_GRAVITY_STRIDE = 16
"""Samples: enough are looked at."""
_SWAPPED_RATIO = 0.85
_BEYOND_WRIST = 0.04
"""m. Exchanged sensors: club over forearm rate below the first, the forearm's beyond the wrist."""
_HAND_WIDTH = (0.05, 0.14)
_TRAIL_RATIO = 2.0
"""m by which the trail wrist is nearer the club's sensor; club over forearm rate on that arm."""
_GIVE = 1.0 * DEG
_GIVE_POOR = 4.0 * DEG
"""Angles between the two sensors' forces that tell a loose one, and one that spoils the numbers."""
_SHAKEN = 0.6
_GIVE_SHAKEN = 0.3 * DEG
"""rad/s and rad. A forearm this rough is loose though the forces disagree by so little."""
_USUAL_ROUGHNESS = {FOREARM: 0.1, CLUB: 0.15}
_ROUGH = 2.0
"""rad/s, and how many times that tells which of the two is loose."""
_FAR = 0.015
_STANDARD_ERRORS = 4.0
"""m, and standard errors on top, that a distance must be off to be contradicted."""
_DISTANCE_FLOOR = {FOREARM: 0.005, CLUB: 0.0025}
"""m; flesh and shaft give, which the fit's covariance does not know."""
_SLOW, _SLOW_SHARE = 12.0, 0.1
"""rad/s of the club below which a stroke is a chip, and the part of chips that is many."""
_ARM_SHORTER, _ARM_LONGER = 0.18, 0.12
"""m by which the arm's radius may be off the declared length: the shoulder moves."""


def check_gravity_felt(streams: Mapping[str, Stream]) -> None:
    """Refuse a dead accelerometer, or one with gravity taken out: it can't tell up from down.

    Raises SwingspreadError naming the sensor.
    """
    for role in SENSORS:
        felt = np.linalg.norm(streams[role].acc[::_GRAVITY_STRIDE], axis=1)
        if np.median(felt) < _LEAST_GRAVITY:
            raise SwingspreadError(
                f"{role} sensor: its accelerometer mostly feels {np.median(felt):.1f} m/s² instead "
                "of gravity's 9.8; see that the sensor is sound and sends raw acceleration, and "
                "record again"
            )


def check_setup(
    solved: SolvedSession, signs: Sequence[SwingSigns], numbers: Sequence[int], manifest: Manifest
) -> list[SetupFinding]:
    """What is wrong throughout the session.

    signs, numbers : of every swing solved. Findings that follow from a graver one are left out.
    """
    unmoved = _unmoved(signs, numbers)
    if unmoved:
        return unmoved
    found = _handedness(signs, numbers, manifest)
    reach, along = sensor_distances(solved)
    swapped = _swapped(signs, numbers, reach)
    if swapped:
        return [*found, *swapped]
    loose = _loose(signs, numbers)
    if loose:
        return [*found, *loose]
    trail = _trail_arm(solved, signs, numbers, manifest, reach)
    if trail:
        return [*found, *trail]
    slow = np.count_nonzero(np.array([s.rate for s in signs]) < _SLOW)
    if slow >= _SLOW_SHARE * len(signs):
        return found  # chips bind lengths too weakly to contradict what was measured
    return [*found, *_distances(manifest, reach, along), *_arm_length(solved, manifest)]


def hides_steps(findings: Sequence[SetupFinding], swings: int) -> bool:
    """Whether what was found makes the search for slips (``setup_steps``) meaningless."""
    return any(
        found.kind in (SWAPPED, UNMOVED, WRONG_ARM)
        or (found.kind == LOOSE and 2 * len(found.swings) > swings)
        for found in findings
    )


def without_swings(streams: Mapping[str, Stream], exchanged: Sequence[SwingWindow]) -> list[str]:
    """Why a recording may have no swings, in words, where that can be told.

    streams : as declared, in recording time. exchanged : swings found with the forearm's and the
    club's taken for each other.
    """
    if not exchanged:
        return []
    count = "one swing" if len(exchanged) == 1 else f"{len(exchanged)} swings"
    club, forearm = (_usual_turning(streams[role], exchanged) for role in (CLUB, FOREARM))
    if forearm > _UNMOVED_RATIO * club:
        seen = f"the forearm's shows {count}, in which it turns at {club / DEG:.0f} °/s"
        mend = "Clamp it to the shaft below the grip, see that it is on, and record again."
        return [SetupFinding(UNMOVED, _UNMOVED_WORDS[CLUB], seen, mend).words]
    if club > _SWAPPED_RATIO * forearm:
        return []  # exchanged, the supposed forearm would turn the faster: something else is wrong
    seen = f"no swing is found as they are declared, and {count} with them exchanged"
    mend = "Exchange their roles in this recording and analyse again."
    return [SetupFinding(SWAPPED, _EXCHANGED_WORDS, seen, mend).words]


def _usual_turning(stream: Stream, windows: Sequence[SwingWindow]) -> float:
    """rad/s, nearly the greatest turning rate of a sensor in a swing, usual of some swings."""
    greatest = []
    for window in windows:
        first, last = np.searchsorted(stream.time, [window.top, window.impact])
        if last > first:
            size = np.linalg.norm(stream.gyr[first:last], axis=1)
            greatest.append(float(np.percentile(size, 98.0)))
    return float(np.median(greatest)) if greatest else 0.0


def sensor_distances(solved: SolvedSession) -> tuple[dict[str, float], dict[str, float]]:
    """Fitted distances along each segment, and their standard errors (with a floor), m.

    Forearm: from the sensor on to the wrist. Club: from the wrist on to the sensor.
    """
    reach, error = {}, {}
    for role, sign in ((FOREARM, -1.0), (CLUB, 1.0)):
        axis = solved.mounted.axes[role].axis
        entries = slice(OFFSET[role] + LEVER.start, OFFSET[role] + LEVER.stop)
        reach[role] = sign * float(solved.fit.shared.sensors[role].lever @ axis)
        variance = axis @ solved.fit.covariance[entries, entries] @ axis
        error[role] = float(np.sqrt(variance + _DISTANCE_FLOOR[role] ** 2))
    return reach, error


def _handedness(
    signs: Sequence[SwingSigns], numbers: Sequence[int], manifest: Manifest
) -> list[SetupFinding]:
    sense = np.array([s.sense for s in signs])
    against = sense < -_CLEAR_SENSE
    if np.count_nonzero(against) < max(1.0, _CLEAR_SHARE * len(sense)):
        return []
    declared = manifest.player.handedness
    other = "left" if declared == "right" else "right"
    way = "anticlockwise" if other == "right" else "clockwise"
    return [
        SetupFinding(
            HANDEDNESS,
            f"club sensor: the player is declared {declared}-handed but swings {other}-handed",
            f"seen from above, the club comes through {way} in "
            f"{np.count_nonzero(against)} of {len(sense)} swings, {_percent(-np.nanmedian(sense))} "
            "of its turning about the vertical",
            f"Declare the player {other}-handed and analyse again; until then planes, and the "
            "signs of roll, closure and flexion, are wrong.",
            tuple(numbers),
            POOR_AT_MOST,
        )
    ]


def _unmoved(signs: Sequence[SwingSigns], numbers: Sequence[int]) -> list[SetupFinding]:
    """A forearm's sensor that is not on the forearm; the club's moves, or no swing was found."""
    club, forearm = (float(np.nanmedian([s.turning[r] for s in signs])) for r in (CLUB, FOREARM))
    if club <= _UNMOVED_RATIO * forearm:
        return []
    return [
        SetupFinding(
            UNMOVED,
            _UNMOVED_WORDS[FOREARM],
            f"while the club's turns at {club / DEG:.0f} °/s, it turns at {forearm / DEG:.0f} °/s",
            "Strap it on the lead forearm, see that it is on, and record again; hinge and release "
            "mean nothing as they are.",
            tuple(numbers),
            POOR_AT_MOST,
        )
    ]


def _swapped(
    signs: Sequence[SwingSigns], numbers: Sequence[int], reach: Mapping[str, float]
) -> list[SetupFinding]:
    ratio = float(np.nanmedian([s.rate_ratio for s in signs]))
    if ratio > _SWAPPED_RATIO or reach[FOREARM] > -_BEYOND_WRIST:
        return []
    return [
        SetupFinding(
            SWAPPED,
            _EXCHANGED_WORDS,
            f"the forearm's turns {1.0 / ratio:.1f} times as fast as the club's and lies "
            f"{-1e3 * reach[FOREARM]:.0f} mm beyond the wrist",
            "Exchange their roles in this recording and analyse again; its numbers mean nothing "
            "as they are.",
            tuple(numbers),
            POOR_AT_MOST,
        )
    ]


def _loose(signs: Sequence[SwingSigns], numbers: Sequence[int]) -> list[SetupFinding]:
    give = np.array([s.give for s in signs])
    shaken = np.array([s.roughness[FOREARM] for s in signs]) > _SHAKEN
    loose = (give > _GIVE) | (shaken & (give > _GIVE_SHAKEN))
    bad = [int(index) for index in np.flatnonzero(loose)]
    if not bad:
        return []
    rough = {
        role: float(np.nanmedian([signs[i].roughness[role] for i in bad]) / usual)
        for role, usual in _USUAL_ROUGHNESS.items()
    }
    role = max(rough, key=lambda name: rough[name])
    where = f"{role} sensor: its {'strap' if role == FOREARM else 'clamp'} is loose"
    evidence = f"the sensors disagree by {np.median(give[bad]) / DEG:.1f}° at the wrist"
    if rough[role] > _ROUGH:
        evidence += f", and this one shakes {rough[role]:.0f} times as much as usual"
    else:
        where = "forearm and club sensors: one of them does not sit firmly"
    worst = float(np.median(give[bad]))
    swings = tuple(numbers[i] for i in bad)
    return [
        SetupFinding(
            LOOSE,
            f"{where} in {named(swings)}",
            evidence,
            "Fasten it so that it can't be turned by hand, and record again.",
            swings,
            POOR_AT_MOST if worst > _GIVE_POOR else FAIR_AT_MOST,
        )
    ]


def _trail_arm(
    solved: SolvedSession,
    signs: Sequence[SwingSigns],
    numbers: Sequence[int],
    manifest: Manifest,
    reach: Mapping[str, float],
) -> list[SetupFinding]:
    """The trail hand holds the club a hand's width further down, and its elbow folds."""
    short = declared_distances(manifest)[CLUB] - reach[CLUB]
    if not _HAND_WIDTH[0] < short < _HAND_WIDTH[1]:
        return []
    ratio = float(np.nanmedian([s.rate_ratio for s in signs]))
    lever = solved.fit.shared.sensors[FOREARM].lever
    axis = solved.mounted.axes[FOREARM].axis
    aside = float(np.linalg.norm(across_basis(axis) @ lever))
    signs_of_it = [
        ratio < _TRAIL_RATIO,
        not solved.seats[FOREARM].along_box,
        not any(piece.name == "arc" for piece in solved.mounted.axes[FOREARM].evidence),
        aside > max(0.05, abs(reach[FOREARM])),
    ]
    if not any(signs_of_it):
        return []
    return [
        SetupFinding(
            WRONG_ARM,
            "forearm sensor: it sits on the trail arm",
            f"its wrist holds the club {1e3 * short:.0f} mm nearer to the club's sensor than the "
            f"lead wrist should, and the club turns only {ratio:.1f} times as fast as this arm",
            "Strap it on the lead arm (left for a right-handed player) and record again; hinge "
            "and release are not the lead wrist's.",
            tuple(numbers),
            POOR_AT_MOST,
        )
    ]


def _distances(
    manifest: Manifest, reach: Mapping[str, float], error: Mapping[str, float]
) -> list[SetupFinding]:
    found = []
    declared = declared_distances(manifest)
    names = {FOREARM: "distance_to_wrist", CLUB: "distance_from_butt"}
    for role, name in names.items():
        off = reach[role] - declared[role]
        if abs(off) < _FAR + _STANDARD_ERRORS * error[role]:
            continue
        given = name in manifest.sensors.get(role, {})
        between = "from sensor to wrist" if role == FOREARM else "from wrist to sensor"
        what = "measured" if given else "taken, none being given,"
        again = f"Measure {name.replace('_', ' ')} again"
        if role == CLUB:
            again += ", and where on the grip the wrist sits (wrist from butt)"
        found.append(
            SetupFinding(
                DISTANCE,
                f"{role} sensor: the distance {between} is not as {what}",
                f"the swings say {1e3 * reach[role]:.0f} mm along the "
                f"{'forearm' if role == FOREARM else 'shaft'}, give or take "
                f"{2e3 * error[role]:.0f}, against {1e3 * declared[role]:.0f} mm",
                f"{again}, or correct it in the recording.",
            )
        )
    return found


def _arm_length(solved: SolvedSession, manifest: Manifest) -> list[SetupFinding]:
    declared = manifest.player.arm_length
    for piece in solved.mounted.axes[FOREARM].evidence:
        if piece.name != "arc":
            continue
        off = piece.length - declared
        doubt = _STANDARD_ERRORS * piece.length_se
        if off < -_ARM_SHORTER - doubt or off > _ARM_LONGER + doubt:
            return [
                SetupFinding(
                    ARM_LENGTH,
                    "forearm sensor: the arm is not as long as declared",
                    f"it swings on a radius of about {piece.length:.2f} m, and {declared:.2f} m "
                    "from shoulder to wrist is declared",
                    "Measure it again: hand speed and clubhead speed rest on it.",
                )
            ]
    return []


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"

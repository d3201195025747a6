"""What two sets may be compared for: same day or days apart, and what else differs.

Wrist angles compare only within the same golfer, grip and club (Carson et al. 2019, Eur J Sport
Sci 19:327-335, abstract), so a difference across players, clubs or grips is never called a
difference of player.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from imu.columns import Metric
from imu.types import FloatArray
from imu.variation.sets import SwingSet

SAME_SESSION = "same session"
PAIRED_SESSIONS = "paired sessions"
DIFFERENT_SESSIONS = "different sessions"

CLUB_LENGTH_TOLERANCE = 0.015
"""m: measuring error of a club's length; a larger difference is another club."""


@dataclass(frozen=True)
class Design:
    """How the two sets lie in time, and which swings take part.

    kind : one of the three above. shared : session keys of both sets. by_session : sessions
    are the units, not swings.
    """

    kind: str
    shared: tuple[str, ...]
    sessions_a: tuple[str, ...]
    sessions_b: tuple[str, ...]

    @property
    def by_session(self) -> bool:
        """Whether sessions, not swings, are the units."""
        return self.kind != SAME_SESSION


@dataclass(frozen=True)
class Comparability:
    """What differs between the sets besides the question asked.

    refusals : why no verdict is given on some metrics or all, in plain sentences. refused_kinds :
    kinds of metric this holds for; all of them when it has "all". warnings : what to mind.
    """

    refusals: tuple[str, ...]
    refused_kinds: frozenset[str]
    warnings: tuple[str, ...]

    def refuses(self, metric: Metric) -> bool:
        """Whether no verdict may be given on this metric."""
        return "all" in self.refused_kinds or metric.kind in self.refused_kinds


def find_design(a: SwingSet, b: SwingSet) -> Design:
    """Where the sessions of both sets overlap decides how they are compared.

    One session shared and no other: swings are the units. Two or more shared: each session is
    compared with itself. None shared: sessions of A against sessions of B.
    """
    in_a, in_b = a.values("session_key"), b.values("session_key")
    shared = tuple(key for key in in_a if key in in_b)
    if len(shared) >= 2:
        kind = PAIRED_SESSIONS
    elif len(shared) == 1:
        kind = SAME_SESSION
    else:
        kind = DIFFERENT_SESSIONS
    return Design(kind, shared, tuple(in_a), tuple(in_b))


def as_one_session(swings: SwingSet) -> SwingSet:
    """The same set, all of it said to be of one session: for recordings that do not say when
    they were made."""
    said = swings.swings.assign(session_key="one session, as told")
    return replace(swings, swings=said)


def check_comparability(a: SwingSet, b: SwingSet, design: Design) -> Comparability:
    """Everything that stands between a difference and its meaning."""
    refusals, kinds, warnings = [], set[str](), []
    for column, said in (("player", "players"), ("club", "clubs"), ("grip", "grips")):
        of_a, of_b = a.values(column), b.values(column)
        if not of_a or not of_b or set(of_a) == set(of_b):
            continue
        names = f"{', '.join(of_a)} and {', '.join(of_b)}"
        if column == "player":
            kinds.add("angle")
            refusals.append(
                f"The sets are of different players ({names}). Wrist angles compare only within "
                "one golfer, grip and club: how the club is held and how the sensors sit differ "
                "too, so a difference of angle is not called a difference of player."
            )
            warnings.append(
                "One set a player: times, rates and spreads say how these swings differ, not "
                "who is the better or steadier player."
            )
        else:
            kinds.add("all")
            refusals.append(
                f"The sets use different {said} ({names}). Hinge, times and speed change with "
                f"the {column}, so a difference here is put down to the {column} and not to "
                f"the player; no verdict on repeating is given."
            )
    lengths = [float(np.nanmedian(s.swings["club_length_m"])) for s in (a, b) if len(s)]
    if "all" not in kinds and abs(lengths[0] - lengths[1]) > CLUB_LENGTH_TOLERANCE:
        kinds.add("all")
        refusals.append(
            f"The club is declared {lengths[0]:.3f} m long in one set and {lengths[1]:.3f} m in "
            "the other: that is another club, or a mistake in one of the recordings."
        )
    warnings += _warn_of_time(a, b, design)
    return Comparability(tuple(refusals), frozenset(kinds), tuple(warnings))


def _warn_of_time(a: SwingSet, b: SwingSet, design: Design) -> list[str]:
    warnings = []
    if design.kind == DIFFERENT_SESSIONS:
        few = min(len(design.sessions_a), len(design.sessions_b))
        text = "The sets are of different sessions, so each session counts once."
        if few == 1:
            text += (
                " With one session on a side the day itself cannot be told from the change: the "
                "intervals of swings shown speak for these sessions only."
            )
        warnings.append(text)
    elif len(set(design.sessions_a) ^ set(design.sessions_b)):
        only = len(set(design.sessions_a) ^ set(design.sessions_b))
        warnings.append(
            f"{only} session{'s' * (only > 1)} with swings of only one set "
            f"{'take' if only > 1 else 'takes'} no part in the comparison."
        )
    if design.kind == SAME_SESSION and not _interleaved(a, b):
        warnings.append(
            "One set was swung wholly after the other: warming up, tiring or the hour may explain "
            "a difference. Alternating blocks would part them (see the plan)."
        )
    if any(not date for s in (a, b) for date in s.swings["date"].unique()):
        text = "The day of a recording is unknown; sessions are then told apart by label only."
        if design.by_session:
            text += " If the sets were swung in one session, say so."
        warnings.append(text)
    return warnings


def _interleaved(a: SwingSet, b: SwingSet) -> bool:
    """Whether the sets overlap in time; when the times are unknown, nothing is claimed."""
    first, second = swing_times(a.swings), swing_times(b.swings)
    if not len(first) or not len(second) or not np.isfinite([*first, *second]).all():
        return True
    return bool(first.max() > second.min() and second.max() > first.min())


def swing_times(swings: pd.DataFrame) -> FloatArray:
    """(N,) s since 1970 of each swing's start, NaN where the recording's start is unknown."""
    began = pd.to_datetime(swings["recorded_at"], errors="coerce", utc=True, format="ISO8601")
    since = (began - pd.Timestamp(0, tz="UTC")).dt.total_seconds().to_numpy(np.float64)
    return np.asarray(since + swings["start_s"].to_numpy(np.float64))

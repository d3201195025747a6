"""The session solved in parts, split where a sensor slipped or another club was taken.

Solved as one first: the fit itself hardly minds a sensor turning about its segment, so that the
signs of the set-up (``imu.fusion.setup_signs``) can be read off it. Where they step, each part is
solved anew from its own swings and its own stretch of the streams, sharing nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from imu.fusion.estimate import SwingFit
from imu.fusion.motion import build_motions
from imu.fusion.samples import SwingSamples
from imu.fusion.session import SolvedSession, solve_session
from imu.fusion.setup_check import check_setup, hides_steps
from imu.fusion.setup_finding import SetupFinding, merged
from imu.fusion.setup_signs import SwingSigns, read_signs
from imu.fusion.setup_steps import find_steps, step_findings
from imu.fusion.track import Track
from imu.types import AlignedStreams, Manifest, Motion, Stream


@dataclass(frozen=True, eq=False)
class SolvedSwing:
    """One swing with the part of the session it was solved in."""

    session: SolvedSession
    fit: SwingFit
    motion: Motion
    tracks: Mapping[str, Track]


@dataclass(frozen=True, eq=False)
class SolvedParts:
    """All swings in order, the parts with the numbers of their swings, and what was wrong."""

    swings: tuple[SolvedSwing, ...]
    parts: tuple[tuple[SolvedSession, tuple[int, ...]], ...]
    findings: tuple[SetupFinding, ...]

    @property
    def main(self) -> SolvedSession:
        """The part with most swings."""
        return max(self.parts, key=lambda part: len(part[1]))[0]


def solve_parts(
    aligned: AlignedStreams,
    swings: Sequence[SwingSamples],
    numbers: Sequence[int],
    manifest: Manifest,
) -> SolvedParts:
    """Solve a session, check its set-up, and solve again in parts where it changed.

    swings : at least one, in order of time. numbers : what the swings are called in messages.
    """
    solved = solve_session(aligned, swings, manifest)
    moved = _moved(solved, swings)
    signs = _signs(solved, swings, moved)
    findings = check_setup(solved, signs, numbers, manifest)
    steps = [] if hides_steps(findings, len(swings)) else find_steps(signs)
    if not steps:
        return SolvedParts(tuple(moved), ((solved, tuple(numbers)),), tuple(findings))
    edges = [0, *(step.at for step in steps), len(swings)]
    parts, all_moved = [], []
    findings = []
    for first, last in pairwise(edges):
        begin = -np.inf if first == 0 else _between(swings[first - 1], swings[first])
        end = np.inf if last == len(swings) else _between(swings[last - 1], swings[last])
        own, called = swings[first:last], numbers[first:last]
        solved = solve_session(_stretch(aligned, begin, end), own, manifest)
        moved = _moved(solved, own)
        findings += check_setup(solved, _signs(solved, own, moved), called, manifest)
        parts.append((solved, tuple(called)))
        all_moved += moved
    changes = step_findings(steps, numbers)
    return SolvedParts(tuple(all_moved), tuple(parts), (*merged(findings), *changes))


def _signs(
    solved: SolvedSession, swings: Sequence[SwingSamples], moved: Sequence[SolvedSwing]
) -> list[SwingSigns]:
    return [
        read_signs(samples, swing.tracks, solved.fit.shared, solved.mounted)
        for samples, swing in zip(swings, moved, strict=True)
    ]


def _moved(solved: SolvedSession, swings: Sequence[SwingSamples]) -> list[SolvedSwing]:
    fits = solved.fit.swings
    states = [fit.state for fit in fits]
    built = build_motions(swings, solved.fit.shared, states, solved.mounted)
    return [
        SolvedSwing(solved, fit, motion, tracks)
        for fit, (motion, tracks) in zip(fits, built, strict=True)
    ]


def _between(before: SwingSamples, after: SwingSamples) -> float:
    return 0.5 * (before.window.finish + after.window.takeaway)


def _stretch(aligned: AlignedStreams, begin: float, end: float) -> AlignedStreams:
    """The streams from ``begin`` to ``end``, s."""

    def cut(stream: Stream) -> Stream:
        first, last = np.searchsorted(stream.time, [begin, end])
        return stream.rows(slice(int(first), int(last)))

    return replace(aligned, streams={role: cut(s) for role, s in aligned.streams.items()})

"""What a comparison found, in numbers and in words; ``imu.variation.compare`` makes it."""

from __future__ import annotations

from dataclasses import dataclass

from imu.number_words import counted
from imu.variation.curve_difference import CurveFinding
from imu.variation.intervals import Interval
from imu.variation.limits import Limits
from imu.variation.sd_ratio import SdRatio
from imu.variation.verdict import CANNOT_TELL, DOES_NOT_HOLD, HOLDS, NOT_COMPARABLE, Verdict


@dataclass(frozen=True)
class SideOfFinding:
    """One metric in one set. SDs in the metric's unit.

    sd : within the sessions when sessions are the units. noise_is : what noise_sd means, see
    ``imu.variation.noise``. human_sd : with the noise taken out; 0 means below what the sensors
    can resolve.
    """

    swings: int
    sessions: int
    mean: float
    sd: Interval
    noise_sd: float
    noise_is: str
    human_sd: float


@dataclass(frozen=True)
class Finding:
    """What the two sets say about one metric. B is set against A.

    shift : mean of B less mean of A, in the metric's unit. spread : ratio of SDs, B over A, with
    its tests. shift_p_holm, spread_p_holm : adjusted for the metrics shown together.
    largest_shift : the limit applied. by_session : sessions, not swings, were the units.
    """

    metric: str
    label: str
    unit: str
    a: SideOfFinding
    b: SideOfFinding
    shift: Interval
    shift_p: float
    shift_p_holm: float
    spread: SdRatio
    spread_p_holm: float
    largest_shift: float
    by_session: bool
    verdict: Verdict
    shift_sentence: str
    spread_sentence: str

    @property
    def sentence(self) -> str:
        """What to lead with: what is established of mean and spread, else the spread."""
        told = []
        if self.shift.known and 0.0 not in self.shift:
            told.append(self.shift_sentence)
        if self.spread.ratio.known and 1.0 not in self.spread.ratio:
            told.append(self.spread_sentence)
        return " ".join(told) or self.spread_sentence

    @property
    def verdict_sentence(self) -> str:
        """The verdict with its reason and what would settle it."""
        return verdict_sentence(self.verdict)


@dataclass(frozen=True)
class Comparison:
    """Everything found between two sets, with the limits and seed it was judged by.

    where : what is different about B, as the sentences say it.
    """

    name_a: str
    name_b: str
    where: str
    limits: Limits
    seed: int
    design: str
    findings: tuple[Finding, ...]
    curve_findings: tuple[CurveFinding, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    left_out_a: int
    left_out_b: int

    def finding(self, metric: str) -> Finding:
        """The finding on a metric; KeyError when it was not compared."""
        for one in self.findings:
            if one.metric == metric:
                return one
        raise KeyError(metric)

    @property
    def verdict(self) -> str:
        """Over all measures: holds when all do; does not hold when any does not and chance among
        this many measures is not the reason; else cannot tell yet."""
        words = {one.verdict.word for one in self.findings}
        if words == {NOT_COMPARABLE}:
            return NOT_COMPARABLE
        if any(
            one.verdict.word == DOES_NOT_HOLD and not one.verdict.alone for one in self.findings
        ):
            return DOES_NOT_HOLD
        return HOLDS if words == {HOLDS} else CANNOT_TELL

    @property
    def headline(self) -> str:
        """One sentence over all metrics: how many hold, do not hold, cannot be told."""
        words = [one.verdict.word for one in self.findings]
        total = len(words)
        told = [
            f"{words.count(word)} {said}"
            for word, said in (
                (HOLDS, "holds" if words.count(HOLDS) == 1 else "hold"),
                (
                    DOES_NOT_HOLD,
                    "does not hold" if words.count(DOES_NOT_HOLD) == 1 else "do not hold",
                ),
                (CANNOT_TELL, "cannot be told yet"),
                (NOT_COMPARABLE, "not comparable"),
            )
            if words.count(word)
        ]
        return f"Of {counted(total, 'measure')} {', '.join(told)}."


def verdict_sentence(verdict: Verdict) -> str:
    """ "Cannot tell yet: …; about 14 more swings in each set would settle it." """
    text = f"{verdict.word[0].upper()}{verdict.word[1:]}: {verdict.reason}"
    if verdict.more_per_set is not None:
        more = counted(verdict.more_per_set, "more swing")
        text += f"; about {more} in each set would settle it"
    elif verdict.more_sessions is not None:
        more = counted(verdict.more_sessions, "more session")
        text += f"; about {more} of each would settle it"
    return f"{text}."

"""A plan's blocks while they are swung: which is at hand, what counts in it, what comes next.

Pure: from what was planned, the marks set so far and the swings so far. Marks are times in the
club sensor's own clock, so that a block keeps its swings when a recording is analysed anew.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from imu.errors import SwingspreadError

WARM_UP, BETWEEN = "warm-up", "between blocks"
"""Labels of swings before the first block, and of those in none."""

AFTER_LAST_US = 500_000
"""A full block ends this long after its last swing's impact; no two swings follow so quickly."""

TO_COME, AT_HAND, DONE, PASSED_OVER = "to come", "at hand", "done", "passed over"


@dataclass(frozen=True)
class PlannedBlock:
    """One block to record: its place, label, swings and rest before it (s)."""

    number: int
    session: int
    label: str
    swings: int
    rest_s: int


@dataclass(frozen=True)
class BlockMark:
    """A stretch of a recording that belongs to a block; µs of the club sensor's own clock.

    until_club_clock_us : None while nobody has gone on to the next.
    """

    number: int
    from_club_clock_us: int
    until_club_clock_us: int | None = None

    def holds(self, impact_club_clock_us: float) -> bool:
        """Whether a swing with this impact lies in the stretch."""
        until = math.inf if self.until_club_clock_us is None else self.until_club_clock_us
        return self.from_club_clock_us <= impact_club_clock_us < until


@dataclass(frozen=True)
class BlockSwing:
    """A swing as blocks see it. counts : a struck ball of fair quality that nobody left out."""

    impact_club_clock_us: float
    counts: bool = True


@dataclass(frozen=True)
class FollowedPlan:
    """One session of a plan as a recording follows it.

    blocks : of this session, in order. kinds : labels of the whole plan, what is compared with
    first; a later session may begin with another.
    """

    name: str
    session: int
    blocks: tuple[PlannedBlock, ...]
    marks: tuple[BlockMark, ...] = ()
    kinds: tuple[str, ...] = ()

    def block(self, number: int) -> PlannedBlock:
        """The block of a number."""
        return next(block for block in self.blocks if block.number == number)

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the blocks begun, each once, in the order of ``kinds``."""
        begun = {self.block(mark.number).label for mark in self.marks}
        ordered = dict.fromkeys((*self.kinds, *(block.label for block in self.blocks)))
        return tuple(label for label in ordered if label in begun)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values; ``followed_from_dict`` reads them back."""
        return asdict(self)


@dataclass(frozen=True)
class BlockStanding:
    """How one block stands. swings : that count in it so far. state : one of the four above."""

    block: PlannedBlock
    swings: int
    state: str


@dataclass(frozen=True)
class Standing:
    """How the whole session stands.

    at_hand : the block being swung, None at rest, before the first and at the end. to_begin : the
    block to begin after it. rest_since_us : end of the block before, club clock, while resting.
    outside : counting swings since then, which lie in no block. may_take_back : the latest step
    can be taken back without a swing leaving its block.
    """

    blocks: tuple[BlockStanding, ...]
    at_hand: BlockStanding | None
    to_begin: PlannedBlock | None
    rest_since_us: int | None
    outside: int
    may_take_back: bool

    @property
    def complete(self) -> bool:
        """Whether every block was swung or passed over."""
        return self.at_hand is None and self.to_begin is None


def standing(plan: FollowedPlan, swings: Sequence[BlockSwing]) -> Standing:
    """Which block is at hand, and how all of them stand, after these swings."""
    plan = ended_when_full(plan, swings)
    last = plan.marks[-1] if plan.marks else None
    running = last is not None and last.until_club_clock_us is None
    rows = []
    for block in plan.blocks:
        begun = any(mark.number == block.number for mark in plan.marks)
        count = _counted(plan, block.number, swings)
        if running and last is not None and block.number == last.number:
            state = AT_HAND
        elif not begun:
            state = TO_COME
        else:
            state = DONE if count >= block.swings else PASSED_OVER
        rows.append(BlockStanding(block, count, state))
    since = last.until_club_clock_us if last is not None else None
    outside = 0
    if since is not None:
        outside = sum(swing.counts and swing.impact_club_clock_us >= since for swing in swings)
    return Standing(
        blocks=tuple(rows),
        at_hand=next((row for row in rows if row.state == AT_HAND), None),
        to_begin=_after(plan, last.number if last is not None else None),
        rest_since_us=since,
        outside=outside,
        may_take_back=_may_take_back(plan, swings),
    )


def totals(stand: Standing) -> str:
    """Swings of each kind of block, as in "20 practice, 19 of 20 pressure"."""
    swung: dict[str, list[int]] = {}
    for row in stand.blocks:
        both = swung.setdefault(row.block.label, [0, 0])
        both[0] += row.swings
        both[1] += row.block.swings
    return ", ".join(
        f"{done} {label}" if done >= wanted else f"{done} of {wanted} {label}"
        for label, (done, wanted) in swung.items()
    )


def begin(
    plan: FollowedPlan, number: int, now_us: float, swings: Sequence[BlockSwing]
) -> FollowedPlan:
    """The plan with block ``number`` begun; unchanged when that is not the one to begin.

    So two who begin the same block, or one who taps twice, begin it once.
    """
    plan = ended_when_full(plan, swings)
    stand = standing(plan, swings)
    if stand.at_hand is not None or stand.to_begin is None or stand.to_begin.number != number:
        return plan
    start = max(round(now_us), stand.rest_since_us or 0)
    return replace(plan, marks=(*plan.marks, BlockMark(number, start)))


def pass_over(
    plan: FollowedPlan, number: int, now_us: float, swings: Sequence[BlockSwing]
) -> FollowedPlan:
    """The plan with block ``number``, at hand or next, left as it is; its swings so far stay.

    Unchanged when it is neither.
    """
    plan = ended_when_full(plan, swings)
    stand = standing(plan, swings)
    if stand.at_hand is not None and stand.at_hand.block.number == number:
        last = plan.marks[-1]
        end = max(round(now_us), last.from_club_clock_us)
        return replace(plan, marks=(*plan.marks[:-1], replace(last, until_club_clock_us=end)))
    if stand.at_hand is None and stand.to_begin is not None and stand.to_begin.number == number:
        here = max(round(now_us), stand.rest_since_us or 0)
        return replace(plan, marks=(*plan.marks, BlockMark(number, here, here)))
    return plan


def take_back(plan: FollowedPlan, swings: Sequence[BlockSwing]) -> FollowedPlan:
    """The plan without its latest step: a block begun and not yet swung, or passed over.

    Unchanged when swings of its block would fall out of it. A block passed over is at hand again,
    with what was swung since.
    """
    if not _may_take_back(plan, swings):
        return plan
    *before, last = plan.marks
    if last.until_club_clock_us in (None, last.from_club_clock_us):
        return replace(plan, marks=tuple(before))
    return replace(plan, marks=(*before, replace(last, until_club_clock_us=None)))


def _may_take_back(plan: FollowedPlan, swings: Sequence[BlockSwing]) -> bool:
    if not plan.marks:
        return False
    count = _counted(plan, plan.marks[-1].number, swings)
    if plan.marks[-1].until_club_clock_us is None:
        return count == 0
    return count < plan.block(plan.marks[-1].number).swings


def ended_when_full(plan: FollowedPlan, swings: Sequence[BlockSwing]) -> FollowedPlan:
    """The plan with the block at hand ended where it had its swings; unchanged while it has not.

    Swings after that, before the next block is begun, then lie in none.
    """
    if not plan.marks or plan.marks[-1].until_club_clock_us is not None:
        return plan
    last = plan.marks[-1]
    inside = sorted(
        swing.impact_club_clock_us
        for swing in swings
        if swing.counts and any(_of(plan, last.number, swing.impact_club_clock_us))
    )
    wanted = plan.block(last.number).swings
    if len(inside) < wanted:
        return plan
    end = max(math.ceil(inside[wanted - 1]) + AFTER_LAST_US, last.from_club_clock_us)
    return replace(plan, marks=(*plan.marks[:-1], replace(last, until_club_clock_us=end)))


def block_labels(plan: FollowedPlan, impacts_club_clock_us: Sequence[float]) -> list[str]:
    """Label of the block of each swing, by its impact (µs, club clock); before the first block
    ``WARM_UP``, in none ``BETWEEN``, "" for a swing without a moment of impact."""
    first = min((mark.from_club_clock_us for mark in plan.marks), default=math.inf)
    labels = []
    for impact in impacts_club_clock_us:
        number = next((mark.number for mark in plan.marks if mark.holds(impact)), None)
        if number is not None:
            labels.append(plan.block(number).label)
        elif math.isnan(impact):
            labels.append("")
        else:
            labels.append(WARM_UP if impact < first else BETWEEN)
    return labels


def _of(plan: FollowedPlan, number: int, impact_club_clock_us: float) -> list[bool]:
    return [mark.number == number and mark.holds(impact_club_clock_us) for mark in plan.marks]


def _counted(plan: FollowedPlan, number: int, swings: Sequence[BlockSwing]) -> int:
    return sum(
        swing.counts and any(_of(plan, number, swing.impact_club_clock_us)) for swing in swings
    )


def _after(plan: FollowedPlan, number: int | None) -> PlannedBlock | None:
    """The block after that of a number, the first for None."""
    if number is None:
        return plan.blocks[0] if plan.blocks else None
    places = [block.number for block in plan.blocks]
    return next(iter(plan.blocks[places.index(number) + 1 :]), None)


def blocks_from_layout(values: Sequence[Mapping[str, Any]]) -> tuple[PlannedBlock, ...]:
    """Blocks as a plan keeps them. Raises SwingspreadError for any that cannot be read."""
    try:
        blocks = tuple(
            PlannedBlock(
                number=_whole(one["number"], 1),
                session=_whole(one["session"], 1),
                label=str(one["label"]),
                swings=_whole(one["swings"], 1),
                rest_s=_whole(one["rest_s"], 0),
            )
            for one in values
        )
    except (TypeError, KeyError, ValueError) as problem:
        raise SwingspreadError("a block of the plan cannot be read") from problem
    if len({block.number for block in blocks}) < len(blocks):
        raise SwingspreadError("two blocks of the plan have the same number")
    return blocks


def followed_from_dict(values: Mapping[str, Any]) -> FollowedPlan:
    """Read back ``FollowedPlan.as_dict``. Raises SwingspreadError when it cannot be read."""
    try:
        blocks = blocks_from_layout(values["blocks"])
        marks = []
        for one in values["marks"]:
            until = one["until_club_clock_us"]
            until = None if until is None else _whole(until, 0)
            marks.append(
                BlockMark(_whole(one["number"], 1), _whole(one["from_club_clock_us"], 0), until)
            )
        plan = FollowedPlan(
            str(values["name"]),
            _whole(values["session"], 1),
            blocks,
            tuple(marks),
            tuple(str(kind) for kind in values.get("kinds", ())),
        )
    except (TypeError, KeyError, ValueError) as problem:
        raise SwingspreadError("the plan followed cannot be read") from problem
    if {mark.number for mark in marks} - {block.number for block in blocks}:
        raise SwingspreadError("a mark names a block that the plan has not")
    return plan


def _whole(value: Any, least: int) -> int:
    if type(value) is not int or value < least:
        raise ValueError(value)
    return value

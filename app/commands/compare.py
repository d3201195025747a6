"""`swingspread compare`: do two sets of swings really differ, and does the swing hold?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from app.arguments import SET_HELP, add_set_arguments, metric_sizes, number, seed

if TYPE_CHECKING:
    from imu.variation.compare import Comparison, Finding
    from imu.variation.limits import Limits
    from imu.variation.sets import SwingSet

HELP = "compare two sets of swings: means, spreads, curves and a verdict on each measure"
EXAMPLES = """\
  swingspread compare tuesday-practice tuesday-pressure
  swingspread compare "player=Ada,block=practice" "player=Ada,block=pressure"
  swingspread compare spring autumn --sd-ratio 1.5 --shift downswing_ms=15
  swingspread compare first second --same-session
  swingspread compare 3fa9 77b1 --plan april-test --metrics release_ms,hinge_at_impact_deg --json

A and B are recordings, saved sets or selections; B is set against A. Swings of one session are
compared swing by swing; over several sessions each session counts once.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread compare`."""
    parser.add_argument("a", metavar="A", help=f"the set to compare with: {SET_HELP}")
    parser.add_argument("b", metavar="B", help="the set compared with it, said likewise")
    limits = parser.add_argument_group("limits, set before looking")
    limits.add_argument(
        "--sd-ratio", type=number, metavar="R", help="largest growth of the spread (default: 1.5)"
    )
    limits.add_argument(
        "--shift-sds",
        type=number,
        metavar="K",
        help="largest move of a mean, in standard deviations of A (default: 1)",
    )
    limits.add_argument(
        "--shift",
        action="append",
        default=[],
        metavar="NAME=SIZE",
        help="largest move of one measure's mean, in its own unit; may be repeated",
    )
    limits.add_argument("--plan", metavar="NAME", help="take the limits of a saved plan")
    parser.add_argument(
        "--seed", type=seed, default=20_000, metavar="N", help="seed of the resampling (20000)"
    )
    parser.add_argument(
        "--line-up",
        choices=("impact", "events"),
        default="impact",
        help="line curves up at impact, or at takeaway, top and impact to take timing out",
    )
    parser.add_argument(
        "--same-session",
        action="store_true",
        help="both sets were swung in one session, when the recordings do not say so",
    )
    parser.add_argument("--no-curves", action="store_true", help="compare no curves over time")
    add_set_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Compare, and print findings in words with their numbers."""
    from app.preferences import printed_units
    from app.swing_sets import chosen_metrics, swing_set
    from imu.variation.as_shown import comparison_as_shown
    from imu.variation.comparability import as_one_session
    from imu.variation.compare import compare_sets
    from imu.variation.curve_alignment import LANDMARKS
    from imu.variation.limits import Limits
    from imu.variation.timing_at_stake import timing_at_stake

    metrics = chosen_metrics(arguments.metrics)
    limits = chosen_limits(arguments)
    curves = not arguments.no_curves
    a = swing_set(arguments.library, arguments.a, with_curves=curves)
    b = swing_set(arguments.library, arguments.b, with_curves=curves)
    if arguments.same_session:
        a, b = as_one_session(a), as_one_session(b)
    line_up = LANDMARKS if arguments.line_up == "events" else ("impact",)
    units = printed_units(arguments.json)
    compared = compare_sets(a, b, limits, arguments.seed, metrics, curves, line_up)
    found = comparison_as_shown(compared, units)
    at_stake = {one.name: timing_at_stake(one.swings, units=units) for one in (a, b)}
    if arguments.json:
        from app.findings_table import print_json

        print_json({**comparison_document(found), "timing_at_stake": at_stake})
    else:
        print_comparison(found, a, b, at_stake)
        if limits == Limits() and (plan := followed_plan(arguments.library, a, b)):
            print(f"These swings followed the plan {plan}: --plan applies the limits set with it.")
    return 0


def followed_plan(library: str | None, a: SwingSet, b: SwingSet) -> str:
    """The kept plan that the recordings of both sets followed, "" when there is none."""
    from app.planned_session import plan_at_hand
    from imu.recordings.library import Library

    shelf = Library(library)
    meant = {*a.values("recording_id"), *b.values("recording_id")}
    return plan_at_hand(shelf.path, [one for one in shelf.entries() if one.id in meant])


def chosen_limits(arguments: argparse.Namespace) -> Limits:
    """The limits of the plan named, or of the command line, or the usual ones.

    Raises SwingspreadError when both are given, or one cannot be read.
    """
    from imu.errors import SwingspreadError
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import read_saved_sets
    from imu.variation.limits import Limits

    given: dict[str, Any] = {}
    if arguments.sd_ratio is not None:
        given["sd_ratio"] = arguments.sd_ratio
    if arguments.shift_sds is not None:
        given["shift_in_sds"] = arguments.shift_sds
    shift = metric_sizes(arguments.shift, "--shift")
    if shift:
        given["shift"] = shift
    if arguments.plan is None:
        return Limits(**given)
    if given:
        raise SwingspreadError("the plan has its limits already; give no others beside --plan")
    return read_saved_sets(Library(arguments.library).path).find_plan(arguments.plan).limits


def comparison_document(found: Comparison) -> dict[str, Any]:
    """The comparison as plain values; curves as regions, without their points."""
    from app.findings_table import plain

    findings = [
        {**plain(one), "sentence": one.sentence, "verdict_sentence": one.verdict_sentence}
        for one in found.findings
    ]
    points = ("time", "mean_a", "mean_b", "sd_a", "sd_b", "mean", "spread")
    curves = [
        {name: value for name, value in plain(one).items() if name not in points}
        for one in found.curve_findings
    ]
    return {
        "a": found.name_a,
        "b": found.name_b,
        "verdict": found.verdict,
        "headline": found.headline,
        "design": found.design,
        "limits": found.limits.as_dict(),
        "seed": found.seed,
        "left_out_a": found.left_out_a,
        "left_out_b": found.left_out_b,
        "findings": findings,
        "curve_findings": curves,
        "refusals": list(found.refusals),
        "warnings": list(found.warnings),
    }


def print_comparison(found: Comparison, a: SwingSet, b: SwingSet, at_stake: Any) -> None:
    """Verdict first, then findings in words, the table, curves, and what to mind."""
    from app import findings_table as out
    from imu.cautions import READING_NUMBERS
    from imu.number_words import counted

    shown = out.console()
    ours, theirs = counted(len(b), "swing"), counted(len(a), "swing")
    title = f"{found.name_b} ({ours}) against {found.name_a} ({theirs})"
    shown.print(f"[bold]{out.safe(title)}: {found.verdict}[/bold]")
    left = found.left_out_a + found.left_out_b
    shown.print(
        out.safe(found.headline + (f" Left out: {counted(left, 'swing')}." if left else ""))
    )
    shown.print(out.safe(limits_line(found)))
    out.print_lines(shown, "", found.refusals, mark="[bold]✗[/bold]")
    out.print_lines(shown, "", found.warnings, mark="[bold]![/bold]")
    shown.print()
    out.print_lines(
        shown, "Findings", [f"{one.sentence} {one.verdict_sentence}" for one in found.findings]
    )
    headings = ("", "n", "mean A", "mean B", "B − A (95 %)", "SD A", "SD B", "ratio (95 %)", "p*")
    out.print_table(shown, "", headings, [_row(one) for one in found.findings])
    shown.print("p*: of the ratio, adjusted for the measures shown (Holm)")
    lines = [text for one in found.curve_findings for text in (one.sentence, one.spread_sentence)]
    out.print_lines(shown, "Over the swing", lines)
    for name, fits in at_stake.items():
        out.print_lines(shown, f"Timing at stake, {name}", [one.sentence for one in fits])
    shown.print()
    out.print_lines(shown, "", READING_NUMBERS, mark="·")


def limits_line(found: Comparison) -> str:
    """The limits applied, and since when they stand."""
    limits = found.limits
    own = ", ".join(f"{name} {size:g}" for name, size in limits.shift.items())
    text = f"Limits: spread up to {limits.sd_ratio:g} times, mean up to {limits.shift_in_sds:g} SD"
    text += f" ({own})" if own else ""
    when = f"set on {limits.set_at[:10]}" if limits.set_at else "given with the comparison"
    return f"{text}; {when}. Units: {'sessions' if found.findings[0].by_session else 'swings'}."


def _row(one: Finding) -> list[str]:
    from app.findings_table import with_ends
    from imu.number_words import decimals, number

    places = decimals(max(one.a.sd.value, one.b.sd.value))
    return [
        f"{one.label}, {one.unit}".rstrip(", "),
        f"{one.a.swings}/{one.b.swings}",
        number(one.a.mean, places),
        number(one.b.mean, places),
        with_ends(*one.shift.ends, places),
        number(one.a.sd.value, places),
        number(one.b.sd.value, places),
        with_ends(*one.spread.ratio.ends, 2),
        number(one.spread_p_holm, 3),
    ]

"""`swingspread plan`: how many swings a test needs, and its blocks as a checklist."""

from __future__ import annotations

import argparse
from typing import Any

from app.arguments import add_library, metric_sizes, number, whole_number

HELP = "plan a test: swings needed, alternating blocks, limits kept beforehand"
EXAMPLES = """\
  swingspread plan
  swingspread plan --see-ratio 1.75 --per-block 8
  swingspread plan --swings 20 --limit-ratio 1.5 --limit downswing_ms=15 --save april-test
  swingspread plan --table
  swingspread plan --show april-test
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread plan`."""
    what = parser.add_argument_group("what the test shall see")
    what.add_argument(
        "--see-ratio",
        type=number,
        metavar="R",
        help="growth of the spread to see (default: the limit)",
    )
    what.add_argument(
        "--see-shift", type=number, metavar="K", help="move of the mean to see, in SDs"
    )
    what.add_argument(
        "--swings",
        type=whole_number,
        metavar="N",
        help="swings in each set, instead of a change to see",
    )
    what.add_argument(
        "--power", type=number, default=0.8, metavar="P", help="chance to see it (default: 0.8)"
    )
    layout = parser.add_argument_group("layout")
    layout.add_argument(
        "--per-block",
        type=whole_number,
        default=10,
        metavar="N",
        help="most swings in a block (10)",
    )
    layout.add_argument(
        "--per-session",
        type=whole_number,
        default=60,
        metavar="N",
        help="most swings in a session (60)",
    )
    layout.add_argument(
        "--blocks",
        nargs=2,
        default=["practice", "pressure"],
        metavar=("A", "B"),
        help="labels of the two kinds of block",
    )
    limits = parser.add_argument_group("limits kept with the plan")
    limits.add_argument(
        "--limit-ratio", type=number, default=1.5, metavar="R", help="growth of the spread (1.5)"
    )
    limits.add_argument(
        "--limit",
        action="append",
        default=[],
        metavar="NAME=SIZE",
        help="largest move of one measure's mean, in its unit; may be repeated",
    )
    limits.add_argument("--save", metavar="NAME", help="keep the plan in the library")
    parser.add_argument("--show", metavar="NAME", help="show a plan kept earlier")
    parser.add_argument("--table", action="store_true", help="show swings needed by change")
    add_library(parser, "keep it in")
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def run(arguments: argparse.Namespace) -> int:
    """Lay the test out, keep it when asked, print the checklist."""
    from app import findings_table as out

    _check_together(arguments)
    if arguments.table:
        return _table(arguments.json)
    layout = _kept(arguments) if arguments.show else _made(arguments)
    if arguments.json:
        out.print_json(layout)
        return 0
    shown = out.console()
    shown.print(f"[bold]{out.safe(layout['question'])}[/bold]")
    limits = layout["limits"]
    own = "".join(f", {name} up to {size:g}" for name, size in limits["shift"].items())
    since = f", set on {limits['set_at'][:10]}" if limits["set_at"] else ""
    shown.print(
        out.safe(
            f"Limits: spread up to {limits['sd_ratio']:g} times, mean up to "
            f"{limits['shift_in_sds']:g} SD{own}{since}."
        )
    )
    out.print_lines(shown, "Checklist", layout["checklist"], mark="☐")
    out.print_lines(shown, "Pitfalls", layout["pitfalls"])
    if arguments.save or arguments.show:
        import shlex

        name = shlex.quote(arguments.save or arguments.show)
        shown.print(out.safe(f"Record by it with: swingspread record --plan {name}"))
    return 0


def _check_together(arguments: argparse.Namespace) -> None:
    """Raises SwingspreadError for options of which one would be passed over in silence."""
    from imu.errors import SwingspreadError

    if arguments.save and (arguments.show or arguments.table):
        other = "--show" if arguments.show else "--table"
        raise SwingspreadError(
            f"--save with {other}: nothing new is planned; leave one of them out"
        )
    if arguments.swings is not None:
        for option in ("see_ratio", "see_shift"):
            if getattr(arguments, option) is not None:
                raise SwingspreadError(
                    f"--swings with --{option.replace('_', '-')}: give the number of swings, or "
                    "the change that the test shall see"
                )


def _made(arguments: argparse.Namespace) -> dict[str, Any]:
    import datetime

    from imu.recordings.library import Library
    from imu.recordings.names import clean_label
    from imu.recordings.saved_sets import SavedPlan, check_set_name, update_saved_sets
    from imu.variation.limits import Limits
    from imu.variation.plan import alternating_plan

    now = datetime.datetime.now().astimezone().isoformat(timespec="seconds")
    limits = Limits(
        sd_ratio=arguments.limit_ratio,
        shift=metric_sizes(arguments.limit, "--limit"),
        power=arguments.power,
        set_at=now if arguments.save else "",
    )
    first, second = (clean_label(label, "--blocks") for label in arguments.blocks)
    plan = alternating_plan(
        limits,
        sd_ratio=arguments.see_ratio,
        shift_in_sds=arguments.see_shift,
        swings_per_set=arguments.swings,
        most_per_block=arguments.per_block,
        most_per_session=arguments.per_session,
        labels=(first, second),
    )
    layout = plan.as_dict()
    if arguments.save:
        name = check_set_name(arguments.save)
        kept = SavedPlan(name, limits, layout)
        update_saved_sets(Library(arguments.library).path, lambda saved: saved.with_plan(kept))
    return layout


def _kept(arguments: argparse.Namespace) -> dict[str, Any]:
    from imu.recordings.library import Library
    from imu.recordings.saved_sets import read_saved_sets

    kept = read_saved_sets(Library(arguments.library).path).find_plan(arguments.show)
    return {**kept.layout, "limits": kept.limits.as_dict()}


def _table(as_json: bool) -> int:
    from app import findings_table as out
    from imu.variation.plan import swings_needed_table

    table = swings_needed_table()
    if as_json:
        out.print_json(table)
        return 0
    rows: dict[str, list[str]] = {}
    for row in table.to_dict("records"):
        spread = row["change"] == "spread"
        said = f"spread {row['size']:g} times" if spread else f"mean moved by {row['size']:g} SD"
        rows.setdefault(said, [said]).append(str(row["swings_per_set"]))
    heads = ("to see", *(f"power {100 * power:.0f} %" for power in table["power"].unique()))
    out.print_table(out.console(), "Swings in each set, two-sided 5 %", heads, rows.values())
    return 0

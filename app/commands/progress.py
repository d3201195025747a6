"""`swingspread progress`: months of sessions, level and spread, a session at a time."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from app.arguments import add_set_arguments

if TYPE_CHECKING:
    import pandas as pd

    from imu.shown_units import ShownUnits
    from imu.variation.progress import Progress

HELP = "follow a player over months: is the level moving, is the spread shrinking?"
EXAMPLES = """\
  swingspread progress
  swingspread progress "player=Ada,club=7-iron"
  swingspread progress "player=Ada,club=driver,block=practice,since=2026-01-01" --json

Without a set: one line for every session of the library. With one: the trend of each measure, for
one player and one club.
"""

MOST_SHOWN = 3
"""Measures in the table of all sessions; ``--metrics`` chooses which, ``--json`` has them all."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread progress`."""
    parser.add_argument(
        "set",
        metavar="SET",
        nargs="?",
        help="a saved set, or a selection such as player=Ada,club=driver",
    )
    add_set_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print sessions and trends, or every session of the library."""
    from app import findings_table as out
    from app.preferences import printed_units
    from app.swing_sets import check_holds, chosen_metrics, swing_set
    from imu.columns import headline_metrics
    from imu.variation.as_shown import progress_as_shown, table_as_shown
    from imu.variation.progress import progress
    from imu.variation.session_table import session_table

    metrics = chosen_metrics(arguments.metrics)
    # "kind=ball" fits every recording: the whole library.
    names = metrics or [metric.name for metric in headline_metrics()]
    swings = swing_set(arguments.library, arguments.set or "kind=ball", metrics=names)
    if arguments.set is None:
        table = session_table(swings.swings, metrics)
        if arguments.json:
            out.print_json(table)
        else:
            units = printed_units(False)
            print_library(table_as_shown(table, units), units)
        return 0
    check_holds(swings)
    found = progress(swings.swings, metrics)
    if arguments.json:
        out.print_json(found)
    else:
        print_progress(progress_as_shown(found, printed_units(False)))
    return 0


def print_library(table: pd.DataFrame, units: ShownUnits) -> None:
    """One line a session and club: mean ± SD of the measures that lead."""
    from app import findings_table as out
    from imu.number_words import decimals, number

    names = list(dict.fromkeys(table["metric"]))[:MOST_SHOWN]
    rows = []
    for _, session in table.groupby(["session_key", "club"], sort=False):
        first = session.iloc[0]
        cells = []
        for name in names:
            one = session[session["metric"] == name].iloc[0]
            places = decimals(float(one["sd"]))
            cells.append(f"{number(one['mean'], places)} ± {number(one['sd'], places)}")
        who = [str(first[name]) for name in ("player", "club", "date", "session")]
        rows.append([*who, str(session["swings"].max()), *cells])
    told = [units.metric(name) for name in names]
    heads = [f"{one.label}, {one.unit}".rstrip(", ") for one in told]
    shown = out.console()
    out.print_table(
        shown,
        "Mean ± SD of every session",
        ("player", "club", "day", "session", "n", *heads),
        rows,
        words=4,
    )


def print_progress(found: Progress) -> None:
    """Trends in words, then the sessions."""
    from app import findings_table as out
    from imu.cautions import READING_NUMBERS
    from imu.number_words import counted, decimals, number
    from imu.variation.session_table import far_out_sessions

    shown = out.console()
    title = f"{found.player}, {found.club}: {counted(len(found.order), 'session')}"
    shown.print(f"[bold]{out.safe(title)}[/bold]")
    out.print_lines(shown, "", found.warnings, mark="[bold]![/bold]")
    out.print_lines(shown, "Level", [trend.level_sentence for trend in found.trends])
    out.print_lines(shown, "Spread", [trend.spread_sentence for trend in found.trends])
    for trend in found.trends[:4]:
        rows = found.sessions[found.sessions["metric"] == trend.metric]
        cells = []
        for row in rows.to_dict("records"):
            places = decimals(row["sd"])
            cells.append(
                [
                    f"{row['date']} {row['session']}".strip(),
                    str(row["swings"]),
                    number(row["mean"], places),
                    out.with_ends(row["sd"], row["sd_low"], row["sd_high"], places),
                ]
            )
        title = f"{trend.label}, {trend.unit}".rstrip(", ")
        out.print_table(shown, title, ("session", "n", "mean", "SD (95 %)"), cells)
        if wild := far_out_sessions(rows):
            out.print_lines(shown, "", [wild], mark="[bold]![/bold]")
    out.print_lines(shown, "", READING_NUMBERS, mark="·")

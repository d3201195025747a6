"""`swingspread spread`: how much a set of swings varies, where, and whether timing feeds it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from app.arguments import SET_HELP, add_set_arguments

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from imu.shown_units import ShownUnits
    from imu.variation.sets import SwingSet

HELP = "show the spread of every measure of a set, and where in the swing it arises"
EXAMPLES = """\
  swingspread spread tuesday-practice
  swingspread spread "player=Ada,club=7-iron,since=2026-03-01" --metrics all
  swingspread spread spring --json
"""
CURVES = ("hinge_deg", "hinge_rate_deg_s", "arm_rate_deg_s", "club_rate_deg_s")
MARKS_MS = (-600, -400, -300, -200, -150, -100, -75, -50, -25, 0, 25)
"""Times from impact shown in the table of spread over time."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread spread`."""
    parser.add_argument("set", metavar="SET", help=SET_HELP)
    add_set_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the spread table, spread over time, timing, modes, and what goes with what."""
    from app.preferences import printed_units
    from app.swing_sets import check_holds, chosen_metrics, swing_set
    from imu.columns import headline_metrics
    from imu.variation.as_shown import table_as_shown
    from imu.variation.spread import spread_table

    units = printed_units(arguments.json)
    names = chosen_metrics(arguments.metrics) or [one.name for one in headline_metrics()]
    swings = swing_set(arguments.library, arguments.set)
    check_holds(swings)
    table = table_as_shown(spread_table(swings.swings, names), units)
    document = {
        "set": swings.name,
        "swings": len(swings),
        "left_out": swings.left_out,
        "spread": table,
        **along_the_swing(swings),
        **associations(swings, names, units),
    }
    if arguments.json:
        from app.findings_table import print_json

        print_json(document)
    else:
        print_spread(document)
    return 0


def along_the_swing(swings: SwingSet) -> dict[str, Any]:
    """Spread over time at impact and piecewise, timing of events, and modes of the hinge; why one
    cannot be had under ``curves_problem`` and ``modes_problem``."""
    from imu.columns import EVENTS
    from imu.errors import SwingspreadError
    from imu.variation.curve_alignment import (
        LANDMARKS,
        SHAFT_DIRECTION,
        align,
        event_timing,
        spread_over_time,
    )
    from imu.variation.modes import principal_modes

    found: dict[str, Any] = {"event_timing": event_timing(swings.swings, EVENTS)}
    try:
        columns = (*CURVES, SHAFT_DIRECTION)
        for word, events in (("at_impact", ("impact",)), ("between_events", LANDMARKS)):
            aligned = align(swings, columns, events)
            found[f"spread_over_time_{word}"] = {
                name: spread_over_time(aligned, name)[["t_from_impact_s", "swings", "mean", "sd"]]
                for name in columns
            }
            if word == "at_impact":
                at_impact = aligned
    except SwingspreadError as problem:
        return {**found, "curves_problem": str(problem)}
    try:
        found["modes"] = principal_modes(at_impact, "hinge_deg", swings.swings)
    except SwingspreadError as problem:
        found["modes_problem"] = str(problem)
    return found


def associations(swings: SwingSet, names: list[str], units: ShownUnits) -> dict[str, Any]:
    """Timing at stake, and the shot results noted."""
    from imu.variation.shot_result import shot_result_association
    from imu.variation.timing_at_stake import timing_at_stake

    return {
        "timing_at_stake": timing_at_stake(swings.swings, units=units),
        "shot_results": shot_result_association(swings.swings, names, units=units),
    }


def print_spread(document: dict[str, Any]) -> None:
    """The document in tables and sentences."""
    from app import findings_table as out
    from imu.number_words import counted
    from imu.variation.spread import drift_established, spread_sentences

    shown = out.console()
    shown.print(f"[bold]{out.safe(document['set'])}: {counted(document['swings'], 'swing')}[/bold]")
    out.print_lines(
        shown,
        f"{len(document['left_out'])} left out" if len(document["left_out"]) else "",
        [
            f"{row['recording']}, swing {row['swing']}: {row['reason']}"
            for row in document["left_out"].to_dict("records")
        ],
    )
    spreads = ("SD (95 %)", "CV %", "usual SD", "sensors", "apart", "drift", "†")
    headings = ("", "n", "mean", "median", *spreads)
    spread = document["spread"]
    rows = [
        _spread_row(row, bool(drifts))
        for row, drifts in zip(spread.to_dict("records"), drift_established(spread), strict=True)
    ]
    out.print_table(shown, "", headings, rows)
    shown.print(
        "usual SD: of the middle swings, wild ones aside. sensors: their part of the SD, ≤ where "
        "some of it may be shared by all swings. apart: two swings must differ by this before the "
        "sensors can tell, 95 % sure. drift: over a block, where established. †: far-out swings."
    )
    out.print_lines(shown, "In words", spread_sentences(document["spread"]))
    if problem := document.get("curves_problem"):
        shown.print(out.safe(problem))
    else:
        _print_over_time(shown, document)
    _print_timing(shown, document["event_timing"])
    if problem := document.get("modes_problem"):
        shown.print(out.safe(problem))
    elif "modes" in document:
        out.print_lines(shown, "Ways the hinge curve varies", document["modes"].sentences)
    out.print_lines(
        shown, "Is timing at stake?", [one.sentence for one in document["timing_at_stake"]]
    )
    out.print_lines(
        shown, "With the shot results noted", [one.sentence for one in document["shot_results"]]
    )


def _spread_row(row: dict[str, Any], drifts: bool) -> list[str]:
    from app.findings_table import sensors_part, with_ends
    from imu.number_words import decimals, number

    places = decimals(row["sd"])
    drift = number(row["drift_over_block"], places) if drifts else ""
    return [
        f"{row['label']}, {row['unit']}".rstrip(", "),
        str(row["swings"]),
        number(row["mean"], places),
        number(row["median"], places),
        with_ends(row["sd"], row["sd_low"], row["sd_high"], places),
        number(100 * row["cv"], 1) if row["cv"] == row["cv"] else "",
        number(row["robust_sd"], places),
        sensors_part(row, "noise_sd"),
        sensors_part(row, "least_difference"),
        drift,
        str(row["far_out"] or ""),
    ]


def _print_over_time(shown: Console, document: dict[str, Any]) -> None:
    from app import findings_table as out
    from imu.number_words import number

    at_impact = document["spread_over_time_at_impact"]
    names = {
        "hinge_deg": "hinge °",
        "hinge_rate_deg_s": "opening °/s",
        "arm_rate_deg_s": "arm °/s",
        "club_rate_deg_s": "club °/s",
        "shaft_direction": "shaft °",
    }
    pieces = document["spread_over_time_between_events"]["hinge_deg"]
    rows = []
    for mark in MARKS_MS:
        time = at_impact["hinge_deg"]["t_from_impact_s"]
        place = int((time - mark / 1e3).abs().to_numpy().argmin())
        if abs(time.iloc[place] - mark / 1e3) > 0.002:
            continue
        cells = [number(float(at_impact[name]["sd"].iloc[place]), 1) for name in names]
        near = int((pieces["t_from_impact_s"] - mark / 1e3).abs().to_numpy().argmin())
        rows.append([str(mark), *cells, number(float(pieces["sd"].iloc[near]), 1)])
    out.print_table(
        shown,
        "Where it arises: SD over time, lined up at impact",
        ("ms from impact", *names.values(), "hinge ° between events"),
        rows,
    )


def _print_timing(shown: Console, timing: pd.DataFrame) -> None:
    from app import findings_table as out
    from imu.number_words import number

    out.print_table(
        shown,
        "Spread of the events' times before impact, ms",
        ("", "mean", "SD", "95 %"),
        [
            [
                str(row["event"]).replace("_", " "),
                number(row["mean_ms"], 0),
                number(row["sd_ms"], 1),
                f"{number(row['sd_low_ms'], 1)} to {number(row['sd_high_ms'], 1)}",
            ]
            for row in timing.to_dict("records")
        ],
    )

"""`swingspread report`: a page for the player to take home."""

from __future__ import annotations

import argparse

from app.arguments import SET_HELP, add_library

HELP = "make a printable report of a recording or a set of swings, alone or against another"
EXAMPLES = """\
  swingspread report tuesday --out tuesday.html
  swingspread report tuesday --out tuesday.html --pdf tuesday.pdf
  swingspread report pressure-block --against practice-block --out compared.html
  swingspread report "player=Ada,since=2026-03-01" --out spring.html
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread report`."""
    parser.add_argument("set", metavar="SET", help=SET_HELP)
    add_library(parser)
    parser.add_argument(
        "--against",
        metavar="SET",
        help="another recording or set to hold it against, as pressure against practice",
    )
    parser.add_argument("--out", metavar="FILE.html", required=True, help="the report to write")
    parser.add_argument(
        "--pdf", metavar="FILE.pdf", help="also as PDF, printed by a browser on this machine"
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse what is not yet analysed, compose, write."""
    from pathlib import Path

    import imu
    from app.preferences import read_preferences
    from app.swing_sets import swing_set
    from imu.exports.pdf import print_pdf
    from imu.exports.report import compose_report, set_manifest, write_report
    from imu.exports.report_page import render
    from imu.number_words import counted
    from imu.variation.compare import compare_sets

    chosen = swing_set(arguments.library, arguments.set)
    against = comparison = None
    if arguments.against:
        against = swing_set(arguments.library, arguments.against)
        comparison = compare_sets(against, chosen, curves=False)
    facts = set_manifest(chosen)
    content = compose_report(
        chosen, facts, imu.__version__, against, comparison, read_preferences().units
    )
    written = [write_report(content, Path(arguments.out))]
    if arguments.pdf:
        written.append(print_pdf(render(content), Path(arguments.pdf)))
    print(f"report of {counted(len(chosen), 'swing')}: {', '.join(str(file) for file in written)}")
    return 0

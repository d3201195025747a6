"""`swingspread report`: a page for the player to take home."""

from __future__ import annotations

import argparse

HELP = "make a printable report of a recording, alone or against another"
EXAMPLES = """\
  swingspread report tuesday --out tuesday.html
  swingspread report tuesday --out tuesday.html --pdf tuesday.pdf
  swingspread report pressure-block --against practice-block --out compared.html
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread report`."""
    from app.commands.analyse import add_recording

    add_recording(parser)
    parser.add_argument(
        "--against",
        metavar="RECORDING",
        help="another recording to set it against, as pressure against practice",
    )
    parser.add_argument("--out", metavar="FILE.html", required=True, help="the report to write")
    parser.add_argument(
        "--pdf", metavar="FILE.pdf", help="also as PDF, printed by a browser on this machine"
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse what is not yet analysed, compose, write."""
    from pathlib import Path

    from app.chosen import analysed
    from imu.exports.pdf import print_pdf
    from imu.exports.report import compose_report, write_report
    from imu.exports.report_page import render
    from imu.variation.compare import compare_sets

    shown = analysed(arguments.library, arguments.recording)
    chosen = shown.counted()
    against = comparison = None
    if arguments.against:
        against = analysed(arguments.library, arguments.against).counted()
        comparison = compare_sets(against, chosen, curves=False)
    version = shown.analysis.version
    content = compose_report(chosen, shown.manifest, version, against, comparison)
    written = [write_report(content, Path(arguments.out))]
    if arguments.pdf:
        written.append(print_pdf(render(content), Path(arguments.pdf)))
    print(f"report of {len(chosen)} swings: {', '.join(str(file) for file in written)}")
    return 0

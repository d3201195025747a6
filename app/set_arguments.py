"""Arguments that every command on sets of swings takes; light, so that --help is quick."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from imu.errors import SwingspreadError

SET_HELP = (
    "a recording (id, unique beginning of an id, name or folder), a saved set, or a selection "
    "such as player=Ada,block=pressure"
)


def add_common_arguments(parser: argparse.ArgumentParser) -> None:
    """--metrics, --library and --json."""
    parser.add_argument(
        "--metrics",
        metavar="NAMES",
        help="measures to show, names parted by commas, or 'all' (default: the headline ones)",
    )
    parser.add_argument("--library", metavar="FOLDER", help="library to look in")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def metric_sizes(texts: Sequence[str], option: str) -> dict[str, float]:
    """Sizes by metric from texts such as ``downswing_ms=15``.

    Raises SwingspreadError naming the option when one cannot be read.
    """
    sizes = {}
    for text in texts:
        name, _, size = text.partition("=")
        try:
            sizes[name.strip()] = float(size)
        except ValueError as problem:
            raise SwingspreadError(
                f"{option} {text}: write it as a measure and a size, as downswing_ms=15"
            ) from problem
    return sizes

"""Arguments that several commands take, and how numbers in them are read; light, so that --help is
quick."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path

from imu.errors import SwingspreadError

RECORDING_HELP = "id, unique beginning of an id, name, or folder of a recording"
SET_HELP = (
    "a recording (id, unique beginning of an id, name or folder), a saved set, or a selection "
    "such as player=Ada,block=pressure"
)


def add_recordings(parser: argparse.ArgumentParser, selected: str) -> None:
    """Recordings and selections of them, one or more. selected : what a selection stands for."""
    parser.add_argument(
        "recordings",
        nargs="+",
        metavar="RECORDING",
        help=f"{RECORDING_HELP}, or a selection such as player=Ada for {selected}",
    )


def add_library(parser: argparse.ArgumentParser, use: str = "look in") -> None:
    """--library. use : what is done with it."""
    parser.add_argument("--library", metavar="FOLDER", help=f"library to {use} (default: your own)")


def add_journals(parser: argparse.ArgumentParser, use: str = "where recordings were made") -> None:
    """--journals, for `journals_meant`."""
    parser.add_argument("--journals", metavar="FOLDER", help=use)


def journals_meant(arguments: argparse.Namespace) -> Path:
    """The folder of recordings in the making: the one named, or the usual one."""
    from imu.recorder.folder import default_journals

    return Path(arguments.journals) if arguments.journals else default_journals()


def add_set_arguments(parser: argparse.ArgumentParser) -> None:
    """What every command on sets of swings takes: --metrics, --library and --json."""
    parser.add_argument(
        "--metrics",
        metavar="NAMES",
        help="measures to show, names parted by commas, or 'all' (default: the headline ones)",
    )
    add_library(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def number(text: str) -> float:
    """A finite number. Raises ArgumentTypeError for anything else."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number such as 10 or 1.5")
    return value


def whole_number(text: str) -> int:
    """A whole number. Raises ArgumentTypeError for anything else."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number such as 10") from None


def seed(text: str) -> int:
    """A whole number of 0 or more. Raises ArgumentTypeError for anything else."""
    value = whole_number(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r}: give 0 or a greater whole number")
    return value


def seconds(text: str) -> float:
    """A time in s, above 0. Raises ArgumentTypeError for anything else."""
    value = number(text)
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"{text!r}: give more than 0 seconds")
    return value


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

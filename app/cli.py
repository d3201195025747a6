"""The `swingspread` command: finds the module of the command asked for and runs it.

A command is a module of `app.commands` with the constants ``HELP`` and ``EXAMPLES`` and the
functions ``add_arguments(parser)`` and ``run(arguments) -> int``. Heavy libraries are imported
inside ``run``, so that ``--help`` is quick.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

import imu
from app.ending import INTERRUPTED, STOPPED
from imu.errors import SwingspreadError

COMMANDS: tuple[str, ...] = (
    "demo",
    "sensors",
    "record",
    "recover",
    "import",
    "list",
    "label",
    "analyse",
    "reanalyse",
    "spread",
    "compare",
    "sets",
    "plan",
    "progress",
    "report",
    "export",
    "delete",
    "serve",
)
"""In the order of a coach's work. ``import`` lives in ``app/commands/import_.py``."""

EXIT_PROBLEM = 1
"""What argparse refuses ends with 2, an interrupt with `app.ending.INTERRUPTED`."""


def build_parser() -> argparse.ArgumentParser:
    """The whole command line, one sub-command a module."""
    parser = argparse.ArgumentParser(
        prog="swingspread",
        description="Will this release and tempo repeat? Two inertial sensors, every swing.",
        epilog="Not a medical device. Clear space, warm up, stop on pain.",
    )
    parser.add_argument("--version", action="version", version=f"swingspread {imu.__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in COMMANDS:
        module = importlib.import_module(f"app.commands.{name}{'_' * (name == 'import')}")
        command = commands.add_parser(
            name,
            help=module.HELP,
            description=module.HELP,
            epilog=f"examples:\n{module.EXAMPLES}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; a user's mistake is one message on stderr and exit code 1."""
    try:
        options = build_parser().parse_args(arguments)
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        if not _output_is_cut_off():
            raise
        return EXIT_PROBLEM
    except SwingspreadError as problem:
        from imu.recordings.names import printable

        lines = [printable(line) for line in str(problem).splitlines()]  # it may quote a file
        print("swingspread:", "\n".join(lines), file=sys.stderr)
        return EXIT_PROBLEM
    except KeyboardInterrupt:
        print(STOPPED, file=sys.stderr)
        return INTERRUPTED


def _output_is_cut_off() -> bool:
    """Whether nobody reads what is printed any more, as after `| head`; then nothing more is."""
    try:
        os.write(sys.stdout.fileno(), b"\n")
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return True
    return False


if __name__ == "__main__":
    sys.exit(main())

"""What the commands show in the terminal, and what they ask there."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

Progress = Callable[[float, str], None]
"""Called with the part done, 0 to 1, and a few words on what is being done."""


@contextlib.contextmanager
def progress_bar(what: str) -> Iterator[Progress]:
    """A progress bar on stderr while the block runs; nothing where stderr is no terminal.

    Gives a function to call with the part done and what is being done; it leaves no line behind.
    """
    if not sys.stderr.isatty():
        yield lambda part, words: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    bars = Bars(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bars:
        task = bars.add_task(what, total=1.0)

        def advance(part: float, words: str) -> None:
            bars.update(task, completed=part, description=words or what)

        yield advance


def agreed() -> bool:
    """Whether the person at the terminal wants all that was listed deleted. Raises
    SwingspreadError where there is nobody to ask."""
    from imu.errors import SwingspreadError

    if not sys.stdin.isatty():
        raise SwingspreadError("nothing was deleted; add --yes to delete without being asked")
    return input("Delete all of this for good? Type yes: ").strip().lower() == "yes"

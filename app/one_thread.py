"""Processes whose linear algebra keeps to one thread.

The matrices here are small: more threads gain nothing, and where cores are few they wait on each
other.
"""

from __future__ import annotations

import os

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Environment variables that the usual libraries of linear algebra obey."""


def one_thread_environment() -> dict[str, str]:
    """This process's environment, for a child that works on one thread."""
    return {**os.environ, **dict.fromkeys(ONE_THREAD, "1")}

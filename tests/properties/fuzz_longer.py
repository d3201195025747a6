"""Runs the fuzzing tests with many times the examples that the ordinary check draws, each time
from another seed:

    python tests/properties/fuzz_longer.py --times 30

Without names of files or folders, everything that reads from outside is fuzzed: packets,
journals, books, manifests, samples, imports, kept files, addresses, names and exports.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parents[2]
READERS = (
    "recorder/test_packet.py",
    "recorder/test_journal.py",
    "recorder/test_intake.py",
    "recorder/test_coverage.py",
    "recordings/test_names.py",
    "recordings/test_store.py",
    "recordings/test_importer.py",
    "exports/test_tables.py",
    "exports/test_motion_bids.py",
    "properties",
)


@dataclass(frozen=True)
class Longer:
    """Multiplies the examples of every test that draws them, and leaves the others out."""

    times: int

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Hypothesis keeps a test's settings on the function itself."""
        drawing = [item for item in items if getattr(_function(item), "is_hypothesis_test", False)]
        for test in {_function(item) for item in drawing}:
            usual = test._hypothesis_internal_use_settings
            test._hypothesis_internal_use_settings = settings(
                usual,
                max_examples=usual.max_examples * self.times,
                derandomize=False,
                deadline=None,
                suppress_health_check=list(HealthCheck),
            )
        items[:] = drawing


def _function(item: pytest.Item) -> object:
    found = getattr(item, "obj", None)
    return getattr(found, "__func__", found)


def main() -> int:
    """Run; the exit code is pytest's."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=30, help="how many times the examples (30)")
    parser.add_argument("tests", nargs="*", help="files or folders (default: all that read)")
    chosen = parser.parse_args()
    tests = chosen.tests or [str(ROOT / "tests" / name) for name in READERS]
    words = ["-p", "no:cacheprovider", "--durations=30", "--durations-min=5", *tests]
    return int(pytest.main(words, plugins=[Longer(chosen.times)]))


if __name__ == "__main__":
    raise SystemExit(main())

"""How soon after the strike, and after the finish, a swing's numbers are shown while recording.

    python tests/benchmarks/latency.py --seconds 90

Runs ``swingspread record --virtual`` (virtual sensors on a private D-Bus, so Linux alone) and
notes when each swing's line comes out of it. The moments of impact and finish are those of the
live analysis, in the recorder's clock, less the promptest packet's time under way. The virtual
sensors, the radio's stand-in and the recorder share the machine, so other work on it shows.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from imu.recorder.journal import Kind, read_journal

ROOT = Path(__file__).resolve().parents[2]


def shown_after(seconds: float) -> list[dict[str, float]]:
    """Each swing's delays in ms: after impact, after finish, and of that the computing."""
    with tempfile.TemporaryDirectory(prefix="swingspread-latency-") as scratch:
        command = [sys.executable, "-u", "-m", "app.cli", "record", "--virtual", "--no-analysis"]
        command += ["--seconds", f"{seconds:g}"]
        command += ["--journals", f"{scratch}/journals", "--library", f"{scratch}/library"]
        shown = []
        with subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT
        ) as recorder:
            assert recorder.stdout is not None
            for line in recorder.stdout:
                if line.startswith("swing "):
                    shown.append(time.monotonic_ns())
        if recorder.returncode:
            raise SystemExit(f"recording ended with code {recorder.returncode}")
        told = [
            record.json()
            for path in sorted(Path(scratch).rglob("swings*"))
            for record in read_journal(path).records
            if record.kind is Kind.EVENT
        ]
    swings = [event for event in told if event.get("type") == "swing"]
    return [
        {
            "after_impact_ms": 1e-6 * (moment - swing["host_ns"]),
            "after_finish_ms": 1e-6 * (moment - swing["finish_host_ns"]),
            "computing_ms": float(swing["computing_ms"]),
        }
        for moment, swing in zip(shown, swings, strict=False)
    ]


def middle_and_worst(swings: list[dict[str, float]], name: str) -> tuple[float, float]:
    """Median and largest of one of the delays, ms."""
    values = [swing[name] for swing in swings]
    return statistics.median(values), max(values)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=90.0)
    swings = shown_after(parser.parse_args().seconds)
    for number, swing in enumerate(swings, start=1):
        print(number, "  ".join(f"{name} {value:.0f}" for name, value in swing.items()))
    for name in swings[0] if swings else ():
        middle, worst = middle_and_worst(swings, name)
        print(f"{name}: median {middle:.0f}, worst {worst:.0f}, {len(swings)} swings")


if __name__ == "__main__":
    main()

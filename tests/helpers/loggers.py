"""A small invented recording as another logger would export it, to be spoilt by the tests."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np

HEADER = ["t_host_s", "seq", "t_sensor_us", "ax", "ay", "az", "gx", "gy", "gz"]
SECONDS = 6.0

META: dict[str, Any] = {
    "format": 1,
    "handedness": "right",
    "player": {"name": "Ada Brook"},
    "club": {"type": "iron7", "length_m": 0.94, "wrist_from_butt_m": 0.05},
    "arm": {"hub_to_wrist_m": 0.62},
    "units": {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"},
    "forearm_sensor": {
        "rate_hz": 200,
        "acc_range_g": 32,
        "gyr_range_dps": 4000,
        "distance_to_wrist_m": 0.06,
    },
    "club_sensor": {
        "rate_hz": 400,
        "acc_range_g": 200,
        "gyr_range_dps": 4000,
        "distance_from_butt_m": 0.33,
    },
}


def rows(role: str) -> list[list[str]]:
    """Three bursts of swing-like motion with rest between, as text rows."""
    rate, fast, hard, seed = (200, 14.0, 90.0, 1) if role == "forearm" else (400, 32.0, 330.0, 2)
    rng = np.random.default_rng(seed)
    count = int(rate * SECONDS)
    t = np.arange(count) / rate
    phase = ((t % 2.0) - 1.0) / 0.1
    swing = np.exp(-(phase**2) / 2)
    back_and_forth = phase * np.exp((1 - phase**2) / 2)  # ends where it began
    gyr = rng.normal(0, 0.01, (count, 3)) + np.outer(back_and_forth, [0.3, 0.9, 0.2]) * fast
    rest = np.array([-9.2, 1.1, 3.2])
    acc = rng.normal(0, 0.05, (count, 3)) + rest + np.outer(swing**2, [hard, 8, 8])
    ticks = 5_000_000 + np.rint(t * 1e6).astype(int)
    host = 0.25 + np.ceil((np.arange(count) + 1) / 10) * 10 / rate
    return [
        [f"{host[i]:.6f}", str(i), str(ticks[i]), *(f"{v:.6f}" for v in (*acc[i], *gyr[i]))]
        for i in range(count)
    ]


def write_csv(path: Path, table: list[list[str]], header: list[str] | None = None) -> None:
    """Write rows under the plain header, or another."""
    with path.open("w", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(HEADER if header is None else header)
        writer.writerows(table)


def write_export(folder: Path) -> dict[str, Path]:
    """Write the recording's three files; returns them by what they are."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {role: folder / f"{role}.csv" for role in ("forearm", "club")}
    for role, path in files.items():
        write_csv(path, rows(role))
    files["meta"] = folder / "meta.json"
    files["meta"].write_text(json.dumps(META, indent=1))
    return files


def read_csv(path: Path) -> list[list[str]]:
    """The rows of a file, header first."""
    with path.open(newline="") as handle:
        return list(csv.reader(handle))


def change_column(path: Path, name: str, change: Any) -> None:
    """Apply ``change(float) -> text`` to a whole column."""
    table = read_csv(path)
    column = table[0].index(name)
    for row in table[1:]:
        row[column] = change(float(row[column]))
    write_csv(path, table[1:], table[0])


def change_cell(path: Path, line: int, name: str, text: str) -> None:
    """Put ``text`` into one cell; lines count from 1, the header being line 1."""
    table = read_csv(path)
    table[line - 1][table[0].index(name)] = text
    write_csv(path, table[1:], table[0])


def change_lines(path: Path, change: Any) -> None:
    """Apply ``change(list of lines) -> list of lines`` to the text."""
    lines = path.read_text().splitlines()
    path.write_text("\n".join(change(lines)) + "\n")


def change_meta(path: Path, change: Any) -> None:
    """Apply ``change(document)`` in place."""
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document, indent=1))

"""From the record page's answers to the commands that carry them out."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

from imu.errors import SwingspreadError

PATIENCE = 60
"""s in which a search for sensors must have ended."""


def start_arguments(
    player: str | None,
    hand: str,
    club: str | None,
    length_cm: float | str | None,
    block: str | None,
    session: str | None,
    forearm: str | None,
    shaft: str | None,
    virtual: bool | None,
    plan: str | None = None,
    plan_session: str | None = None,
    belt: str | None = None,
    virtual_belt: bool | None = None,
) -> list[str]:
    """Arguments of `swingspread record` for what the page says.

    hand : "right" or "left". length_cm : of the club; the field gives "" when it is empty.
    forearm, shaft, belt : serials. With a plan its blocks are the labels, and begin when the page
    is tapped. Raises SwingspreadError when the club's length is missing.
    """
    if not isinstance(length_cm, int | float):
        raise SwingspreadError("Say how long the club is, in cm.")
    texts = {
        "--player": player,
        "--club": club or "club",
        "--block": None if plan else block,
        "--session": session,
        "--forearm-sensor": None if virtual else forearm,
        "--club-sensor": None if virtual else shaft,
        "--belt-sensor": None if virtual else belt,
        "--plan": plan,
        "--plan-session": plan_session if plan else None,
    }
    arguments = [f"{name}={text.strip()}" for name, text in texts.items() if text and text.strip()]
    arguments.append(f"--club-length={length_cm:g}")
    if hand == "left":
        arguments.append("--left-handed")
    if virtual:
        arguments.append("--virtual")
    if virtual and virtual_belt:
        arguments.append("--belt-sensor")
    if plan:
        arguments.append("--step-by-hand")
    return arguments


def look_for_sensors(identify: str = "") -> list[dict[str, Any]]:
    """Sensors near, as the command lists them. Raises SwingspreadError with its message."""
    command = [sys.executable, "-m", "app.cli", "sensors", "--json", "--seconds", "4"]
    if identify:
        command.append(f"--identify={identify}")
    try:
        run = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE, check=False)
        found: list[dict[str, Any]] = json.loads(run.stdout)
    except subprocess.TimeoutExpired as problem:
        raise SwingspreadError(
            f"The search for sensors did not end within {PATIENCE} s. Switch Bluetooth off and on "
            "again, and look once more."
        ) from problem
    except ValueError as problem:
        said = run.stderr.strip().splitlines() or ["the search for sensors ended without a word"]
        raise SwingspreadError(said[-1].removeprefix("swingspread: ")) from problem
    return found

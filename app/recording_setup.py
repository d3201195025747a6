"""From the record page's answers to the commands that carry them out."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

from imu.errors import SwingspreadError


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

    With a plan its blocks are the labels, and begin when the page is tapped. Raises
    SwingspreadError when the club's length is missing.
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
    run = subprocess.run(
        command + (["--identify", identify] if identify else []),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    if run.stderr.strip() and not run.stdout.strip().startswith("["):
        raise SwingspreadError(run.stderr.strip().splitlines()[-1].removeprefix("swingspread: "))
    found: list[dict[str, Any]] = json.loads(run.stdout)
    return found

"""A report as PDF, printed by a browser that is on the machine already."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from imu.errors import SwingspreadError
from imu.exports.writing import write_export

COMMANDS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "chrome",
    "msedge",
)
PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
    r"C:\Program Files\Microsoft\Edge\Application\msedge.exe",
)
SECONDS_TO_PRINT = 90

_QUIET = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-extensions",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--metrics-recording-only",
    "--no-pdf-header-footer",
)
"""A browser that opens one file, prints it, and asks nobody anything."""


def find_browser() -> str | None:
    """Path of a browser that can print to PDF (Chromium or a relative), or None."""
    for command in COMMANDS:
        found = shutil.which(command)
        if found:
            return found
    return next((place for place in PLACES if Path(place).is_file()), None)


def print_pdf(html: str, target: Path, browser: str | None = None) -> Path:
    """Print an HTML text to ``target`` as PDF.

    browser : path of the browser; found by itself when None. Raises SwingspreadError when there
    is none, or when it fails or the disk refuses.
    """
    program = browser or find_browser()
    if program is None:
        raise SwingspreadError(
            "no browser that can print to PDF was found (Chromium, Chrome or Edge); open the "
            "HTML report in any browser and print it from there"
        )
    with tempfile.TemporaryDirectory(prefix="swingspread-print-") as scratch:
        page, printed = Path(scratch) / "report.html", Path(scratch) / "report.pdf"
        page.write_text(html, encoding="utf-8")
        arguments = [program, *_QUIET, f"--user-data-dir={Path(scratch) / 'profile'}"]
        if sys.platform == "linux" and os.geteuid() == 0:
            arguments.append("--no-sandbox")  # the sandbox refuses to start as root
        arguments += [f"--print-to-pdf={printed}", page.as_uri()]
        try:
            subprocess.run(
                arguments,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                check=False,
                timeout=SECONDS_TO_PRINT,
            )
            content = printed.read_bytes()
        except (OSError, subprocess.TimeoutExpired) as problem:
            raise SwingspreadError(
                f"{program} could not print the report; open the HTML report in any browser and "
                "print it from there"
            ) from problem
    return write_export(target, content)

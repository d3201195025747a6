"""The house stays tidy: what may lie where, and what no file may say."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

ALLOWED_AT_THE_TOP = re.compile(
    r"(\..*|LICENSE|requirements\.lock|README\.md|DEVELOPERS\.md|pyproject\.toml"
    r"|imu|app|tests|recordings|firmware_notes)"
)
MACHINE_PATH = re.compile(r"(?<![\w.])/(?:" + "|".join(("work", "farm", "tmp", "opt")) + ")/")
REGISTRY = re.compile(
    r"(?:pypi\.org|pythonhosted\.org|registry\.npmjs|deb\.debian\.org)|--(?:extra-)?index-url"
    r"|--find-links"
)
LINES_OF_TWO_IDEAS = 400


def tracked_files() -> list[Path]:
    """Files of the last commit and the index; the test is skipped outside a git clone."""
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listing.returncode:
        pytest.skip("not a git clone")
    return [ROOT / name for name in listing.stdout.split("\0") if name]


def text_files() -> list[Path]:
    """Tracked files that are text: everything but recordings and pictures."""
    binary = {".parquet", ".png", ".gz", ".npz", ".ico", ".woff2", ".bin", ".zip", ".xlsx"}
    return [file for file in tracked_files() if file.suffix not in binary and file.is_file()]


def test_only_the_listed_names_lie_at_the_top() -> None:
    top = {file.relative_to(ROOT).parts[0] for file in tracked_files()}
    assert [name for name in sorted(top) if not ALLOWED_AT_THE_TOP.fullmatch(name)] == []


def test_no_file_names_a_machine_path_or_a_registry() -> None:
    found = []
    for file in text_files():
        if file == Path(__file__).resolve():
            continue
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
            if MACHINE_PATH.search(line) or REGISTRY.search(line):
                found.append(f"{file.relative_to(ROOT)}:{number}: {line.strip()[:80]}")
    assert found == []


def test_the_watch_for_machine_paths_sees_one() -> None:
    assert MACHINE_PATH.search("open('/tm" + "p/x')")
    assert not MACHINE_PATH.search("app/tmp/x")


def test_modules_hold_one_idea_each() -> None:
    large = []
    for file in tracked_files():
        if file.suffix == ".py" and file.relative_to(ROOT).parts[0] in ("imu", "app"):
            lines = len(file.read_text(encoding="utf-8").splitlines())
            if lines > LINES_OF_TWO_IDEAS:
                large.append(f"{file.relative_to(ROOT)}: {lines} lines")
    assert large == []


def test_every_sample_recording_is_packaged() -> None:
    """An installed program has the sample session, too, not only a clone."""
    tools = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    packaged = {Path(place).name for place in tools["setuptools"]["data-files"]}
    assert packaged == {path.parent.name for path in (ROOT / "recordings").glob("*/recording.json")}

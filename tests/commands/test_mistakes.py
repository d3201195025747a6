"""What is mistyped is told in one message, before anything is done, and nothing is guessed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from app.cli import main
from app.commands.sensors import print_sensors
from app.recording_screen import RecordingScreen
from imu.recorder.find import FoundSensor

ROOT = Path(__file__).resolve().parents[2]


def told(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What the command says of a mistake, on one line; it ends with code 1 or 2."""
    try:
        code = main(words)
    except SystemExit as ending:
        code = int(ending.code or 0)
    printed = capsys.readouterr()
    assert code in (1, 2)
    assert "Traceback" not in printed.err
    return printed.err.strip().splitlines()[-1]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("analyse one --release-threshold ten", "--release-threshold: 'ten' is not a number"),
        ("analyse one --line-tolerance nan", "--line-tolerance: 'nan' is not a number"),
        ("compare a b --seed -1", "--seed: '-1': give 0 or a greater"),
        ("compare a b --sd-ratio 1,5", "--sd-ratio: '1,5' is not a number such as 10 or 1.5"),
        ("plan --see-shift nan", "--see-shift: 'nan' is not a number"),
        ("plan --swings 20.5", "--swings: '20.5' is not a whole number"),
        ("reanalyse --jobs all", "--jobs: 'all' is not a whole number"),
        ("sets leave-out one four why", "SWING: 'four' is not a whole number"),
        ("sensors --seconds inf", "--seconds: 'inf' is not a number"),
        ("sensors --seconds 0", "--seconds: '0': give more than 0 seconds"),
        ("record --virtual --seconds -1", "--seconds: '-1': give more than 0 seconds"),
        ("record --virtual --rate 100000", "--rate 100000: give samples a second from 50 to 8000"),
        ("record --virtual --rate -5", "--rate -5: give samples a second"),
        ("record --virtual --arm-length 0.62", "--arm-length 0.62: give centimetres from 30 to"),
        ("record --virtual --club-length 0", "--club-length 0: give centimetres from 50 to 140"),
        ("record --virtual --wrist-distance -3", "--wrist-distance -3: give centimetres"),
        ("record --virtual --butt-distance 200", "--butt-distance 200: give centimetres"),
        ("record --virtual --butt-distance 95", "--butt-distance 95: lies beyond the end of the"),
        ("record --virtual --block a\nb", "--block: take out line breaks"),
        ("record --virtual --resume --player Ada", "--player with --resume"),
        ("plan --table --save spring", "--save with --table"),
        ("plan --show spring --save summer", "--save with --show"),
        ("plan --swings 20 --see-ratio 1.5", "--swings with --see-ratio"),
    ],
)
def test_a_number_that_cannot_be_is_told_with_its_option(
    words: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    places = ["--library", str(tmp_path / "library")]
    if words.startswith("sensors"):
        places = []
    elif words.startswith("record"):
        places += ["--journals", str(tmp_path / "journals")]
    assert says in told([*words.split(" "), *places], capsys)
    assert list(tmp_path.iterdir()) == []


CLEAR = "\x1b[2J"
"""Clears a terminal (ECMA-48, ED)."""


@pytest.mark.skipif(os.name == "nt", reason="no such file name there")
def test_a_message_cannot_steer_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / f"a{CLEAR}b"
    place.touch()
    assert "a [2Jb: a file" in told(["list", "--library", str(place)], capsys)


def test_what_a_sensor_says_of_itself_cannot_steer_the_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Anybody near may send it."""
    monkeypatch.setenv("COLUMNS", "200")  # so that nothing wraps
    words = f"[bold]A1{CLEAR}"
    sensor = FoundSensor(words, "00:11", -50, firmware=words, problem=words)
    print_sensors([sensor])
    screen = RecordingScreen()
    screen.found("club", sensor)
    printed = capsys.readouterr()
    assert "[bold]A1 [2J" in printed.out and "[bold]A1 [2J" in printed.err
    assert "\x1b" not in printed.out + printed.err


def test_a_sensors_serial_may_be_typed_in_small_letters_but_given_one_role_only(
    capsys: pytest.CaptureFixture[str],
) -> None:
    twice = ["sensors", "--set-role", "A1=club", "--set-role", "A1=forearm"]
    assert "has a role given already" in told(twice, capsys)
    assert main(["sensors", "--virtual", "--seconds", "0.5", "--identify", "v1001"]) == 0


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_output_that_nobody_reads_is_no_mistake(tmp_path: Path) -> None:
    """As after `| head`: writing to a pipe without a reader fails with EPIPE (IEEE Std 1003.1)."""
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "app.cli", "list", "--library", str(tmp_path)]
    try:
        ended = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, cwd=ROOT, check=False)
    finally:
        os.close(write)
    assert ended.stderr == b""
    assert ended.returncode == 1

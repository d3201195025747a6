"""`swingspread record --plan` leads from block to block, by itself or at a key."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from planned_recordings import PLAN, Planned

from app.recording_plan import PlanGuide, read_lines
from app.recording_screen import RecordingScreen
from imu.recorder.plan_steps import begin_block, follow_plan
from imu.recordings.notes import SwingNote, read_notes, update_notes


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


class Heard(RecordingScreen):
    """A screen that remembers what was said since last asked."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []

    def say(self, text: str) -> None:
        self.lines.append(text)

    def since(self) -> str:
        said, self.lines = "\n".join(self.lines), []
        return said


class Guided:
    def __init__(self, tmp_path: Path, by_hand: bool = False, keys: bool = False) -> None:
        self.recording, self.clock, self.screen = Planned(tmp_path), Clock(), Heard()
        self.guide = PlanGuide(self.recording.folder, self.screen, by_hand, keys, self.clock)

    def look(self) -> str:
        self.guide.look()
        return self.screen.since()

    def press(self, line: str) -> str:
        self.guide.press(line)
        return self.screen.since()

    def marks(self) -> list[tuple[int, int, int | None]]:
        plan = read_notes(self.recording.folder.path).plan
        assert plan is not None
        return [(m.number, m.from_club_clock_us, m.until_club_clock_us) for m in plan.marks]


def test_without_a_key_the_blocks_follow_each_other_after_their_rest(tmp_path: Path) -> None:
    one = Guided(tmp_path)
    assert "now block 1 of 4: 2 × practice" in one.look()
    one.recording.hit(10.0)
    assert one.look() == "block of practice: 1 of 2 swings"
    assert one.look() == ""
    one.recording.hit(20.0)
    said = one.look()
    assert "2 of 2 swings, done. Rest 90 s, then block 2 of 4: 2 × pressure" in said
    assert "Fatigue" in said
    one.clock.now += 89
    assert one.look() == "" and len(one.marks()) == 1
    one.clock.now += 2
    assert "now block 2 of 4: 2 × pressure" in one.look()
    assert one.marks() == [(1, 0, 20_500_000), (2, 20_500_000, None)]


def test_to_the_end(tmp_path: Path) -> None:
    one, said = Guided(tmp_path), ""
    for place in range(4):
        one.clock.now += 100
        said += one.look()
        one.recording.hit(100.0 * place + 10, 100.0 * place + 20)
        said += one.look()
    assert "the plan is complete: 4 practice, 4 pressure" in said and "Day: one day" in said
    assert [number for number, _, _ in one.marks()] == [1, 2, 3, 4]


def test_where_keys_can_be_pressed_the_first_block_waits_for_one(tmp_path: Path) -> None:
    one = Guided(tmp_path, keys=True)
    assert "warm up, then begin block 1" in one.look() and one.marks() == []
    one.recording.hit(5.0)
    assert "now block 1 of 4" in one.press("")
    assert "0 of 2 swings; p and Enter" in one.press("")
    assert one.press("B") == "warm up, then begin block 1 of 4: 2 × practice"
    assert one.marks() == []


def test_by_hand_no_block_begins_by_itself(tmp_path: Path) -> None:
    one = Guided(tmp_path, by_hand=True)
    one.look()
    begin_block(one.recording.folder, 1)  # as the page does
    assert "now block 1 of 4" in one.look()
    one.recording.hit(10.0, 20.0)
    assert "begins by itself" not in one.look()
    one.clock.now += 91
    assert "rest is over; begin block 2 of 4" in one.look()
    one.clock.now += 500
    assert one.look() == "" and len(one.marks()) == 1


def test_a_block_is_passed_over_and_taken_back(tmp_path: Path) -> None:
    one = Guided(tmp_path, by_hand=True, keys=True)
    one.look()
    one.press("")
    one.recording.hit(10.0)
    assert "1 of 2 swings, passed over. Rest 90 s" in one.press("p")
    assert one.press("b") == "now block 1 of 4: 2 × practice"
    assert one.marks() == [(1, 0, None)]
    assert "no step back" in one.press("b")


def test_a_swing_left_out_is_made_good_by_another(tmp_path: Path) -> None:
    one = Guided(tmp_path)
    one.look()
    one.recording.hit(10.0)
    out = SwingNote(10_000_000, left_out="mishit")
    update_notes(one.recording.folder.path, lambda notes: notes.with_swing(out))
    one.recording.hit(20.0, 25.0, kind="practice")
    one.recording.hit(30.0, quality="poor")
    assert "Rest" not in one.look()
    one.recording.hit(40.0, 50.0)
    assert "Rest 90 s" in one.look()


def test_a_disk_that_refuses_is_told_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = Guided(tmp_path, keys=True)

    def refuse() -> None:
        raise OSError("disk full")

    monkeypatch.setattr(one.guide, "look", refuse)
    for _ in range(3):
        one.guide._try(one.guide.look)
    assert one.screen.since() == "the plan: disk full"


def test_no_label_steers_the_terminal(tmp_path: Path) -> None:
    one = Guided(tmp_path)
    hostile = "\x1b[2Jpractice"
    changed = tuple(replace(block, label=hostile) for block in PLAN.blocks)
    follow_plan(one.recording.folder, replace(PLAN, blocks=changed))
    said = one.look()
    assert "\x1b" not in said and "[2Jpractice" in said


def test_lines_are_heard_whole_however_they_come() -> None:
    end, typed = os.pipe()
    heard: queue.Queue[str] = queue.Queue()
    read_lines(heard.put, end)
    for piece in (b"p", b"\n\nb", b"\n", b"\xff\n"):
        os.write(typed, piece)
    assert [heard.get(timeout=10) for _ in range(4)] == ["p", "", "b", "\ufffd"]
    os.close(typed)


@pytest.mark.skipif(not hasattr(signal, "SIGTTIN"), reason="no terminals of that kind")
def test_a_recording_sent_to_the_background_is_not_halted() -> None:
    """A child that reads its terminal from the background goes on (it would be stopped)."""
    program = (
        "import os, time; from app.recording_plan import read_lines\n"
        "if child := os.fork(): os.waitpid(child, os.WUNTRACED); os._exit(0)\n"
        "os.setpgid(0, 0); read_lines(print)\n"
        "time.sleep(0.3); os.write(1, b'alive'); os._exit(0)\n"
    )
    leader, follower = os.openpty()
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            f"import fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n{program}",
        ],
        stdin=follower,
        stdout=subprocess.PIPE,
        start_new_session=True,
        cwd=Path(__file__).resolve().parents[2],
    )
    os.close(follower)
    out, _ = child.communicate(timeout=30)
    os.close(leader)
    assert out == b"alive"

"""The record page: its process lives on its own, and what it shows comes from the journals."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import dash
import pytest
from live_swings import swing
from virtual_recordings import MANIFEST

from app.components import recording_words
from app.components.recording_card import (
    calibration_words,
    place_in_block,
    sensor_states,
    swing_card,
    swing_strip,
)
from app.pages import record
from app.preferences import Preferences
from app.recording import RecordingDesk, Watched, last_status
from app.recording_screen import swing_words
from app.recording_setup import start_arguments
from app.shelf import LibraryShelf
from app.store import Store
from imu.errors import SwingspreadError
from imu.recorder.folder import new_folder
from imu.recorder.journal import JournalWriter, Kind
from imu.recorder.live_events import live_events
from imu.recordings.library import Library
from imu.recordings.notes import RecordingNotes, SwingNote


def text_of(component: Any) -> str:
    """All words of a component."""
    if component is None:
        return ""
    if isinstance(component, str | int | float):
        return str(component)
    if isinstance(component, list | tuple):
        return " ".join(text_of(child) for child in component)
    return text_of(getattr(component, "children", None))


def test_arguments_say_what_the_page_says() -> None:
    arguments = start_arguments(
        " Robin Field ", "left", "driver", 114.0, "pressure", None, "F1", "C1", False
    )
    assert arguments == [
        "--player=Robin Field",
        "--club=driver",
        "--block=pressure",
        "--forearm-sensor=F1",
        "--club-sensor=C1",
        "--club-length=114",
        "--left-handed",
    ]
    virtual = start_arguments("", "right", "", 94, "", "", "F1", "C1", True)
    assert virtual == ["--club=club", "--club-length=94", "--virtual"]
    with pytest.raises(SwingspreadError, match="how long"):
        start_arguments("", "right", "driver", "", "", "", None, None, False)


def callbacks(store: Store) -> dict[str, Any]:
    """The callbacks of the page by name, and the inputs and states of ``start``."""
    app = dash.Dash("record", suppress_callback_exceptions=True)
    record.register(app, store)
    found: dict[str, Any] = {}
    for one in app.callback_map.values():
        if "callback" in one:
            function = one["callback"].__wrapped__
            found[function.__name__] = function
            found[f"{function.__name__} state"] = [state["id"] for state in one["state"]]
    return found


def heard(serial: str, role: str) -> dict[str, Any]:
    return {
        "serial": serial,
        "role": role,
        "problem": "",
        "battery_percent": 80,
        "signal_dbm": -50,
        "rate_hz": 200,
    }


def test_a_belt_sensor_that_is_heard_is_offered_and_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.cli import build_parser

    store = Store(LibraryShelf(Library(tmp_path)), Preferences())
    page, started = callbacks(store), []
    monkeypatch.setattr(record.desk, "start", lambda words, place: started.append(words))
    every = [heard("F1", "forearm"), heard("C1", "club"), heard("B1", "belt")]
    for sensors, belt in ((every, "B1"), (every[:2], None)):
        monkeypatch.setattr(record, "look_for_sensors", lambda sensors=sensors: sensors)
        _, at_hand, forearm, _, shaft, offered, chosen = page["look"](1)
        assert (forearm, shaft, chosen) == ("F1", "C1", belt)
        assert offered == at_hand == [one["serial"] for one in sensors]
        answers = {
            "record-length": 94,
            "record-hand": "right",
            "record-virtual": False,
            "record-forearm": forearm,
            "record-shaft": shaft,
            "record-belt": chosen,
        }
        assert page["start"](1, *(answers.get(name) for name in page["start state"])) == []
        options = build_parser().parse_args(["record", *started[-1]])
        assert (options.forearm_sensor, options.club_sensor) == ("F1", "C1")
        assert options.belt_sensor == belt


def test_a_virtual_belt_sensor_is_offered_and_recorded_with_virtual_ones_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.cli import build_parser

    store = Store(LibraryShelf(Library(tmp_path)), Preferences())
    page, started = callbacks(store), []
    monkeypatch.setattr(record.desk, "start", lambda words, place: started.append(words))
    for virtual, wanted in ((True, ""), (False, None)):
        assert page["offer_virtual_belt"](virtual) == ("" if virtual else "record-hidden")
        answers = {"record-length": 94, "record-virtual": virtual, "record-virtual-belt": True}
        assert page["start"](1, *(answers.get(name) for name in page["start state"])) == []
        options = build_parser().parse_args(["record", *started[-1]])
        assert (options.virtual, options.belt_sensor) == (virtual, wanted)


def test_the_belts_sensor_is_asked_for_beside_the_other_two(tmp_path: Path) -> None:
    store = Store(LibraryShelf(Library(tmp_path)), Preferences())
    words = json.dumps(record.layout(store, {}), default=lambda one: one.to_plotly_json())
    assert '"record-belt"' in words and "On the belt" in words


def test_a_text_that_looks_like_an_option_stays_a_text() -> None:
    from app.cli import build_parser

    arguments = start_arguments("--virtual", "right", "-x", 94, "", "", None, None, False)
    options = build_parser().parse_args(["record", *arguments])
    assert options.player == "--virtual" and options.club == "-x" and not options.virtual


def test_the_newest_status_is_read_from_a_long_journal(tmp_path: Path) -> None:
    folder = new_folder(tmp_path, MANIFEST)
    assert last_status(folder) == {} and live_events(folder) == []
    writer = JournalWriter(folder.next_journal("session"))
    for number in range(2000):
        status = {"type": "status", "number": number, "sensors": {"club": {"state": "running"}}}
        writer.append_json(Kind.EVENT, number, status)
    writer.append_json(Kind.EVENT, 2000, {"type": "note"})
    writer.close()
    assert last_status(folder)["number"] == 1999


def test_the_card_shows_where_a_swing_lies_in_its_block() -> None:
    swings = [swing(n, tempo) for n, tempo in enumerate((2.9, 3.0, 3.1, 3.2), start=1)]
    words = text_of(swing_card(swings[-1], swings, RecordingNotes()))
    assert "Swing 4" in words and "3.20" in words and "2.0 SD above the mean" in words
    two = text_of(place_in_block("tempo_ratio", 3.0, swings[:2]))
    assert "spread after 1 more" in two


def test_the_card_and_the_screen_tell_a_belts_lead_where_its_sensor_is_worn() -> None:
    usual = swing(1, 3.0)
    worn = {**usual, "metrics": {**usual["metrics"], "belt_before_arm_ms": [64.0, 6.0]}}
    for words in (text_of(swing_card(worn, [worn], RecordingNotes())), swing_words(worn)):
        assert "belt turns before arm 64" in words.lower()
    for words in (text_of(swing_card(usual, [usual], RecordingNotes())), swing_words(usual)):
        assert "belt" not in words.lower()


def test_practice_swings_and_those_left_out_do_not_count_in_the_spread() -> None:
    swings = [swing(n, tempo) for n, tempo in enumerate((2.9, 3.0, 3.1, 9.0), start=1)]
    swings.append(swing(5, 3.2))
    notes = RecordingNotes(swings=(SwingNote(40_000_000, left_out="mishit"),))
    assert "2.0 SD above" in text_of(swing_card(swings[-1], swings, notes))
    assert "left out: mishit" in text_of(swing_card(swings[3], swings, notes))
    swings[3] = swing(4, 9.0, kind="practice")
    assert "2.0 SD above" in text_of(swing_card(swings[-1], swings, RecordingNotes()))
    assert "SD" not in text_of(swing_card(swings[3], swings, RecordingNotes()))


def test_the_strip_runs_from_newest_to_oldest_with_marks() -> None:
    notes = RecordingNotes(swings=(SwingNote(10_000_000, direction="left", outcome="good"),))
    buttons = swing_strip([swing(1), swing(2, kind="practice")], 2, notes)
    assert [text_of(button).split()[0] for button in buttons] == ["2", "1"]
    assert "practice" in text_of(buttons[0]) and "left, good" in text_of(buttons[1])
    assert "chosen" in buttons[0].className and "chosen" not in buttons[1].className


def test_sensor_lines_tell_loss_and_low_battery() -> None:
    facts = {"serial": "C1", "state": "running", "battery": 9, "rssi": -60, "received": 5000}
    facts |= {"rate_hz": 1000, "lost": 19, "missing": 0, "problem": ""}
    words = text_of(sensor_states(Watched("running", sensors={"club": facts}, tie_se_ms=6.2)))
    for part in ("Club C1", "battery 9 %", "5 s kept", "19 samples lost", "battery low", "± 6 ms"):
        assert part in words


def test_the_recording_outlives_the_server_that_started_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import app.recording as recording

    program = (
        "import sys, time; sys.path.insert(0, sys.argv[2])\n"
        "from pathlib import Path\n"
        "from virtual_recordings import MANIFEST\n"
        "from imu.recorder.folder import new_folder\n"
        "folder = new_folder(Path(sys.argv[1]), MANIFEST)\n"
        "lock = folder.hold()\n"
        "while not folder.stop_asked: time.sleep(0.05)\n"
        "folder.mark_finished('abc')\n"
    )
    real = recording.subprocess.Popen
    here = str(Path(__file__).parent)

    def popen(command: list[str], **options: Any) -> Any:
        assert options["start_new_session"]
        return real([command[0], "-c", program, str(tmp_path), here], **options)

    monkeypatch.setattr(recording.subprocess, "Popen", popen)
    desk = RecordingDesk(tmp_path)
    assert desk.watch() is None
    desk.start(["--virtual"], str(tmp_path / "library"))
    with pytest.raises(SwingspreadError, match="already"):
        desk.start([], "")
    wait_for(lambda: (w := desk.watch()) is not None and w.state == "running")
    other_server = RecordingDesk(tmp_path)
    seen = other_server.watch()
    assert seen is not None and seen.state == "running"
    assert seen.manifest is not None and seen.manifest.player.name == "Robin Field"
    with pytest.raises(SwingspreadError, match="already"):
        other_server.start([], "")
    other_server.stop()
    wait_for(lambda: (w := desk.watch()) is not None and w.state == "ended")
    ended = desk.watch()
    assert ended is not None and ended.finished_id == "abc"
    assert "Open it" in text_of(recording_words.note_of(ended))
    desk.forget()
    assert desk.watch() is None


def test_a_recording_that_cannot_start_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/bus")
    desk = RecordingDesk(tmp_path)
    desk.start(["--club=spoon"], str(tmp_path / "library"))
    wait_for(lambda: (w := desk.watch()) is not None and w.state == "failed")
    failed = desk.watch()
    assert failed is not None and "--club-length" in failed.words
    assert "--club-length" in text_of(recording_words.note_of(failed))


def test_titles_say_what_goes_on() -> None:
    running = Watched("running", manifest=MANIFEST, seconds=75)
    assert recording_words.title_of(running) == "Recording: Robin Field, practice · 1:15"
    assert recording_words.title_of(Watched("starting")) == "Starting …"
    assert json.dumps(calibration_words({})[1].children)


def wait_for(condition: Any, seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.05)

"""The commands sensors, record and recover, from the command line's point of view."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import threading
import time
from collections.abc import AsyncIterator, Sequence
from pathlib import Path

import pytest
from virtual_recordings import peripheral

from app.cli import main
from app.clubs import CLUB_LENGTHS_CM, usual_length_cm
from app.commands import record, sensors
from app.recording_screen import swing_words
from imu.recorder import session
from imu.recorder.folder import new_folder
from imu.recorder.radio import Radio
from imu.recordings.library import Library
from imu.recordings.store import read_recording
from imu.simulate.virtual_link import InProcessRadio
from imu.simulate.virtual_link_peripheral import VirtualPeripheral
from imu.types import CLUB, FOREARM, Club, Manifest, Player


@pytest.fixture
def nearby(monkeypatch: pytest.MonkeyPatch) -> list[VirtualPeripheral]:
    """Sensors in reach of the commands; a test may change them."""
    near = [peripheral(FOREARM), peripheral(CLUB, battery=12)]

    @contextlib.asynccontextmanager
    async def open_radio(
        virtual: bool, further: Sequence[str] = ()
    ) -> AsyncIterator[tuple[Radio, Manifest | None]]:
        async with InProcessRadio(near) as radio:
            yield radio, None

    monkeypatch.setattr(sensors, "open_radio", open_radio)
    return near


def places(tmp_path: Path) -> list[str]:
    return ["--journals", str(tmp_path / "journals"), "--library", str(tmp_path / "library")]


def record_some(tmp_path: Path, *more: str) -> int:
    return main(["record", "--seconds", "0.5", "--no-analysis", *places(tmp_path), *more])


def test_sensors_lists_what_is_near(
    nearby: list[VirtualPeripheral], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sensors", "--seconds", "0.5", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [(s["serial"], s["role"], s["battery_percent"]) for s in document] == [
        ("F0001", "forearm", 80),
        ("C0001", "club", 12),
    ]
    assert document[0]["acc_range_g"] == 32 and document[0]["gyr_range_deg_s"] == 4000
    assert main(["sensors", "--seconds", "0.5"]) == 0
    assert "F0001" in capsys.readouterr().out


def test_sensors_sets_a_role_and_makes_one_blink(
    nearby: list[VirtualPeripheral], capsys: pytest.CaptureFixture[str]
) -> None:
    wish = ["--set-role", "C0001=forearm", "--identify", "F0001"]
    assert main(["sensors", "--seconds", "0.5", *wish]) == 0
    assert nearby[1].sensor.role == FOREARM
    assert nearby[0].sensor.blinking_until > 5.0
    assert main(["sensors", "--seconds", "0.5", "--set-role", "C0001=knee"]) == 1
    assert "forearm, club, belt" in capsys.readouterr().err
    assert main(["sensors", "--seconds", "0.5", "--identify", "X9"]) == 1
    assert "F0001" in capsys.readouterr().err


def test_record_keeps_a_recording_and_shows_cautions(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record_some(tmp_path, "--player", "Robin Field", "--block", "practice") == 0
    said = capsys.readouterr()
    assert "Stop on pain" in said.err and "battery low, 12 %" in said.err
    (entry,) = Library(tmp_path / "library").entries()
    assert entry.id in said.out
    assert entry.manifest is not None
    assert entry.manifest.player.name == "Robin Field"
    assert entry.manifest.block == "practice"
    assert set(entry.samples) == {FOREARM, CLUB}
    assert all(lost == 0 for lost in entry.lost.values())


@pytest.fixture
def brief_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A search for a sensor that is out of reach gives up after half a second."""
    from imu.recorder import find

    real = find.find_sensors
    monkeypatch.setattr(
        find, "find_sensors", lambda radio, seconds, enough: real(radio, 0.5, enough)
    )


@pytest.fixture
def club_alone(nearby: list[VirtualPeripheral], brief_search: None) -> None:
    """The forearm's sensor is out of reach."""
    del nearby[0]


@pytest.mark.usefixtures("club_alone")
def test_record_goes_on_with_one_sensor_and_says_what_cannot_be_had(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record_some(tmp_path) == 0
    said = capsys.readouterr()
    assert "no forearm sensor" in said.err and "hinge" in said.out


@pytest.fixture
def virtual_player(nearby: list[VirtualPeripheral], monkeypatch: pytest.MonkeyPatch) -> Manifest:
    """The sensors near are worn by a player who is known, as virtual ones are."""
    known = Manifest(Player(""), Club("7-iron", 0.94), source="simulated")

    @contextlib.asynccontextmanager
    async def open_radio(
        virtual: bool, further: Sequence[str] = ()
    ) -> AsyncIterator[tuple[Radio, Manifest | None]]:
        async with InProcessRadio(nearby) as radio:
            yield radio, known if virtual else None

    monkeypatch.setattr(sensors, "open_radio", open_radio)
    return known


def test_what_does_not_hold_of_the_virtual_player_is_said(
    virtual_player: Manifest, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record_some(tmp_path, "--virtual", "--club", "driver", "--left-handed") == 0
    said = capsys.readouterr().err
    assert "the virtual player swings a 7-iron of 94 cm, right-handed" in said
    assert "--club and --left-handed cannot change that" in said
    (entry,) = Library(tmp_path / "library").entries()
    assert entry.manifest is not None
    assert entry.manifest.club == virtual_player.club
    assert entry.manifest.player.handedness == "right"


@pytest.mark.usefixtures("virtual_player")
def test_nothing_is_said_of_what_holds_of_the_virtual_player(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record_some(tmp_path, "--virtual", "--club", "7-iron", "--club-length", "94") == 0
    assert "cannot change" not in capsys.readouterr().err


@pytest.fixture
def short_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sensor's first sample is waited for half a second."""
    monkeypatch.setattr(session, "START_PATIENCE", 0.5)


@pytest.mark.usefixtures("short_patience")
def test_a_limit_of_time_ends_a_recording_though_one_sensor_never_sends(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nearby[1] = peripheral(CLUB, mtu=23)  # carries no packet of ours
    assert record_some(tmp_path) == 0
    said = capsys.readouterr().err
    assert "club: sensor C0001 sent no sample (the link carries 20 bytes a packet" in said
    (entry,) = Library(tmp_path / "library").entries()
    assert set(entry.samples) == {FOREARM}


@pytest.mark.usefixtures("short_patience")
def test_a_limit_of_time_ends_a_recording_in_which_no_sensor_ever_sends(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nearby[:] = [peripheral(FOREARM, mtu=23), peripheral(CLUB, mtu=23)]
    assert record_some(tmp_path) == 1
    assert "nothing was kept" in capsys.readouterr().err


def test_the_help_says_how_long_a_first_sample_is_waited_for() -> None:
    parser = argparse.ArgumentParser()
    record.add_arguments(parser)
    assert f"{session.START_PATIENCE:.0f} s after the beginning" in " ".join(
        parser.format_help().split()
    )


def test_ctrl_c_ends_a_recording_cleanly(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def press() -> None:
        deadline = time.monotonic() + 30.0
        while time.monotonic() < deadline:
            kept = [path.stat().st_size for path in tmp_path.glob("journals/*/club.journal")]
            if kept and kept[0] > 4000:
                break
            time.sleep(0.02)
        os.kill(os.getpid(), signal.SIGINT)

    threading.Thread(target=press).start()
    before = signal.getsignal(signal.SIGINT)
    assert main(["record", "--no-analysis", *places(tmp_path)]) == 0
    assert signal.getsignal(signal.SIGINT) is before
    assert "fetching what the sensors still hold" in capsys.readouterr().err
    (entry,) = Library(tmp_path / "library").entries()
    assert not any("interrupted" in fault for fault in read_recording(entry.folder).faults)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--club", "spoon"], "--club-length CM"),
        (["--club-length", "9"], "50 to 140"),
        (["--club-sensor", "X7"], "X7 was not heard"),
        (["--forearm-sensor", "c0001", "--club-sensor", "C0001"], "named for two places"),
        (["--resume"], "no interrupted recording"),
    ],
)
@pytest.mark.usefixtures("brief_search")
def test_mistakes_are_told_with_the_mend(
    nearby: list[VirtualPeripheral],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    words: str,
) -> None:
    assert record_some(tmp_path, *arguments) == 1
    assert words in capsys.readouterr().err


def test_sensors_without_a_role_are_explained(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for one in nearby:
        one.sensor.role = ""
    assert record_some(tmp_path) == 1
    assert "--set-role" in capsys.readouterr().err
    named = ["--forearm-sensor", "f0001", "--club-sensor", "C0001"]
    assert record_some(tmp_path, *named) == 0


def test_recover_lists_and_finishes_what_was_interrupted(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["recover", *places(tmp_path)]) == 0
    assert "nothing was interrupted" in capsys.readouterr().out
    record_some(tmp_path, "--player", "Robin Field")
    (folder,) = (tmp_path / "journals").iterdir()
    (folder / "finished.json").unlink()
    club = folder / "club.journal"
    club.write_bytes(club.read_bytes()[:-1000])
    capsys.readouterr()
    assert main(["recover", "--list", *places(tmp_path)]) == 0
    assert "Robin Field" in capsys.readouterr().out
    assert main(["recover", *places(tmp_path)]) == 0
    assert "the recording was interrupted" in capsys.readouterr().out
    assert len(Library(tmp_path / "library").entries()) == 2
    assert main(["recover", "--list", *places(tmp_path)]) == 0
    assert "nothing was interrupted" in capsys.readouterr().out


def test_recover_tells_what_cannot_be_finished(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from virtual_recordings import MANIFEST

    new_folder(tmp_path / "journals", MANIFEST)
    assert main(["recover", *places(tmp_path)]) == 1
    said = capsys.readouterr()
    assert "no sample" in said.err and "--remove-empty" in said.out


def test_recover_deletes_what_holds_no_sample_only_when_told(
    nearby: list[VirtualPeripheral],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from virtual_recordings import MANIFEST

    record_some(tmp_path)
    (kept,) = (tmp_path / "journals").iterdir()
    (kept / "finished.json").unlink()
    empty = new_folder(tmp_path / "journals", MANIFEST)
    assert main(["recover", "--remove-empty", *places(tmp_path)]) == 1
    assert "add --yes" in capsys.readouterr().err and empty.path.exists()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    for answer, code, there in (("no", 1, True), ("yes", 0, False)):
        monkeypatch.setattr("builtins.input", lambda _asked, answer=answer: answer)
        assert main(["recover", "--remove-empty", *places(tmp_path)]) == code
        assert empty.name in capsys.readouterr().out
        assert empty.path.exists() is there
    assert kept.exists()
    again = new_folder(tmp_path / "journals", MANIFEST)
    assert main(["recover", "--remove-empty", "--yes", *places(tmp_path)]) == 0
    assert not again.path.exists()


def test_club_lengths_are_plausible() -> None:
    lengths = list(CLUB_LENGTHS_CM.values())
    assert lengths == sorted(lengths, reverse=True)
    assert all(85 < length < 120 for length in lengths)


@pytest.mark.parametrize("name", ["7-iron", "iron7", "Iron 7", "iron-7"])
def test_a_club_may_be_spelled_either_way(name: str) -> None:
    assert usual_length_cm(name) == CLUB_LENGTHS_CM["7-iron"]
    assert usual_length_cm("spoon") is None


def test_a_swing_is_one_line_with_units_and_errors() -> None:
    event = {
        "number": 3,
        "kind": "ball",
        "quality": "fair",
        "after_impact_ms": 912,
        "metrics": {"tempo_ratio": [2.914, 0.012], "release_ms": [88.2, 0.6]},
    }
    words = swing_words(event)
    assert "swing 3" in words and "tempo ratio 2.91 ± 0.01" in words
    assert "88 ± 0.6 ms" in words and "greatest hinge unknown" in words
    assert words.endswith("(0.9 s after impact)") and "fair" in words


PLAN = ["plan", "--swings", "8", "--per-block", "4", "--per-session", "16", "--save", "april-test"]


def test_a_planned_recording_comes_out_with_its_block_begun(
    nearby: list[VirtualPeripheral], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*PLAN, "--library", str(tmp_path / "library")]) == 0
    assert record_some(tmp_path, "--plan", "april-test") == 0
    said = capsys.readouterr()
    assert "now block 1 of 4: 4 × practice" in said.err and "Order:" in said.err
    (entry,) = Library(tmp_path / "library").entries()
    assert entry.plan is not None
    assert (entry.plan.name, entry.plan.session, entry.blocks) == ("april-test", 1, ("practice",))
    assert record_some(tmp_path, "--plan", "april-test") == 1
    assert "--plan-session" in capsys.readouterr().err
    again = ["--plan-session", "1", "--step-by-hand"]
    assert record_some(tmp_path, "--plan", "april-test", *again) == 0
    assert "warm up, then begin block 1" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--plan", "spring"], "no saved plan 'spring'; there are: april-test"),
        (["--plan", "april-test", "--block", "practice"], "the plan names the blocks"),
        (["--plan", "april-test", "--resume"], "keeps its own plan"),
        (["--plan", "april-test", "--plan-session", "7"], "has 1 session, no session 7"),
        (["--plan-session", "1"], "name the plan too"),
    ],
)
def test_mistakes_with_a_plan_are_told_before_a_sensor_is_looked_for(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    words: str,
) -> None:
    main([*PLAN, "--library", str(tmp_path / "library")])
    assert record_some(tmp_path, *arguments) == 1
    assert words in capsys.readouterr().err


@pytest.mark.usefixtures("club_alone")
def test_a_plan_takes_both_sensors(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([*PLAN, "--library", str(tmp_path / "library")])
    assert record_some(tmp_path, "--plan", "april-test") == 1
    assert "takes both sensors" in capsys.readouterr().err

"""`swingspread import` and `swingspread list` as a user meets them."""

from __future__ import annotations

import json
import shutil

import loggers
import pytest

from app.cli import main
from imu.recordings.library import Library
from imu.recordings.notes import update_notes


@pytest.fixture
def place(tmp_path):
    loggers.write_export(tmp_path / "export")
    return tmp_path


def bring_in(place, *extra, forearm="forearm.csv", club="club.csv"):
    export = place / "export"
    return main(
        [
            "import",
            *("--forearm", str(export / forearm), "--club", str(export / club)),
            *("--meta", str(export / "meta.json"), "--library", str(place / "library"), *extra),
        ]
    )


def test_the_id_is_the_last_word_and_opens_the_recording(place, capsys):
    assert bring_in(place, "--name", "Tuesday", "--block", "pressure") == 0
    printed = capsys.readouterr()
    identity = printed.out.split()[-1]
    library = Library(place / "library")
    assert library.resolve(identity) == library.resolve("Tuesday")
    assert library.read("Tuesday", verify=True).manifest.block == "pressure"
    for word in ("Tuesday", "Ada Brook", "iron7", "right-handed", "400 Hz", "2,400 samples"):
        assert word in printed.out
    assert printed.err == ""


def test_losses_and_assumptions_are_printed(place, capsys):
    path = place / "export" / "club.csv"
    loggers.change_lines(path, lambda lines: [*lines[:100], *lines[105:]])
    loggers.change_meta(place / "export" / "meta.json", lambda document: document.pop("arm"))
    assert bring_in(place) == 0
    printed = capsys.readouterr().out
    assert "! club: 5 samples lost in 1 gap" in printed
    assert "! arm.hub_to_wrist_m not given; 0.62 m assumed" in printed


def test_importing_twice_stores_once_and_says_so(place, capsys):
    bring_in(place, "--name", "first")
    first = capsys.readouterr().out.split()[-1]
    assert bring_in(place, "--name", "second") == 0
    printed = capsys.readouterr().out
    assert "in the library already" in printed
    assert printed.startswith("first, ")
    assert printed.split()[-1] == first
    assert len(Library(place / "library").entries()) == 1


def test_a_name_used_twice_is_pointed_out(place, capsys):
    bring_in(place, "--name", "Tuesday")
    first = capsys.readouterr().out.split()[-1]
    loggers.change_meta(
        place / "export" / "meta.json", lambda document: document["club"].update(length_m=0.95)
    )
    assert bring_in(place, "--name", "Tuesday") == 0
    assert f"also that of {first}" in capsys.readouterr().out


def test_a_third_sensor_and_a_map_by_command(place, capsys):
    export = place / "export"
    table = loggers.rows("forearm")
    table[0][3] = "-9.5"  # a copy to the last digit would be refused
    loggers.write_csv(export / "belt.csv", [[*row[:3], *row[6:], *row[3:6]] for row in table])
    loggers.change_meta(
        export / "meta.json", lambda document: document.update(belt_sensor={"rate_hz": 200})
    )
    columns = {"t_sensor": "t_sensor_us", "seq": "seq", "t_host": "t_host_s"}
    columns |= {"ax": "gx", "ay": "gy", "az": "gz", "gx": "ax", "gy": "ay", "gz": "az"}
    (export / "map.json").write_text(json.dumps({"sensors": {"belt": {"columns": columns}}}))
    code = bring_in(
        place, "--sensor", f"belt={export / 'belt.csv'}", "--map", str(export / "map.json")
    )
    assert code == 0
    identity = capsys.readouterr().out.split()[-1]
    streams = Library(place / "library").read(identity).streams
    assert list(streams) == ["forearm", "club", "belt"]
    assert (streams["belt"].acc[1:] == streams["forearm"].acc[1:]).all()
    assert streams["belt"].acc[0, 0] == -9.5


def test_swap_and_keep_order_exclude_each_other(place, capsys):
    with pytest.raises(SystemExit) as caught:
        bring_in(place, "--swap", "--keep-order")
    assert caught.value.code == 2
    capsys.readouterr()
    assert bring_in(place, "--swap", forearm="club.csv", club="forearm.csv") == 0


def test_a_refusal_makes_no_library(place, capsys):
    (place / "export" / "club.csv").write_text("")
    assert bring_in(place) == 1
    assert not (place / "library").exists()
    assert capsys.readouterr().out == ""


def test_help_shows_the_layouts(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["import", "--help"])
    assert caught.value.code == 0
    text = capsys.readouterr().out
    for word in ("t_sensor_us", "hub_to_wrist_m", '"decimal_mark"', "mdeg/s", "examples:"):
        assert word in text


def test_the_meta_file_and_map_shown_in_the_help_are_accepted(place):
    """A newcomer copies them: the documentation must work as it stands."""
    from app.commands.import_ import MAP, META
    from imu.recordings.column_map import column_map_for
    from imu.recordings.json_file import JsonObject
    from imu.recordings.meta_file import parse_meta

    meta = JsonObject(json.loads(META[: META.rindex("}") + 1]), "meta.json")
    parsed = parse_meta(meta, ["forearm", "club"])
    assert parsed.assumed == ()
    assert parsed.manifest.recorded_at.startswith("2031")
    given = JsonObject(json.loads(MAP[: MAP.rindex("}") + 1]), "map.json")
    assert column_map_for("forearm", meta, given).units["acc"] == "g"
    assert column_map_for("club", meta, given).units["acc"] == "mg"
    assert column_map_for("club", meta, given).columns["seq"] is None


def test_an_empty_library_says_what_to_do(tmp_path, capsys):
    assert main(["list", "--library", str(tmp_path / "none")]) == 0
    assert "swingspread import" in capsys.readouterr().out


def test_the_list_shows_labels_length_and_losses(place, capsys):
    path = place / "export" / "club.csv"
    loggers.change_lines(path, lambda lines: [*lines[:100], *lines[141:]])
    bring_in(place, "--name", "Tuesday", "--session", "spring")
    identity = capsys.readouterr().out.split()[-1]
    assert main(["list", "--library", str(place / "library")]) == 0
    heading, row = capsys.readouterr().out.splitlines()
    assert heading.split() == [
        "id",
        "name",
        "player",
        "club",
        "session",
        *["length", "sensors", "lost"],
    ]
    for word in (
        identity,
        "Tuesday",
        "Ada Brook",
        "iron7",
        "spring",
        "0:06",
        "forearm club",
        "1.1 %",
    ):
        assert word in row


def test_the_list_can_be_narrowed(place, capsys):
    bring_in(place, "--name", "Tuesday")
    capsys.readouterr()
    library = ("--library", str(place / "library"))
    main(["list", "tues", "ADA", *library])
    assert "Tuesday" in capsys.readouterr().out
    main(["list", "putter", *library])
    assert "no recording has these words" in capsys.readouterr().out


def test_the_list_as_json_names_units(place, capsys):
    bring_in(place, "--name", "Tuesday")
    capsys.readouterr()
    assert main(["list", "--json", "--library", str(place / "library")]) == 0
    (entry,) = json.loads(capsys.readouterr().out)
    assert entry["club"]["length_m"] == 0.94
    assert entry["samples"] == {"forearm": 1200, "club": 2400}
    assert entry["duration_s"] == pytest.approx(5.9975)


def test_a_damaged_recording_is_named_and_the_others_listed(place, capsys):
    bring_in(place, "--name", "Tuesday")
    capsys.readouterr()
    library = place / "library"
    (good,) = Library(library).entries()
    shutil.copytree(good.folder, library / "damaged")
    (library / "damaged" / "recording.json").write_text('{"schema": ')
    assert main(["list", "--library", str(library)]) == 0
    printed = capsys.readouterr()
    assert "Tuesday" in printed.out
    assert "damaged" in printed.err


def test_labels_changed_by_hand_cannot_steer_the_terminal(place, capsys):
    bring_in(place, "--name", "Tuesday")
    (entry,) = Library(place / "library").entries()
    update_notes(entry.folder, lambda notes: notes)
    path = entry.folder / "notes.json"
    document = json.loads(path.read_text())
    path.write_text(json.dumps(document | {"name": "x\x1b[2Jy"}))
    capsys.readouterr()
    main(["list", "--library", str(place / "library")])
    assert "\x1b" not in capsys.readouterr().out

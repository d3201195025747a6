"""`swingspread spread`, `compare`, `sets`, `plan` and `progress` as a user meets them."""

from __future__ import annotations

import json
import math

import invented_sets as swings
import numpy as np
import pytest

from app.cli import main
from app.derived import keep
from app.preferences import Preferences, keep_preferences
from imu.recordings.content import content_id
from imu.recordings.library import Library
from imu.settings import AnalysisSettings
from imu.types import CLUB, FOREARM, Recording, Stream

SETTINGS = AnalysisSettings()


@pytest.fixture(autouse=True)
def preferred(tmp_path, monkeypatch):
    """The file of the preferences; there is none at first."""
    file = tmp_path / "preferences.json"
    monkeypatch.setattr("app.preferences.preferences_file", lambda: file)
    return file


def _stream(role, seed):
    generator = np.random.default_rng(seed)
    time = np.arange(50) / 100
    return Stream(
        role,
        time,
        generator.normal(size=(50, 3)),
        generator.normal(size=(50, 3)),
        np.arange(50),
        time,
        100.0,
    )


def _add(
    library,
    seed,
    count=20,
    curves=False,
    sd_factor=1.0,
    shift=None,
    settings=SETTINGS,
    **context,
):
    """A recording of a moment, with an invented analysis kept beside it."""
    manifest = swings.manifest_of(**context)
    streams = {FOREARM: _stream(FOREARM, seed), CLUB: _stream(CLUB, seed + 1000)}
    identity = content_id(manifest, streams)
    entry, _ = library.add(Recording(identity, manifest, streams))
    table = swings.swing_table(count, seed, sd_factor, shift)
    keep(entry.folder, settings, swings.analysis_of(table, entry.id, curves))
    return entry


@pytest.fixture
def library(tmp_path):
    place = Library(tmp_path / "library")
    _add(place, 1, 40, True, block="practice")
    _add(
        place, 2, 40, True, {"release_ms": 2.2}, {"downswing_ms": -15.0}, block="pressure", hour=11
    )
    _add(place, 3, 20, True, block="practice", club="driver", length=1.15, hour=12)
    return place


def run(library, capsys, *words):
    code = main([*words, "--library", str(library.path)])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


A, B = "club=7 iron,block=practice", "block=pressure"


def test_compare_tells_what_was_built_in(library, capsys):
    code, out, err = run(library, capsys, "compare", A, B)
    assert code == 0
    assert err == ""
    first = out.splitlines()[0]
    assert first.endswith("does not hold")
    assert "Downswing 1" in out
    assert "ms shorter under pressure (95 %" in out
    assert "Release spreads" in out
    assert "Not a medical device" in out
    assert "wholly after the other" in out


def test_compare_as_json_holds_limits_findings_and_no_nan(library, capsys):
    code, out, _ = run(
        library, capsys, "compare", A, B, "--json", "--sd-ratio", "1.3", "--shift", "downswing_ms=4"
    )
    document = json.loads(out)
    assert code == 0
    assert document["limits"]["sd_ratio"] == 1.3
    assert document["limits"]["shift"] == {"downswing_ms": 4.0}
    found = {one["metric"]: one for one in document["findings"]}
    assert found["downswing_ms"]["verdict"]["word"] == "does not hold"
    assert found["downswing_ms"]["shift"]["high"] < 0
    assert document["curve_findings"][0]["curve"] == "hinge_deg"
    assert "NaN" not in out


def test_compare_takes_recordings_by_id_and_name(library, capsys):
    entries = {
        entry.manifest.block: entry
        for entry in library.entries()
        if "driver" not in entry.manifest.club.name
    }
    words = ("compare", entries["practice"].id[:8], entries["pressure"].name, "--no-curves")
    code, out, _ = run(library, capsys, *words, "--metrics", "release_ms")
    assert code == 0
    assert out.startswith("pressure (40 swings) against practice (40 swings)")


def test_compare_refuses_to_blame_the_player_for_the_club(library, capsys):
    code, out, _ = run(library, capsys, "compare", A, "club=driver", "--no-curves")
    assert code == 0
    assert "not comparable" in out.splitlines()[0]
    assert "not to the player" in out


def test_a_plan_sets_limits_that_compare_uses(library, capsys):
    words = ("plan", "--swings", "20", "--limit", "downswing_ms=50", "--limit-ratio", "9")
    code, out, _ = run(library, capsys, *words, "--save", "spring test")
    assert code == 0
    assert "Block 4" in out
    code, out, err = run(library, capsys, *words, "--save", "spring test")
    assert code == 1
    assert "stays as it is" in err
    code, out, _ = run(library, capsys, "compare", A, B, "--plan", "spring test", "--no-curves")
    assert "set on 20" in out
    assert "Downswing 1" in out
    assert "Holds" in out
    code, _, err = run(library, capsys, "compare", A, B, "--plan", "spring test", "--sd-ratio", "2")
    assert code == 1
    assert "limits already" in err
    code, out, _ = run(library, capsys, "plan", "--show", "spring test", "--json")
    assert json.loads(out)["limits"]["sd_ratio"] == 9


def test_plan_table_shows_the_swings_needed(library, capsys):
    code, out, _ = run(library, capsys, "plan", "--table")
    assert code == 0
    line = next(line for line in out.splitlines() if "spread 1.5 times" in line)
    assert line.split()[-2:] == ["50", "66"]


def test_sets_are_kept_shown_used_and_forgotten(library, capsys):
    name = next(e.name for e in library.entries() if e.manifest.block == "pressure")
    words = ("sets", "save", "calm", name, "--leave-out", f"{name}:4=the phone rang")
    assert run(library, capsys, *words)[0] == 0
    words = ("sets", "save", "few", name, "--pick", f"{name}:1,2,3,5,6,7", "--pick", f"{name}:7")
    code, out, _ = run(library, capsys, *words)
    assert code == 0
    assert "6 picked" in out
    assert "1 left out by hand" in run(library, capsys, "sets", "list")[1]
    shown = run(library, capsys, "sets", "show", "calm")[1]
    assert "swing 4: the phone rang" in shown
    code, out, _ = run(library, capsys, "compare", A, "few", "--no-curves")
    assert code == 0
    assert "few (6 swings)" in out
    assert out.splitlines()[0].endswith("cannot tell yet")
    assert run(library, capsys, "sets", "remove", "calm")[0] == 0
    code, _, err = run(library, capsys, "sets", "show", "calm")
    assert code == 1
    assert "there are: few" in err


def test_a_swing_left_out_counts_nowhere_until_taken_back(library, capsys):
    name = next(e.name for e in library.entries() if e.manifest.block == "pressure")
    assert run(library, capsys, "sets", "leave-out", name, "4", "slipped")[0] == 0
    out = run(library, capsys, "spread", B, "--metrics", "release_ms")[1]
    assert "39 swings" in out
    assert "swing 4: slipped" in out
    assert run(library, capsys, "sets", "take-back", name, "4")[0] == 0
    assert "40 swings" in run(library, capsys, "spread", B, "--metrics", "release_ms")[1]


def test_every_action_on_sets_answers_in_json_when_asked(library, capsys):
    entry = next(e for e in library.entries() if e.manifest.block == "pressure")

    def answer(*words):
        code, out, _ = run(library, capsys, "sets", *words, "--json")
        assert code == 0
        return json.loads(out)

    kept = answer("save", "calm", entry.name)["set"]
    assert kept["name"] == "calm"
    assert kept == answer("show", "calm")["set"] == answer("list")["sets"]["calm"]
    said = {"recording_id": entry.id, "swing": 4}
    assert answer("leave-out", entry.name, "4", "slipped") == {**said, "left_out": "slipped"}
    assert answer("take-back", entry.name, "4") == {**said, "left_out": ""}
    assert answer("remove", "calm") == {"removed": "calm"}
    assert answer("list")["sets"] == {}


def test_swings_are_measured_by_the_settings_of_the_page(library, capsys, preferred):
    """The commands speak of the same numbers as the pages: of an analysis by these settings."""
    keep_preferences(Preferences(release_threshold_deg=5.0))
    settings = AnalysisSettings(release_threshold=math.radians(5.0))
    _add(library, 9, 12, player="Bo Links", day="2026-05-02", settings=settings)
    words = ("--metrics", "release_ms")
    assert "12 swings" in run(library, capsys, "spread", "player=Bo Links", *words)[1]
    assert "Bo Links" in run(library, capsys, "progress", "since=2026-05-02", *words)[1]
    preferred.unlink()
    assert run(library, capsys, "spread", "player=Bo Links", *words)[0] == 1  # 0.5 s cannot be


def test_spread_shows_numbers_time_timing_and_modes(library, capsys):
    code, out, err = run(library, capsys, "spread", A)
    assert code == 0
    assert err == ""
    for words in ("Release varies by", "SD over time", "events' times", "Mode 1", "timing"):
        assert words in out
    document = json.loads(run(library, capsys, "spread", A, "--metrics", "all", "--json")[1])
    for row in document["spread"]:  # Weir 2005: 1.96 × √2 × the error of one swing
        assert row["least_difference"] == pytest.approx(2.7718586 * row["noise_sd"], rel=1e-7)
    assert len(document["spread"]) == 27
    assert document["modes"]["shares"][0] > document["modes"]["shares"][1]
    assert "shaft_direction" in document["spread_over_time_between_events"]


def test_too_few_swings_for_modes_still_show_where_they_spread(library, capsys):
    _add(library, 9, 4, True, player="Bo Links")
    words = ("spread", "player=Bo Links", "--metrics", "release_ms")
    code, out, _ = run(library, capsys, *words)
    assert code == 0
    for said in ("4 swings", "SD over time", "events' times", "modes of variation need"):
        assert said in out
    document = json.loads(run(library, capsys, *words, "--json")[1])
    assert "spread_over_time_between_events" in document and "modes_problem" in document


def test_a_measure_that_no_swing_has_is_unknown_in_one_word(library, capsys):
    code, out, _ = run(
        library, capsys, "compare", A, B, "--no-curves", "--metrics", "belt_before_arm_ms"
    )
    assert code == 0
    (row,) = (line for line in out.splitlines() if line.startswith(" Belt turns before arm, ms"))
    assert row.split()[6:] == ["unknown"] * 7


def test_progress_lists_the_library_and_follows_one_player(library, capsys):
    for week in range(6):
        day = f"2026-04-{1 + 4 * week:02d}"
        _add(library, 50 + week, session=f"week {week}", day=day, player="Bo Links")
    code, out, _ = run(library, capsys, "progress")
    assert code == 0
    assert out.count("Bo Links") >= 1
    code, out, _ = run(library, capsys, "progress", "player=Bo Links", "--json")
    document = json.loads(out)
    assert len(document["order"]) == 6
    assert document["trends"][0]["level_per_month"]["value"] is not None
    code, out, _ = run(library, capsys, "progress", "player=Bo Links")
    assert "no trend of the level established" in out
    code, _, err = run(library, capsys, "progress", "player=Ada Fairway")
    assert code == 1
    assert "choose one of the clubs" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("compare", "nobody", B), "no recording 'nobody'"),
        (("compare", "player=Nobody", B), "there are"),
        (("compare", A, A), "in both"),
        (("compare", A, B, "--metrics", "releas_ms"), "did you mean release_ms"),
        (("compare", A, B, "--shift", "downswing"), "--shift downswing"),
        (("compare", A, B, "--sd-ratio", "0.5"), "above 1"),
        (("spread", "since=soon"), "YYYY-MM-DD"),
        (("spread", "outcome=good"), "outcome=good: no swing fits"),
        (("progress", "outcome=good"), "outcome=good: no swing fits"),
        (("spread", "quality=poor"), "no swing counts; left out: 100 swings (quality good"),
        (("sets", "save", "a=b", B), "without ="),
        (("sets", "save", "x", B, "--pick", "nothing"), "swing numbers"),
        (("sets", "save", "x", B, "--pick", "{practice}:3"), "is not in block=pressure"),
        (("sets", "save", "x", B, "--leave-out", "{practice}:3=wind"), "is not in block=pressure"),
        (("plan", "--see-ratio", "1.001"), "too small"),
        (("plan", "--limit", "hinge=3"), "no measure"),
    ],
)
def test_mistakes_are_one_message_and_no_traceback(library, capsys, words, said):
    (practice,) = (
        entry.id
        for entry in library.entries()
        if (entry.manifest.block, entry.manifest.club.name) == ("practice", "7 iron")
    )
    code, out, err = run(library, capsys, *(word.format(practice=practice) for word in words))
    assert code == 1
    assert err.startswith("swingspread: ")
    assert said in err
    assert "Traceback" not in err + out

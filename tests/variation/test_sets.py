"""Choosing swings, leaving them out with reasons, and keeping sets under a name."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.recordings.saved_sets import (
    SETS_FILE,
    SavedPlan,
    SavedSet,
    check_set_name,
    read_saved_sets,
    update_saved_sets,
)
from imu.variation.limits import Limits, limits_from_dict
from imu.variation.selection import (
    LeftOut,
    Selection,
    SwingKey,
    may_hold,
    selection_from_dict,
)
from imu.variation.selection_words import is_selection, parse_selection, write_selection
from imu.variation.sets import pool, select


@pytest.fixture
def everything(make_table, make_manifest, make_analysis):
    practice, pressure, driver = (make_table(6, seed) for seed in (1, 2, 3))
    practice.loc[1, ["quality", "notes"]] = ["poor", "clipped at impact"]
    practice.loc[2, "kind"] = "practice"
    results = pd.DataFrame(
        {
            "direction": ["left", "", "right", "straight", "", ""],
            "outcome": ["good", "bad", "", "good", "", ""],
            "left_out": ["", "", "", "", "the phone rang", ""],
        }
    )
    return pool(
        [
            (make_manifest("pressure", hour=11), make_analysis(pressure, "bbb2"), results),
            (make_manifest("practice"), make_analysis(practice, "aaa1", curves=True), None),
            (
                make_manifest("practice", "autumn", "2026-09-01", player="Bo Links", club="driver"),
                make_analysis(driver, "ccc3"),
                None,
            ),
        ]
    )


def test_the_pool_is_in_order_of_time_with_what_is_known(everything):
    assert list(everything.swings["recording_id"].unique()) == ["aaa1", "bbb2", "ccc3"]
    assert everything.swings["date"].iloc[0] == "2026-03-01"
    assert everything.swings["session_key"].nunique() == 2
    assert len(everything) == 18


def test_fields_are_joined_by_and_values_by_or(everything):
    chosen = select(everything, Selection(players=("ada fairway",), blocks=("pressure",)), "x")
    assert set(chosen.swings["recording_id"]) == {"bbb2"}
    both = select(everything, Selection(blocks=("practice", "pressure")), "x")
    assert set(both.swings["recording_id"]) == {"aaa1", "bbb2", "ccc3"}
    by_id = select(everything, Selection(recordings=("aa",)), "x")
    assert set(by_id.swings["recording_id"]) == {"aaa1"}
    later = select(everything, Selection(since="2026-04-01"), "x")
    assert set(later.swings["recording_id"]) == {"ccc3"}
    good = select(everything, Selection(outcomes=("good",)), "x")
    assert good.swings["swing"].tolist() == [1, 4]


def test_swings_left_out_keep_their_reason(everything):
    key = SwingKey("aaa1", float(everything.swings["impact_club_clock_us"].iloc[4]) + 900.0)
    chosen = select(
        everything, Selection(sessions=("spring",), left_out=(LeftOut(key, "lost balance"),)), "x"
    )
    reasons = dict(
        zip(
            zip(chosen.left_out["recording_id"], chosen.left_out["swing"], strict=True),
            chosen.left_out["reason"],
            strict=True,
        )
    )
    assert reasons == {
        ("aaa1", 2): "quality poor: clipped at impact",
        ("aaa1", 5): "lost balance",
        ("bbb2", 5): "the phone rang",
    }
    # practice swings were not asked for, so they are neither in nor left out
    assert len(chosen) == 12 - 1 - 3


def test_curves_follow_their_swings(everything):
    chosen = select(everything, Selection(recordings=("aaa1",)), "x")
    assert set(chosen.curves["swing"]) == {1, 4, 5, 6}
    assert set(chosen.curves["recording_id"]) == {"aaa1"}


def test_hand_picked_swings_of_any_kind(everything):
    impacts = everything.swings["impact_club_clock_us"]
    keys = (SwingKey("aaa1", impacts.iloc[2]), SwingKey("bbb2", impacts.iloc[6]))
    chosen = select(everything, Selection(picked=keys), "x")
    assert list(zip(chosen.swings["recording_id"], chosen.swings["swing"], strict=True)) == [
        ("aaa1", 3),
        ("bbb2", 1),
    ]
    with pytest.raises(SwingspreadError, match="pick it again"):
        select(everything, Selection(picked=(SwingKey("aaa1", 1.0),)), "x")


def test_a_label_that_no_swing_has_is_named_with_those_there_are(everything):
    with pytest.raises(SwingspreadError, match=r"'warm-up'.*practice, pressure"):
        select(everything, Selection(blocks=("warm-up",)), "x")


def test_the_same_recording_twice_is_refused(make_table, make_manifest, make_analysis):
    one = (make_manifest(), make_analysis(make_table(3, 1), "aaa1"), None)
    with pytest.raises(SwingspreadError, match="given twice"):
        pool([one, one])


def test_may_hold_agrees_with_select(everything, make_manifest):
    manifest = make_manifest("practice")
    for selection, expected in (
        (Selection(), True),
        (Selection(players=("Ada Fairway",), until="2026-03-01"), True),
        (Selection(blocks=("pressure",)), False),
        (Selection(recordings=("aaa",)), True),
        (Selection(recordings=("practice 2026-03-01 10",)), True),
        (Selection(since="2026-03-02"), False),
        (Selection(picked=(SwingKey("bbb2", 1.0),)), False),
    ):
        assert may_hold(selection, manifest, "aaa1") is expected


def test_selection_in_words():
    found = parse_selection("player=Fairway, Ada|Bo,block=pressure,date=2026-03-01,outcome=bad")
    assert found == Selection(
        players=("Fairway, Ada", "Bo"),
        blocks=("pressure",),
        outcomes=("bad",),
        since="2026-03-01",
        until="2026-03-01",
    )
    assert is_selection(" block=x")
    assert not is_selection("tuesday")
    assert not is_selection("a=b")


def test_a_label_that_holds_the_signs_of_the_line_stands_for_itself_alone():
    """Whoever deletes all of the player “Ann|Bob” means neither Ann nor Bob."""
    for label in ("Ann|Bob", "Ann,club=driver", "Ann\\", "Ann\\|Bob"):
        selection = Selection(players=(label,), clubs=("7 iron",))
        assert parse_selection(write_selection(selection)) == selection
    assert write_selection(Selection(players=("Fairway, Ada",))) == "player=Fairway, Ada"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("player=", "needs a value"),
        ("colour=red", "field=value"),
        ("player=Ada,player=Bo", "given twice"),
        ("date=2026-03-01,since=2026-01-01", "given twice"),
        ("since=March", "YYYY-MM-DD"),
        ("outcome=awful", "good, bad"),
    ],
)
def test_selections_that_cannot_be_read_say_why(text, said):
    with pytest.raises(SwingspreadError, match=said):
        parse_selection(text)


_label = (
    st.text(
        st.one_of(
            st.sampled_from("|,=\\"), st.characters(codec="ascii", exclude_categories=["Cc"])
        ),
        min_size=1,
    )
    .flatmap(lambda text: st.sampled_from([text, f"{text},club=x", f"a, block ={text}"]))
    .map(str.strip)
    .filter(bool)
)
_labels = st.lists(_label, max_size=3, unique=True).map(tuple)


@given(
    st.builds(
        Selection,
        players=_labels,
        clubs=_labels,
        sessions=_labels,
        blocks=_labels,
        outcomes=st.sampled_from([(), ("good",), ("good", "bad")]),
        since=st.sampled_from(["", "2026-01-31"]),
        kinds=st.sampled_from([("ball",), ("practice",), ("ball", "practice")]),
    )
)
def test_selections_come_back_from_words_and_from_json(selection):
    words = write_selection(selection)
    assert (parse_selection(words) if words else Selection()) == selection
    assert selection_from_dict(json.loads(json.dumps(selection.as_dict()))) == selection


def test_saved_sets_come_back(tmp_path):
    selection = Selection(
        players=("Ada",),
        picked=(SwingKey("aaa1", 1.5e6),),
        left_out=(LeftOut(SwingKey("aaa1", 9e6), "slipped"),),
    )
    limits = Limits(sd_ratio=1.3, shift={"release_ms": 9.0}, set_at="2026-03-01T10:00:00+00:00")
    update_saved_sets(tmp_path, lambda s: s.with_set(SavedSet("spring", selection, "2026-03-01")))
    update_saved_sets(tmp_path, lambda s: s.with_plan(SavedPlan("test", limits, {"a": [1]})))
    saved = read_saved_sets(tmp_path)
    assert saved.find_set("spring") == SavedSet("spring", selection, "2026-03-01")
    assert saved.find_plan("test").limits == limits
    assert not update_saved_sets(tmp_path, lambda s: s.without_set("spring")).sets


def test_a_plan_once_kept_is_never_changed(tmp_path):
    update_saved_sets(tmp_path, lambda s: s.with_plan(SavedPlan("test", Limits())))
    with pytest.raises(SwingspreadError, match="stays as it is"):
        update_saved_sets(tmp_path, lambda s: s.with_plan(SavedPlan("test", Limits(sd_ratio=9))))
    assert read_saved_sets(tmp_path).find_plan("test").limits == Limits()


@pytest.mark.parametrize(
    "content",
    [
        "{",
        "[]",
        '{"schema_version": 1, "sets": {"x": {}}}',
        '{"schema_version": 1, "sets": {"x": {"selection": {"players": 3}}}}',
        '{"schema_version": 1, "plans": {"x": {"limits": {"sd_ratio": 0}}}}',
        '{"schema_version": 99}',
    ],
)
def test_a_damaged_file_is_named_and_left_alone(tmp_path, content):
    path = tmp_path / SETS_FILE
    path.write_text(content)
    with pytest.raises(SwingspreadError, match=SETS_FILE):
        update_saved_sets(tmp_path, lambda s: s.with_set(SavedSet("x", Selection())))
    assert path.read_text() == content


@pytest.mark.parametrize("name", ["", "  ", "player=Ada", "two\nlines"])
def test_names_that_would_be_taken_for_something_else(name):
    with pytest.raises(SwingspreadError):
        check_set_name(name)


def test_unknown_sets_and_plans_are_listed(tmp_path):
    saved = update_saved_sets(tmp_path, lambda s: s.with_set(SavedSet("spring", Selection())))
    with pytest.raises(SwingspreadError, match="there are: spring"):
        saved.find_set("autumn")
    with pytest.raises(SwingspreadError, match="none yet"):
        saved.find_plan("autumn")


@pytest.mark.parametrize(
    "wrong",
    [
        {"sd_ratio": 1.0},
        {"sd_ratio": np.nan},
        {"shift_in_sds": 0},
        {"shift": {"nothing_ms": 1}},
        {"shift": {"release_ms": -1}},
        {"power": 1.0},
        {"level": 95},
        {"minimum_swings": 0},
        {"minimum_sessions": 1},
    ],
)
def test_limits_that_make_no_sense_are_refused(wrong):
    with pytest.raises(SwingspreadError):
        Limits(**wrong)


@pytest.mark.parametrize(
    "damaged", [{"sd_ratio": "x"}, {"shift": 3}, {"minimum_swings": "8"}, {"unknown": 1}]
)
def test_damaged_limits_are_refused_in_words(damaged):
    with pytest.raises(SwingspreadError, match="limits cannot be read"):
        limits_from_dict(damaged)

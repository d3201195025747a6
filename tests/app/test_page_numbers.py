"""Numbers as pages show them, preferences, and files dropped on the start page."""

from __future__ import annotations

import base64
import json
import math
import re
from pathlib import Path

import pandas as pd
import pytest
from invented_swings import invented_analysis

from app.components.numbers import plain, with_unit
from app.components.tiles import tile
from app.derived import keep, read_cached
from app.imports import Dropped, bring_in, dropped_files, sort_out
from app.pages.swing import remarks
from app.preferences import Preferences, keep_preferences, read_preferences
from app.shelf import LibraryShelf
from app.summary import levels
from imu.errors import SwingspreadError
from imu.number_words import decimals_for
from imu.recordings.library import Library
from imu.settings import AnalysisSettings
from imu.types import Analysis


def invented(count: int = 12, seed: int = 7) -> Analysis:
    return invented_analysis(count, seed, rate_hz=100.0)


@pytest.mark.parametrize(
    ("value", "error", "shown"),
    [(249.31, 1.6, "249"), (92.94, 0.7, "92.9"), (3.288, 0.03, "3.29"), (-0.04, 0.3, "0.0")],
)
def test_a_number_is_rounded_to_the_first_digit_of_its_error(
    value: float, error: float, shown: str
) -> None:
    """The usual rule for uncertainties (common practice, no source)."""
    assert plain(value, decimals_for(error, value)) == shown


def test_a_minus_is_a_minus_and_the_unknown_a_dash() -> None:
    assert plain(-3.25, 1) == "−3.2"
    assert plain(math.nan, 1) == "–" == with_unit(plain(math.nan, 0), "ms")
    assert with_unit("12", "°") == "12°"


@pytest.mark.parametrize(
    ("quality", "said"),
    [
        ("good", "Wrist share: the club is never level on the way down."),
        ("fair", "Quality fair: wrist share: the club is never level on the way down"),
    ],
)
def test_why_a_number_is_missing_stands_on_the_swings_page_whatever_its_quality(
    quality: str, said: str
) -> None:
    swing = invented().swings.iloc[0].copy()
    swing["left_out"], swing["quality"] = "", quality
    swing["notes"] = "wrist share: the club is never level on the way down"
    (remark,) = remarks(swing)
    assert remark.children == said
    swing["quality"], swing["notes"] = "good", ""
    assert remarks(swing) == []


def test_speed_is_shown_in_the_unit_preferred() -> None:
    """1 m/s is 2.2369 mph and 3.6 km/h (exact international mile)."""
    swings = invented().swings.assign(recording_id="one")
    plain_mean = levels(swings, ["clubhead_speed_m_s"])[0].mean
    for unit, factor in (("mph", 3600 / 1609.344), ("km/h", 3.6)):
        (level,) = levels(swings, ["clubhead_speed_m_s"], Preferences(speed_unit=unit))
        assert level.mean == pytest.approx(plain_mean * factor)
        assert level.mean_text.endswith(unit)


def test_a_tile_says_by_how_much_two_swings_must_differ() -> None:
    """1.96 × √2 × the root mean square error from swing to swing (Weir 2005), in the unit shown."""
    swings = invented().swings.assign(recording_id="one")
    preferred = Preferences(speed_unit="km/h")
    for name, factor in (("release_ms", 1.0), ("clubhead_speed_m_s", 3.6)):
        errors = swings[f"{name}_se_swing"].to_numpy(float)
        expected = 1.96 * math.sqrt(2) * factor * math.sqrt((errors**2).mean())
        (level,) = levels(swings, [name], preferred)
        assert level.least_difference == pytest.approx(expected)
        shown = str(tile(level, preferred, "right"))
        said = re.search(r"Two swings must differ by ([\d.]+) (\S+) before the sensors", shown)
        assert said is not None and said.group(2) == level.unit
        assert float(said.group(1)) == pytest.approx(expected, rel=0.1)


def test_a_tile_says_which_swings_lie_far_out_and_how_the_usual_ones_vary() -> None:
    swings = invented(24).swings.assign(recording_id="one")
    (calm,) = levels(swings, ["release_ms"])
    assert calm.far_out == 0 and "far out" not in str(tile(calm, Preferences(), "right"))
    swings.loc[3, "release_ms"] += 200.0
    (level,) = levels(swings, ["release_ms"])
    assert level.usual_sd.value == pytest.approx(calm.usual_sd.value, rel=0.3)
    shown = str(tile(level, Preferences(), "right"))
    assert f"1 far out; else SD {plain(level.usual_sd.value, level.sd_decimals)}" in shown
    assert "1 swing lies far out: the SD depends on how often such come" in shown


def test_two_swings_show_no_spread() -> None:
    (level,) = levels(invented(2).swings.assign(recording_id="one"), ["release_ms"])
    assert math.isnan(level.sd) and math.isfinite(level.mean)


def test_preferences_come_back_and_nonsense_falls_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "preferences.json"
    chosen = Preferences("mph", "side", 5.0, 3.0)
    keep_preferences(chosen, path)
    assert read_preferences(path) == chosen
    path.write_text('{"speed_unit": "furlongs", "release_threshold_deg": 8}')
    assert read_preferences(path) == Preferences(release_threshold_deg=8)
    path.write_text("not JSON")
    assert read_preferences(path) == Preferences()
    with pytest.raises(SwingspreadError, match=r"0\.5 and 45"):
        Preferences(release_threshold_deg=90.0)


def test_the_lead_arm_is_called_by_its_side() -> None:
    side = Preferences(arm_words="side")
    assert side.spoken("the lead arm comes down", "right") == "the left arm comes down"
    assert side.spoken("the lead arm comes down", "left") == "the right arm comes down"
    assert Preferences().spoken("the lead arm", "right") == "the lead arm"


def test_dropped_files_are_told_apart_by_name_and_content() -> None:
    files = [
        Dropped("Left_Forearm.csv.gz", b""),
        Dropped("club-2.csv", b""),
        Dropped("facts.json", b'{"format": 1, "handedness": "right"}'),
        Dropped("columns.json", b'{"columns": {}}'),
    ]
    assert list(sort_out(files)) == ["forearm", "club", "meta", "map"]
    warm = [Dropped(f"warm-up-{place}.csv", b"") for place in ("arm", "club")]
    assert list(sort_out(warm)) == ["forearm", "club"]


def test_a_meta_file_and_a_map_of_the_same_name_are_both_read(tmp_path: Path) -> None:
    """Dropped from two folders: a browser tells the name alone."""
    sensor = {"rate_hz": 100}
    meta = {"format": 1, "handedness": "right", "club": {"length_m": 0.9}}
    meta |= {"units": {"acc": "g", "gyr": "deg/s", "t_host": "s", "t_sensor": "us"}}
    meta |= {"forearm_sensor": sensor, "club_sensor": sensor}
    files = [Dropped("forearm.csv", b"x"), Dropped("club.csv", b"y")]
    files += [Dropped("logger.json", json.dumps(one).encode()) for one in (meta, {"colums": {}})]
    with pytest.raises(SwingspreadError, match=r"logger\.json: colums is not a known key"):
        bring_in(LibraryShelf(Library(tmp_path)), files, {}, {})


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["forearm.csv"], "No club file"),
        (["club.csv", "shaft.csv"], "both look like the club file"),
        (["one.csv"], "in the file's name"),
        (["film.mp4"], "not a CSV or JSON file"),
        (["forearm-club.csv"], "which sensor"),
    ],
)
def test_files_that_cannot_be_told_are_refused_by_name(names: list[str], said: str) -> None:
    with pytest.raises(SwingspreadError, match=said) as refusal:
        sort_out([Dropped(name, b"") for name in names])
    assert names[0] in str(refusal.value)


def test_a_name_with_a_path_in_it_stays_a_name() -> None:
    content = "data:text/csv;base64," + base64.b64encode(b"x").decode()
    (file,) = dropped_files(["..\\..\\secret/forearm.csv"], [content])
    assert file == Dropped("forearm.csv", b"x")
    with pytest.raises(SwingspreadError, match="did not arrive whole"):
        dropped_files(["a.csv"], ["data:,%%%"])


def test_an_analysis_kept_on_disk_comes_back_the_same(tmp_path: Path) -> None:
    analysis, settings = invented(), AnalysisSettings()
    assert read_cached(tmp_path, settings) is None
    keep(tmp_path, settings, analysis)
    back = read_cached(tmp_path, settings)
    assert back is not None and back.recording_id == analysis.recording_id
    pd.testing.assert_frame_equal(back.swings, analysis.swings, check_dtype=False)
    pd.testing.assert_frame_equal(back.curves, analysis.curves)
    assert read_cached(tmp_path, AnalysisSettings(near_line_tolerance=0.05)) is None
    for file in (tmp_path / "derived").rglob("*.parquet"):
        file.write_bytes(b"damaged")
    assert read_cached(tmp_path, settings) is None

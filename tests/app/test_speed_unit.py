"""A speed is shown in the unit chosen on every page and on the report, and in no other.

1 m/s is 3600 / 1609.344 mph (international mile, exact) and 3.6 km/h.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import dash
import numpy as np
import pytest
from kept_library import add_analysed

from app.cli import main
from app.comparing import Comparer
from app.files import MAKERS, report_html
from app.pages import compare, progress
from app.preferences import Preferences, keep_preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.shown_units import SI, ShownUnits
from imu.types import Club, Manifest, Player
from imu.variation.as_shown import comparison_as_shown
from imu.variation.limits import Limits

SPEED = "clubhead_speed_m_s"
MPH = 3600 / 1609.344


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Five sessions of one player with one club."""
    place = Library(tmp_path_factory.mktemp("speeds"))
    for number in range(1, 6):
        facts = Manifest(
            Player("Ida Falk"),
            Club("driver", 1.12),
            f"{number}",
            session=f"session {number}",
            block="practice" if number % 2 else "pressure",
            recorded_at=f"2026-0{number}-05T10:00:00+00:00",
        )
        add_analysed(place, facts, number, 12)
    return place


def page_of(module: Any, library: Library, unit: str) -> tuple[Any, Store]:
    """The callbacks of a page, by name, with this unit preferred."""
    store = Store(LibraryShelf(library), Preferences(speed_unit=unit))
    app = dash.Dash("page", suppress_callback_exceptions=True)
    module.register(app, store)
    found = {}
    for one in app.callback_map.values():
        if "callback" in one:
            function = one["callback"].__wrapped__
            found[function.__name__] = function
    return found, store


def text_of(component: Any) -> str:
    """All that is written in a component and those within it."""
    return json.dumps(component, default=lambda one: one.to_plotly_json(), ensure_ascii=False)


def sides(store: Store) -> dict[str, Any]:
    first, second = store.entries()[:2]
    return {"a": [first.id], "b": [second.id], "plan": ""}


@pytest.mark.parametrize(("unit", "factor"), [("mph", MPH), ("km/h", 3.6)])
def test_progress_shows_the_unit_chosen(library: Library, unit: str, factor: float) -> None:
    kept, _ = page_of(progress, library, "m/s")
    turned, _ = page_of(progress, library, unit)
    who = "Ida Falk · driver"
    figure_kept, words_kept, table_kept = kept["draw"](SPEED, "light", who)
    figure, words, table = turned["draw"](SPEED, "light", who)
    for before, after in zip(figure_kept.data, figure.data, strict=True):
        assert np.allclose(np.array(after.y), factor * np.array(before.y))
        assert np.allclose(after.error_y.array, factor * np.array(before.error_y.array))
    assert unit in figure.layout.annotations[0].text and unit in figure.data[0].hovertemplate
    assert f"Mean, {unit}" in text_of(table) and f"SD, {unit}" in text_of(table)
    level = re.compile(r"([−\d.]+)\u00a0?\s?(m/s|mph|km/h) a month")
    (before, unit_before), (after, unit_after) = (
        level.search(text_of(one)).groups()
        for one in (words_kept, words)  # type: ignore[union-attr]
    )
    assert (unit_before, unit_after) == ("m/s", unit)
    value = [float(one.replace("−", "-")) for one in (before, after)]
    assert value[1] == pytest.approx(factor * value[0], rel=0.15, abs=0.02)
    assert "m/s" in text_of(table_kept) and "m/s" not in text_of([words, table])
    assert "m/s" not in figure.to_json()


@pytest.mark.parametrize(("unit", "factor"), [("mph", MPH), ("km/h", 3.6)])
def test_compare_shows_the_unit_chosen(library: Library, unit: str, factor: float) -> None:
    kept, store = page_of(compare, library, "m/s")
    turned, _ = page_of(compare, library, unit)
    both = sides(store)
    before, after = (page["swing_by_swing"](SPEED, "light", both) for page in (kept, turned))
    assert np.allclose(np.array(after.data[0].x), factor * np.array(before.data[0].x))
    assert after.layout.xaxis.title.text.endswith(unit)
    assert "m/s" in text_of(kept["compare"](1.5, both))
    findings = text_of(turned["compare"](1.5, both))
    assert unit in findings and "m/s" not in findings
    assert "m/s" not in text_of(turned["where"](both))


def test_a_finding_in_another_unit_is_the_same_finding(library: Library) -> None:
    store = Store(LibraryShelf(library), Preferences())
    both = sides(store)
    found, _, _ = Comparer(store).compare(both["a"], both["b"], Limits())
    assert comparison_as_shown(found, SI).findings == found.findings
    turned = comparison_as_shown(found, ShownUnits("mph"))
    before, after = found.finding(SPEED), turned.finding(SPEED)
    assert after.unit == "mph" and after.shift.ends == pytest.approx(
        [MPH * end for end in before.shift.ends]
    )
    assert after.a.sd.value == pytest.approx(MPH * before.a.sd.value)
    assert after.spread == before.spread and after.verdict == before.verdict
    assert [one for one in turned.findings if one.metric != SPEED] == [
        one for one in found.findings if one.metric != SPEED
    ]


@pytest.mark.parametrize("against", [False, True])
def test_the_report_shows_the_unit_chosen(library: Library, against: bool) -> None:
    pages = {}
    for unit in ("m/s", "mph"):
        store = Store(LibraryShelf(library), Preferences(speed_unit=unit))
        both = sides(store)
        pages[unit] = report_html(store, both["a"], both["b"] if against else ())
    means = []
    for unit, page in pages.items():
        row = re.search(rf"Clubhead speed \(model value\).*?([\d.]+)\s{unit}", page, re.DOTALL)
        assert row is not None
        means.append(float(row.group(1)))
    assert means[1] == pytest.approx(MPH * means[0], rel=0.01)
    assert "m/s" not in pages["mph"] and "mph" not in pages["m/s"]


def test_exports_and_json_stay_in_si(
    library: Library,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("app.preferences.preferences_file", lambda: tmp_path / "preferences.json")
    files, printed = {}, {}
    for unit in ("m/s", "mph"):
        keep_preferences(Preferences(speed_unit=unit))
        store = Store(LibraryShelf(library), Preferences(speed_unit=unit))
        target = tmp_path / f"{len(files)}.csv"
        MAKERS["swings.csv"][0](store.swing_set([store.entries()[0].id]), target)
        files[unit] = target.read_bytes()
        words = ("player=Ida Falk", "--metrics", f"{SPEED},release_ms")
        where = ("--library", str(library.path))
        for command in ("spread", "progress"):
            assert main([command, *words, "--json", *where]) == 0
            printed[unit, command, "json"] = capsys.readouterr().out
            assert main([command, *words, *where]) == 0
            printed[unit, command, "text"] = capsys.readouterr().out
    assert files["m/s"] == files["mph"]
    for command in ("spread", "progress"):
        assert printed["m/s", command, "json"] == printed["mph", command, "json"]
        assert "mph" in printed["mph", command, "text"]
        assert not re.search(r"\bm/s", printed["mph", command, "text"])

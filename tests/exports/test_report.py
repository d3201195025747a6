"""The report is one safe file that says what the numbers say, and prints on two pages."""

from __future__ import annotations

import math
import os
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from imu.cautions import CAUTIONS
from imu.columns import headline_metrics
from imu.errors import SwingspreadError
from imu.exports.drawing import Panel, band, line, round_ticks
from imu.exports.pdf import find_browser, print_pdf
from imu.exports.pictures import align_set
from imu.exports.report import compose_report, set_manifest, write_report
from imu.exports.report_page import render
from imu.exports.report_words import next_time, spread_caption
from imu.figures.alignment import AlignedCurves
from imu.types import Analysis, Club, Manifest, Player
from imu.variation.compare import compare_sets
from imu.variation.selection import LeftOut, SwingKey
from imu.variation.sets import Selection, SwingSet, pool, select

PLAYER = "Robin Example"


def manifest(block: str = "practice", name: str = PLAYER) -> Manifest:
    return Manifest(
        Player(name),
        Club("7-iron", 0.94),
        "Tuesday",
        "Tuesday lesson",
        block,
        "2026-05-05T18:30:00+02:00",
    )


def chosen(analysis: Analysis, facts: Manifest) -> SwingSet:
    everything = pool([(facts, analysis, None)])
    return select(everything, Selection(), facts.block)


@pytest.fixture
def page(analysis: Analysis) -> str:
    return render(compose_report(chosen(analysis, manifest()), manifest(), "0.1.0"))


def test_swings_left_out_are_told_by_recording_where_there_are_several(analysis: Analysis) -> None:
    key = SwingKey(analysis.recording_id, float(analysis.swings["impact_club_clock_us"].iloc[2]))
    without = Selection(left_out=(LeftOut(key, "the phone rang"),))

    def small_print(*others: str) -> str:
        parts = [(manifest(), analysis, None)]
        for name in others:
            part = replace(manifest(), name=name), replace(analysis, recording_id="beef"), None
            parts.append(part)
        left = select(pool(parts), without, "all")
        return " ".join(compose_report(left, manifest(), "0.1.0").small_print)

    said = f"swing {analysis.swings['swing'].iloc[2]}: the phone rang."
    assert f"Left out: {said}" in small_print()
    assert f"Left out: Tuesday, {said}" in small_print("Wednesday")
    assert f"Left out: Tuesday ({analysis.recording_id}), {said}" in small_print("Tuesday")


def test_a_spread_with_wild_swings_is_said_to_hang_on_them(analysis: Analysis, page: str) -> None:
    assert "far out" not in page
    swings = analysis.swings.copy()
    swings.loc[3, "release_ms"] += 200.0
    wild = replace(analysis, swings=swings)
    told = render(compose_report(chosen(wild, manifest()), manifest(), "0.1.0"))
    said = (
        "1 swing lies far out: the SD depends on how often such come, so its interval is too narrow"
    )
    assert told.count(said) == 2, "in the finding, and under the table"


class Outline(HTMLParser):
    """Elements seen, text, and whether every element is closed in order."""

    VOID = frozenset({"meta", "br", "img", "link", "hr", "input"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "title", "desc"):
            self.text.append(data)


def outline(page: str) -> Outline:
    seen = Outline()
    seen.feed(page)
    assert seen.open == []
    return seen


def test_it_is_one_file_that_asks_for_nothing(page: str) -> None:
    seen = outline(page)
    assert not {"script", "link", "img", "iframe", "object"} & set(seen.tags)
    assert not {name for name, _ in seen.attributes if name in ("src", "href", "srcset", "onload")}
    assert "url(" not in page
    assert "default-src 'none'" in page


def test_it_says_who_what_and_how_to_take_care(page: str) -> None:
    text = " ".join(outline(page).text)
    for words in (PLAYER, "7-iron", "5 May 2026, 18:30", "Next time", "pressure", *CAUTIONS):
        assert words in text
    for metric in headline_metrics():
        assert metric.label in text


def test_its_numbers_are_those_of_the_swings(analysis: Analysis, page: str) -> None:
    release = chosen(analysis, manifest()).swings["release_ms"].to_numpy(float)
    found = re.search(r"let go ([\d.]+)\s*ms before impact, give or take ([\d.]+)\s*ms", page)
    assert found
    assert math.isclose(float(found[1]), release.mean(), abs_tol=0.06)
    assert math.isclose(float(found[2]), release.std(ddof=1), abs_tol=0.06)


@pytest.mark.parametrize(
    "name",
    [
        "<script>alert(1)</script>",
        '"><img src=x onerror=alert(1)>',
        "&lt;b&gt; O'Example",
        "</title></style><svg onload=alert(1)>",
    ],
)
def test_names_are_text_and_never_markup(name: str, analysis: Analysis) -> None:
    facts = replace(manifest(name, name), name=name, session=name, club=Club(name, 0.94))
    page = render(compose_report(chosen(analysis, facts), facts, "0.1.0"))
    seen = outline(page)
    assert not {"script", "img"} & set(seen.tags)
    assert not [key for key, _ in seen.attributes if key.startswith("on")]
    assert name in " ".join(seen.text)


def test_two_sets_are_told_apart_with_verdicts(analysis: Analysis) -> None:
    first, second = manifest("practice"), manifest("pressure")
    other = replace(analysis, recording_id="f" * 16)
    practice, pressure = chosen(analysis, first), chosen(other, second)
    comparison = compare_sets(practice, pressure, curves=False)
    page = render(compose_report(pressure, second, "0.1.0", practice, comparison))
    text = " ".join(outline(page).text)
    assert "Pressure against practice" in text
    assert "practice (13)" in text and "pressure (13)" in text
    verdicts = {finding.verdict.word for finding in comparison.findings}
    assert all(word in text for word in verdicts)


def test_swings_of_several_recordings_are_kept_apart(analysis: Analysis) -> None:
    other = replace(analysis, recording_id="f" * 16, curves=analysis.curves.copy())
    other.curves["hinge_deg"] += 40.0
    parts = [(manifest(), analysis, None), (manifest("pressure"), other, None)]
    both = select(pool(parts), Selection(), "both")
    facts = set_manifest(both)
    assert (facts.player.name, facts.block) == (PLAYER, "")
    aligned = align_set(both.curves, both.swings, ["hinge_deg"])
    assert len(aligned.labels) == len(both) == 26
    first, second = np.nanmean(aligned.values["hinge_deg"].reshape(2, 13, -1), axis=(1, 2))
    assert second - first == pytest.approx(40.0, abs=0.01)
    assert "26 swings" in render(compose_report(both, facts, "0.1.0"))


def test_without_a_swing_that_counts_there_is_no_report(analysis: Analysis) -> None:
    empty = SwingSet("practice", analysis.swings.iloc[:0])
    with pytest.raises(SwingspreadError, match="nothing to report"):
        compose_report(empty, manifest(), "0.1.0")


def test_one_swing_or_unknown_numbers_still_make_a_report(analysis: Analysis) -> None:
    one = replace(analysis, swings=analysis.swings.iloc[:1].copy())
    page = render(compose_report(chosen(one, manifest()), manifest(), "0.1.0"))
    assert "nan" not in " ".join(outline(page).text).lower().split()
    assert "NaN" not in page
    text = " ".join(outline(page).text)
    assert f"Tempo {one.swings['tempo_ratio'].iloc[0]:.1f} " in text
    assert "down; too few swings to say how far it varies." in text
    assert "1 swing says little of a spread" in text
    assert "from recording 0123456789abcdef." in text
    blind = replace(analysis, swings=analysis.swings.copy())
    blind.swings["release_ms"] = np.nan
    page = render(compose_report(chosen(blind, manifest()), manifest(), "0.1.0"))
    assert "Release could not be read in any swing." in page


def test_next_time_asks_for_the_swings_that_statistics_ask_for() -> None:
    # Swings per set for 80 % power, two-sided 5 %, to see an SD ratio of 1.5: 50 (F test).
    advice = " ".join(next_time(40, ["practice"]))
    assert "About 50 swings in each block" in advice
    assert "pressure" in advice
    assert "practice" in " ".join(next_time(40, ["pressure"]))
    both = " ".join(next_time(40, ["warm-up", "practice", "pressure"]))
    assert "several blocks (practice, pressure)" in both and "record a block" not in both
    assert "4 swings say little" in " ".join(next_time(4, ["practice"]))


def opening(sizes: dict[float, float], tops: list[float]) -> AlignedCurves:
    """Three swings whose hinge spreads by these SDs at these times, s from impact."""
    grid = np.array(sorted(sizes))
    lines = np.outer([-1.0, 0.0, 1.0], [sizes[time] for time in grid]).astype(np.float32)
    events = {"club_top": np.array(tops)}
    return AlignedCurves("impact", grid, ("1", "2", "3"), {"hinge_deg": lines}, events)


def test_where_the_hinge_spreads_most_is_said_of_the_way_down() -> None:
    sizes = {-0.3: 9.0, -0.2: 2.0, -0.06: 5.0, 0.0: 3.0, 0.1: 8.0}
    tops = [-0.25, math.nan, -0.25]
    said = spread_caption(opening(sizes, tops))
    assert said.startswith(
        "On the way down the hinge varies most 60\u00a0ms before impact (SD 5.0°; at impact 3.0°)."
    )
    at_impact = spread_caption(opening(sizes | {0.0: 6.0}, tops))
    assert at_impact.startswith("On the way down the hinge varies most at impact (SD 6.0°).")
    few = opening(sizes, tops)
    few.values["hinge_deg"][0] = math.nan
    for unknown in (few, opening(sizes, [math.nan] * 3)):
        assert spread_caption(unknown) == "Too few swings to show where they spread."


def test_ticks_are_round_and_inside() -> None:
    for low, high in ((0.0, 1.0), (-1200.0, 250.0), (17.2, 17.9), (-0.004, 0.011), (5.0, 110.0)):
        ticks = round_ticks(low, high)
        assert 3 <= len(ticks) <= 12
        assert all(low - 1e-9 <= tick <= high + 1e-9 for tick in ticks)
        steps = np.diff(ticks)
        np.testing.assert_allclose(steps, steps[0], rtol=1e-6)


def test_lines_and_bands_break_where_nothing_is_known() -> None:
    panel = Panel(0, 0, 100, 100, (0, 10), (0, 1))
    ys = [0.1, 0.2, math.nan, 0.4, 0.5]
    assert line(panel, range(5), ys).count("M") == 2
    assert band(panel, range(5), np.zeros(5), ys).count("<polygon") == 2
    assert "nan" not in line(panel, range(5), ys) + band(panel, range(5), np.zeros(5), ys)


def test_a_machine_without_a_browser_says_what_to_do(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("imu.exports.pdf.find_browser", lambda: None)
    with pytest.raises(SwingspreadError, match="print it from there"):
        print_pdf(page, tmp_path / "report.pdf")
    with pytest.raises(SwingspreadError, match="could not print"):
        print_pdf(page, tmp_path / "report.pdf", browser=str(tmp_path / "no-such-browser"))


@pytest.mark.browser
@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_it_prints_on_two_pages(
    paper: str, points: tuple[int, int], analysis: Analysis, tmp_path: Path
) -> None:
    if find_browser() is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is not installed, and in CI nothing is skipped")
        pytest.skip("Chromium is not installed")
    content = compose_report(chosen(analysis, manifest()), manifest(), "0.1.0")
    page = write_report(content, tmp_path / "report.html").read_text(encoding="utf-8")
    sized = page.replace("@page { ", f"@page {{ size: {paper}; ")
    assert sized != page
    pdf = print_pdf(sized, tmp_path / "report.pdf").read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    (width, height) = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)[0]
    assert (round(float(width)), round(float(height))) == points

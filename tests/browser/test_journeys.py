"""The ways a coach goes: overlay to swing, practice against pressure, a page to take home, and
bringing in files good and bad."""

from __future__ import annotations

import io
import itertools
import json
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from page_checks import BOXES, highlighted, point_at_a_line, settled

from app.samples import shipped_samples
from imu.exports.plain_csv import write_plain_csv
from imu.recordings.store import read_recording

pytestmark = pytest.mark.browser


def ids_of(dashboard: Any) -> dict[str, str]:
    return {entry.block: entry.id for entry in dashboard.store.entries()}


def test_swings_are_chosen_in_the_table_and_opened(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}")
    page.wait_for_selector("#session-grid .ag-row")
    boxes = page.locator(BOXES)
    for place in (0, 2):
        boxes.nth(place).check()
    page.wait_for_selector("#session-chips .chip-2")
    highlighted(page, 2)
    page.wait_for_url(re.compile(r"pick=\d+,\d+"))
    first = page.locator("#session-chips .chip-1").inner_text()
    page.click("#session-chips .chip-1")
    page.wait_for_selector("#swing-moment")
    assert page.inner_text("h1") == first
    page.go_back()
    page.wait_for_selector("#session-chips .chip-2")


def test_the_largest_way_the_hinge_varies_is_told_and_drawn(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}")
    page.wait_for_selector("#session-modes .scatterlayer .trace")
    told = page.locator("#session-modes-words li")
    assert told.count() == 3 and told.first.inner_text().startswith("Mode 1, ")
    drawn = page.evaluate(
        """() => document.querySelector('#session-modes .js-plotly-plot')._fullData.map(
            line => [line.name, line.line.dash, Array.from(line.y)])"""
    )
    assert [dash for _, dash, _ in drawn] == ["dash", "solid", "dot"]
    one, mean, other = (line for _, _, line in drawn)
    assert [a + b for a, b in zip(one, other, strict=True)] == pytest.approx([2 * m for m in mean])


def test_too_few_swings_have_no_ways_to_vary(dashboard: Any, open_page: Callable[..., Any]) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}&kind=practice")
    page.wait_for_selector("#session-modes-words li:has-text('whole curves')")
    assert not page.is_visible("#session-modes-picture")


def test_a_highlighted_line_is_that_swings_own(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}&pick=2")
    page.wait_for_selector("#session-chips .chip-1")
    highlighted(page, 1)
    line = page.evaluate(
        """() => {
            const graph = document.querySelector('#session-figure .js-plotly-plot');
            const pick = graph._fullData.find(
                t => t.meta && t.meta.role === 'pick' && t.meta.panel === 1);
            return [Array.from(pick.x), Array.from(pick.y)];
        }"""
    )
    analysis = dashboard.store.analysis(practice)
    curves = analysis.curves[analysis.curves["swing"] == 2]
    at = int((curves["t_from_impact_s"] + 0.2).abs().argmin())
    truth = float(curves["hinge_deg"].iloc[at])
    near = min(range(len(line[0])), key=lambda place: abs(line[0][place] + 200.0))
    assert line[1][near] == pytest.approx(truth, abs=1.0)


def test_pointing_at_a_line_names_the_swing_and_pressing_chooses_it(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}")
    name = point_at_a_line(page)
    page.mouse.down()
    page.mouse.up()
    page.wait_for_selector(f"#session-chips .chip-1:has-text('{name}')")


def test_the_slider_moves_arm_and_club(dashboard: Any, open_page: Callable[..., Any]) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/swing?recording={practice}&swing=3")
    settled(page, "#swing-moment")
    before = page.evaluate("document.getElementById('swing-space').toDataURL()")
    page.locator(".event", has_text="Impact").click()
    assert page.inner_text("#swing-clock") == "0 ms"
    after = page.evaluate("document.getElementById('swing-space').toDataURL()")
    assert before != after
    took = page.evaluate(
        """() => {
            const slider = document.getElementById('swing-moment');
            const times = [];
            for (let step = 0; step < 40; step += 1) {
                slider.value = 25 * step;
                const begun = performance.now();
                slider.dispatchEvent(new Event('input'));
                times.push(performance.now() - begun);
            }
            return times.sort((a, b) => a - b)[20];
        }"""
    )
    assert took < 33.0
    page.click("#swing-play")
    page.wait_for_selector("#swing-play:has-text('Pause')")


def test_pressure_is_set_against_practice_with_a_verdict_a_measure(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(f"{dashboard.address}/compare")
    page.wait_for_selector(".finding")
    assert page.locator(".finding").count() == 12
    assert page.locator(".verdict").first.inner_text().split()[-1] in ("holds", "hold", "yet")
    assert "measures" in page.inner_text("#compare-words")


def test_a_swing_left_out_no_longer_counts(dashboard: Any, open_page: Callable[..., Any]) -> None:
    pressure = ids_of(dashboard)["pressure"]
    page = open_page(f"{dashboard.address}/swing?recording={pressure}&swing=2")
    page.wait_for_selector("#swing-left-out")
    page.fill("#swing-left-out", "mishit")
    page.keyboard.press("Tab")
    page.click("#swing-keep")
    page.wait_for_selector("#swing-kept:has-text('no longer counts')")
    page.goto(f"{dashboard.address}/session?recordings={pressure}")
    page.wait_for_selector("#session-sentence:has-text('1 more is left out')")
    dashboard.store.note_swing(pressure, 2, left_out="")


def test_files_are_saved_whole(dashboard: Any, open_page: Callable[..., Any]) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/report?recordings={practice}")
    page.wait_for_selector("iframe.preview")
    swings = dashboard.store.analysis(practice).swings

    def saved(words: str) -> bytes:
        with page.expect_download() as coming:
            page.locator("#content a", has_text=words).click()
        return Path(coming.value.path()).read_bytes()

    table = pd.read_csv(io.BytesIO(saved("Swings, CSV")))
    assert table["release_ms"].to_numpy() == pytest.approx(
        swings["release_ms"].to_numpy(float), nan_ok=True
    )
    assert len(pd.read_parquet(io.BytesIO(saved("Curves, Parquet")))) > 1000
    assert len(pd.read_excel(io.BytesIO(saved("Spreadsheet")), sheet_name=None)) >= 2
    names = zipfile.ZipFile(io.BytesIO(saved("Motion-BIDS"))).namelist()
    assert any(name.endswith(("_motion.tsv", "_motion.tsv.gz")) for name in names)
    page_text = saved("Save the page").decode()
    assert "<html" in page_text and "http://" not in page_text.replace("http://www.w3.org", "")


def test_good_files_dropped_are_brought_in_and_bad_ones_refused_in_place(
    dashboard: Any, open_page: Callable[..., Any], tmp_path: Path
) -> None:
    samples = shipped_samples()
    assert samples is not None
    recording = read_recording(samples / "kim-7-iron-pressure")
    good = write_plain_csv(recording, tmp_path / "good")
    page = open_page(f"{dashboard.address}/")
    page.wait_for_selector("#start-drop input", state="attached")

    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "forearm.csv").write_text("a,b\n1,2\n")
    (bad / "club.csv").write_text("a,b\n1,2\n")
    (bad / "meta.json").write_text(json.dumps({"format": 1, "handedness": "right"}))
    page.set_input_files("#start-drop input", [str(path) for path in sorted(bad.iterdir())])
    page.wait_for_selector("#start-files li")
    page.click("#start-import")
    page.wait_for_selector("#start-result .bad")
    assert "meta.json" in page.inner_text("#start-result")

    page.set_input_files("#start-drop input", [str(tmp_path / "bad" / "club.csv")])
    page.wait_for_selector("#start-files .bad:has-text('forearm')")

    page.set_input_files("#start-drop input", [str(path) for path in good])
    page.wait_for_selector("#start-files li")
    page.fill("#start-name", "dropped")
    page.click("#start-import")
    page.wait_for_selector("#start-result .good a")
    page.wait_for_selector("#start-shelves h3:has-text('Kim')")
    entries = dashboard.store.entries()
    (brought,) = [entry for entry in entries if entry.name == "dropped"]
    library = dashboard.store.shelf.library
    library.delete(library.find(brought.id))


def test_a_thousand_swings_redraw_within_a_quarter_second(
    thousand: Any, open_page: Callable[..., Any]
) -> None:
    """Limit from the project's own requirements: 250 ms to redraw 1,000 swings in Chromium."""
    page = open_page(f"{thousand.address}/session")
    settled(page, "#session-figure .scatterlayer .trace")
    times = page.evaluate(
        """async () => {
            const graph = document.querySelector('#session-figure .js-plotly-plot');
            const picks = graph.data.map((t, i) => [t, i])
                .filter(([t]) => t.meta && t.meta.role === 'pick' && t.meta.slot === 0)
                .map(([, i]) => i);
            const frame = () => new Promise(done =>
                requestAnimationFrame(() => setTimeout(done, 0)));
            const swings = graph.data.find(t => t.meta && t.meta.role === 'median');
            const taken = [];
            for (let round = 0; round < 7; round += 1) {
                const begun = performance.now();
                await Plotly.restyle(graph, {x: picks.map(() => [-900 + round, 0]),
                                             y: picks.map(() => [20, 90])}, picks);
                await frame();
                taken.push(performance.now() - begun);
            }
            return taken;
        }"""
    )
    assert min(times) < 250.0


def test_ticked_swings_are_left_out_with_a_reason_and_counted_again(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/session?recordings={practice}")
    page.wait_for_selector("#session-grid .ag-row")
    assert not page.is_visible("#session-leave-out")
    boxes = page.locator(BOXES)
    for place in (0, 2, 3):
        boxes.nth(place).check()
    page.wait_for_selector("#session-ticked:has-text('Leave these 3 out')")
    page.click("#session-leave-out")
    page.wait_for_selector("#session-told .bad:has-text('why')")
    page.fill("#session-reason", "interrupted")
    page.keyboard.press("Tab")
    page.click("#session-leave-out")
    page.wait_for_selector("#session-sentence:has-text('3 more are left out')")
    page.click("#session-count")
    page.wait_for_selector("#session-told:has-text('count again')")
    page.wait_for_selector("#session-sentence:not(:has-text('left out'))")


def test_a_set_is_kept_opened_compared_and_forgotten(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    ids = ids_of(dashboard)
    page = open_page(f"{dashboard.address}/session?recordings={ids['practice']}")
    page.wait_for_selector("#session-grid .ag-row")
    boxes = page.locator(BOXES)
    for place in range(8):
        boxes.nth(place).check()
    page.click(".sets-box summary")
    page.fill("#session-set-name", "first, eight")
    page.keyboard.press("Tab")
    page.click("#session-keep-set")
    page.wait_for_selector("#session-sets a")
    page.click("#session-sets a")
    page.wait_for_selector("h1:has-text('first, eight')")
    page.wait_for_selector("#session-sentence:has-text('8 swings')")
    page.goto(f"{dashboard.address}/compare?a=set:first~1 eight&b={ids['pressure']}")
    page.wait_for_selector("#compare-key:has-text('first, eight, 8 swings')")
    page.goto(f"{dashboard.address}/session?recordings={ids['practice']}")
    page.wait_for_selector("#session-grid .ag-row")
    page.click(".sets-box summary")
    page.click("#session-sets button")
    page.wait_for_selector("#session-sets:has-text('None kept yet')")


def test_a_link_to_the_same_page_shows_the_other_swing(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    practice = ids_of(dashboard)["practice"]
    page = open_page(f"{dashboard.address}/swing?recording={practice}&swing=3")
    page.wait_for_selector("h1:has-text('Swing 3')")
    page.wait_for_selector("#swing-moment")
    page.click("text=Previous")
    page.wait_for_selector("h1:has-text('Swing 2')")
    page.go_back()
    page.wait_for_selector("h1:has-text('Swing 3')")


@pytest.mark.parametrize(
    ("path", "figures"),
    [
        ("/session", ["session-figure"]),
        ("/swing", ["swing-figure"]),
        ("/compare", ["compare-figure", "compare-swings"]),
        ("/progress", ["progress-figure"]),
    ],
)
def test_a_figure_is_saved_as_svg_and_png(
    path: str, figures: list[str], dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(dashboard.address + path)
    settled(page)
    starts = {"svg": b"<svg", "png": b"\x89PNG"}
    for figure, (kind, start) in itertools.product(figures, starts.items()):
        page.wait_for_selector(f"#{figure} .scatterlayer .trace")
        with page.expect_download() as coming:
            page.click(f"[data-picture={figure}][data-format={kind}]")
        assert coming.value.suggested_filename.endswith(f".{kind}")
        assert Path(coming.value.path()).read_bytes().startswith(start)


def test_a_plan_is_kept_ticked_and_compared_by(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(f"{dashboard.address}/plan")
    page.wait_for_selector(".block")
    page.fill("#plan-name", "april test")
    page.click("#plan-keep")
    page.wait_for_url(re.compile("plan=april"))
    page.wait_for_selector(".plan-name:has-text('april test')")
    page.wait_for_selector(".block")
    page.locator(".block input").first.check()
    page.reload()
    page.wait_for_selector(".block")
    assert page.locator(".block input").first.is_checked()
    page.click("text=Compare by this plan")
    page.wait_for_selector("text=By the plan april test. Limits: spread up to")
    page.wait_for_selector(".finding")
    page.wait_for_selector(".where-from li:has-text('hinge varies most')")
    assert page.is_disabled("#compare-limit")


def test_a_recording_is_renamed_then_deleted_after_saying_what_goes(
    dashboard: Any, open_page: Callable[..., Any]
) -> None:
    samples = shipped_samples()
    assert samples is not None
    library = dashboard.store.shelf.library
    shutil.copytree(
        samples / "kim-7-iron-pressure",
        library.path / "copy",
        ignore=shutil.ignore_patterns("derived"),
    )
    page = open_page(f"{dashboard.address}/")
    page.click(".tend summary")
    page.click("#tend-which")
    page.keyboard.type("kim")
    page.click("[role=option]:has-text('Kim')")
    page.wait_for_function("() => document.getElementById('tend-block').value === 'pressure'")
    page.fill("#tend-block", "after-drill")
    page.keyboard.press("Tab")
    page.click("#tend-keep")
    page.wait_for_selector("#start-shelves a:has-text('after-drill')")
    page.click("#tend-one")
    page.wait_for_selector("#tend-traces li:has-text('after-drill')")
    page.click("#tend-leave")
    page.wait_for_selector("#tend-told:has-text('Nothing was deleted')")
    page.click("#tend-one")
    page.click("#tend-delete")
    page.wait_for_selector("#tend-told:has-text('Deleted')")
    page.wait_for_selector("#start-shelves:not(:has-text('Kim'))")
    assert not (library.path / "copy").exists()

"""Settings, comparison, plan, table, labels, and all of a player, worked by the keyboard alone: the
focus always seen (WCAG 2.2, 2.1.1 and 2.4.7), and no barrier known to axe-core where it leads.
"""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from app.preferences import Preferences, read_preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.recordings.saved_sets import read_saved_sets

pytestmark = pytest.mark.browser

AXE = (Path(__file__).parent / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
THEMES = pytest.mark.parametrize("theme", ["light", "dark"])
LIGHT = pytest.mark.parametrize("theme", ["light"])
"""For long walks; the pages they walk through are looked at in the dark elsewhere."""

SEEN = """async () => {
    const at = document.activeElement;
    const pause = () => new Promise(done => setTimeout(done, 250));
    const shown = one => {
        const look = getComputedStyle(one);
        const outline = look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) > 0;
        return outline || look.boxShadow !== 'none';
    };
    const label = at.id && document.querySelector(`label[for="${at.id}"]`);
    const field = at.closest('.mantine-Input-input, .mantine-MultiSelect-input') || at;
    if ([at, label, at.parentElement, field].some(one => one && shown(one))) { return true; }
    await pause();
    const focused = getComputedStyle(field).borderColor;
    at.blur();
    await pause();
    const left = getComputedStyle(field).borderColor;
    at.focus();
    return focused !== left;
}"""
"""Whether the focus is drawn: an outline, a shadow, or a border that changes."""


CHOSEN_IN_SIGHT = """() => {
    const option = document.querySelector('[data-combobox-selected]');
    const list = option.closest('.mantine-ScrollArea-viewport') || option.closest('[role=listbox]');
    const [inner, outer] = [option.getBoundingClientRect(), list.getBoundingClientRect()];
    return inner.top >= outer.top - 1 && inner.bottom <= outer.bottom + 1;
}"""
"""Whether the option that Enter would take can be seen in its list."""


@pytest.fixture
def own(
    dashboard: Any, serve_store: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Any:
    """A server over a copy of the analysed library, with settings and journals of its own."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    folder = tmp_path / "library"
    shutil.copytree(dashboard.store.shelf.library.path, folder)
    return serve_store(Store(LibraryShelf(Library(folder)), Preferences()))


class Keys:
    """A person without a mouse."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def reach(self, selector: str, most: int = 160) -> None:
        """Go on with Tab until there; the focus must be seen on arrival."""
        for _ in range(most):
            self.page.keyboard.press("Tab")
            if self.at(selector):
                self.page.wait_for_timeout(80)
                assert self.page.evaluate(SEEN), f"{selector}: the focus is not seen"
                return
        raise AssertionError(f"{selector} cannot be reached with Tab")

    def at(self, selector: str) -> bool:
        """Whether the focus is there."""
        code = "one => document.activeElement && document.activeElement.matches(one)"
        return bool(self.page.evaluate(code, selector))

    def press(self, *names: str) -> None:
        """One key after another, as a hand would."""
        for name in names:
            self.page.keyboard.press(name)
            self.page.wait_for_timeout(60)

    def write(self, text: str) -> None:
        """In place of what stands in the field."""
        self.press("Control+a")
        self.page.keyboard.type(text, delay=10)
        self.page.wait_for_timeout(400)


def no_barrier(page: Any, but: str = "") -> None:
    """What axe-core says of the page as it is now; ``but``: a rule that does not hold there."""
    page.wait_for_timeout(300)
    page.evaluate(AXE)
    found = page.evaluate("rules => axe.run(document, {runOnly: rules, iframes: false})", RULES)
    barriers = [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        if one["id"] != but
        for node in one["nodes"][:3]
    ]
    assert barriers == []


@THEMES
def test_settings(theme: str, own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/settings", theme=theme)
    page.wait_for_selector("text=How things are measured")
    keys = Keys(page)
    keys.reach("#settings-speed input")
    keys.press("ArrowRight")
    keys.reach("#settings-words input")
    keys.press("ArrowRight")
    keys.reach("#settings-release")
    keys.press("ArrowUp", "ArrowUp")
    keys.reach("#settings-line")
    keys.write("3.5")
    keys.reach("#settings-keep")
    keys.press("Enter")
    page.wait_for_function("() => document.getElementById('settings-kept').textContent.length > 3")
    assert read_preferences() == Preferences("mph", "side", 12.0, 3.5)
    no_barrier(page)


@THEMES
def test_compare(theme: str, own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/compare", theme=theme)
    page.wait_for_selector(".finding")
    keys = Keys(page)
    keys.reach("#compare-limit")
    keys.press("ArrowUp")
    page.wait_for_url(re.compile(r"limit=1\.75"))
    keys.reach("#compare-curve input")
    keys.press("ArrowRight")
    page.wait_for_url(re.compile("curve=club_rate_deg_s"))
    keys.reach("#compare-align input")
    keys.press("ArrowRight")
    page.wait_for_url(re.compile("align="))
    keys.reach("#compare-metric")
    keys.press("ArrowDown", "ArrowDown")
    page.wait_for_selector("[role=listbox]:visible")
    # The list is scrolled by the arrows, which its field takes, not by a focus of its own.
    no_barrier(page, but="scrollable-region-focusable")
    keys.press(*["ArrowDown"] * 7)
    page.wait_for_timeout(300)
    assert page.evaluate(CHOSEN_IN_SIGHT)
    keys.press("Enter")
    page.wait_for_url(re.compile("metric="))
    keys.press("Shift+Tab")
    page.goto(own.address + "/compare")
    page.wait_for_selector(".finding")
    keys.reach("#compare-b")
    keys.press("Backspace")
    keys.page.keyboard.type("practice", delay=10)
    keys.press("ArrowDown", "Enter")
    page.wait_for_url(re.compile("b="))
    keys.press("Escape", "Tab")
    no_barrier(page)


@THEMES
def test_plan(theme: str, own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/plan", theme=theme)
    page.wait_for_selector(".block")
    keys = Keys(page)
    keys.reach("#plan-see input")
    keys.press("ArrowRight")
    page.wait_for_url(re.compile("see="))
    keys.press("ArrowLeft")
    keys.reach("#plan-ratio")
    keys.press("ArrowUp")
    page.wait_for_url(re.compile(r"ratio=1\.75"))
    keys.reach("#plan-label-a")
    keys.write("quiet")
    keys.reach("#plan-name")
    keys.write("by keys")
    keys.reach("#plan-keep")
    keys.press("Enter")
    page.wait_for_url(re.compile("plan=by"))
    page.wait_for_selector(".block")
    keys.reach(".block input[type=checkbox]")
    keys.press("Space")
    assert page.locator(".block input").first.is_checked()
    assert "by keys" in read_saved_sets(own.store.shelf.library.path).plans
    no_barrier(page)


@LIGHT
def test_the_table_of_swings_and_the_sets(
    theme: str, own: Any, open_page: Callable[..., Any]
) -> None:
    page = open_page(own.address + "/session", theme=theme)
    page.wait_for_selector("#session-grid .ag-row")
    page.wait_for_load_state("networkidle")
    keys = Keys(page)
    keys.reach("#session-grid [role=columnheader], #session-grid [role=gridcell]")
    if keys.at("[role=columnheader]"):
        keys.press("ArrowRight", "ArrowRight", "Enter")
        page.wait_for_selector("#session-grid [aria-sort=ascending]")
        keys.press("ArrowDown")
    keys.press("Space", "ArrowDown", "Space")
    page.wait_for_selector("#session-chips .chip-2")
    page.wait_for_url(re.compile(r"pick=\d+,\d+"))
    keys.reach("#session-reason")
    keys.write("interrupted")
    keys.press("Escape")
    keys.reach("#session-leave-out")
    keys.press("Enter")
    page.wait_for_selector("#session-sentence:has-text('2 more are left out')")
    keys.reach("#session-count")
    keys.press("Enter")
    page.wait_for_selector("#session-sentence:not(:has-text('left out'))")
    keys.reach(".sets-box summary")
    keys.press("Enter")
    keys.reach("#session-set-name")
    keys.write("two by keys")
    keys.reach("#session-keep-set")
    keys.press("Enter")
    page.wait_for_selector("#session-sets a")
    no_barrier(page)
    keys.reach("#session-sets a")
    keys.press("Enter")
    page.wait_for_selector("h1:has-text('two by keys')")
    page.wait_for_selector("#session-sentence:has-text('2 swings')")


def choose_recording(keys: Keys, words: str) -> None:
    """Open the box for tending the library and choose a recording in it."""
    keys.reach(".tend summary")
    keys.press("Enter")
    keys.reach("#tend-which")
    keys.page.keyboard.type(words, delay=10)
    keys.page.wait_for_selector("[role=option]:visible")
    keys.press("ArrowDown", "Enter")
    keys.page.wait_for_function("() => document.getElementById('tend-who').value !== ''")


@LIGHT
def test_labels_and_all_of_a_player(theme: str, own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/", theme=theme)
    page.wait_for_selector("text=Bring in a recording")
    library = own.store.shelf.library
    player = library.entries()[0].manifest.player.name
    keys = Keys(page)
    choose_recording(keys, "practice")
    keys.reach("#tend-block")
    keys.write("after-drill")
    keys.reach("#tend-keep")
    keys.press("Enter")
    page.wait_for_selector("#tend-told:has-text('Renamed in 1 recording')")
    assert sorted(entry.manifest.block for entry in library.entries()) == [
        "after-drill",
        "pressure",
    ]
    page.locator("body").press("Home")
    keys.reach("#tend-who")
    keys.write(f"{player} the Second")
    keys.reach("#tend-everywhere")
    keys.press("Enter")
    page.wait_for_selector("#tend-told:has-text('Renamed in 2 recordings')")
    page.wait_for_selector(f"#start-shelves h3:has-text('{player} the Second')")
    no_barrier(page)
    keys.reach("#tend-save")
    with page.expect_download() as coming:
        keys.press("Enter")
    assert coming.value.suggested_filename.endswith("the-second.zip")
    names = zipfile.ZipFile(coming.value.path()).namelist()
    for ending in ("recording/recording.json", "swings.csv", "swings.xlsx", "_motion.tsv.gz"):
        assert sum(name.endswith(ending) for name in names) >= 2 or ending == "_motion.tsv.gz"
    keys.reach("#tend-player")
    keys.press("Enter")
    page.wait_for_selector("#tend-traces li >> nth=1")
    no_barrier(page)
    keys.reach("#tend-leave")
    keys.press("Enter")
    page.wait_for_selector("#tend-told:has-text('Nothing was deleted')")
    assert len(library.entries()) == 2
    keys.reach("#tend-player")
    keys.press("Enter")
    page.wait_for_selector("#tend-traces li >> nth=1")
    keys.reach("#tend-delete")
    keys.press("Enter")
    page.wait_for_selector("#tend-told:has-text('Deleted')")
    assert library.entries() == []
    no_barrier(page)


def test_a_shot_noted_by_hand_shows_where_associations_are_promised(
    own: Any, open_page: Callable[..., Any]
) -> None:
    """The later half of releases noted bad: the two go together, and the pages say so."""
    (entry,) = [entry for entry in own.store.entries() if entry.block == "practice"]
    swings = own.store.analysis(entry.id).swings
    swings = swings[swings["kind"] == "ball"].sort_values("release_ms", ascending=False)
    numbers = [int(number) for number in swings["swing"]]
    page = open_page(f"{own.address}/compare")
    page.wait_for_selector(".where-from >> text=Shot results: 0 noted")
    for number, words, direction in ((numbers[0], "Good", "Left"), (numbers[-1], "Bad", "Right")):
        page.goto(f"{own.address}/swing?recording={entry.id}&swing={number}")
        page.wait_for_selector("#swing-outcome")
        keys = Keys(page)
        keys.reach("#swing-direction input")
        while not page.is_checked(
            f"#swing-direction label:has-text('{direction}') >> xpath=..//input"
        ):
            keys.press("ArrowRight")
        keys.reach("#swing-outcome input")
        keys.press(*["ArrowRight"] * (1 if words == "Good" else 2))
        keys.reach("#swing-keep")
        keys.press("Enter")
        page.wait_for_selector("#swing-kept:has-text('This swing counts')")
        page.reload()
        page.wait_for_selector("#swing-outcome")
    noted = {note.outcome: note.direction for note in own.store.shelf.notes(entry.id).swings}
    assert noted == {"good": "left", "bad": "right"}
    page.goto(f"{own.address}/compare")
    page.wait_for_selector(".where-from >> text=Shot results: 2 noted")
    for place, number in enumerate(numbers[1:-1], start=1):
        outcome = "good" if place < len(numbers) // 2 else "bad"
        own.store.note_swing(entry.id, number, outcome=outcome)
    page.reload()
    page.wait_for_selector(".where-from li:has-text('bad')")
    said = page.inner_text(".where-from")
    assert re.search(r"[Rr]elease[^.]*bad|bad[^.]*[Rr]elease", said), said
    no_barrier(page)

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
from page_checks import OTHER_THEME, no_barrier, settled

from app.preferences import Preferences, read_preferences
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.recordings.saved_sets import read_saved_sets

pytestmark = pytest.mark.browser

SEEN = """async () => {
    const at = document.activeElement;
    const shown = one => {
        const look = getComputedStyle(one);
        const outline = look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) > 0;
        return outline || look.boxShadow !== 'none';
    };
    const label = at.id && document.querySelector(`label[for="${at.id}"]`);
    const field = at.closest('.mantine-Input-input, .mantine-MultiSelect-input') || at;
    const drawn = () => {
        if ([at, label, at.parentElement, field].some(one => one && shown(one))) { return true; }
        const focused = getComputedStyle(field).borderColor;
        at.blur();
        const left = getComputedStyle(field).borderColor;
        at.focus();
        return focused !== left;
    };
    const until = performance.now() + 5000;
    while (!drawn()) {
        if (performance.now() > until) { return false; }
        await new Promise(requestAnimationFrame);
    }
    return true;
}"""
"""Whether the focus is drawn: an outline, a shadow, or a border that changes."""

NEXT_FRAME = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"

CHOSEN_IN_SIGHT = """() => {
    const option = document.querySelector('[data-combobox-selected]');
    if (!option) { return false; }
    const list = option.closest('.mantine-ScrollArea-viewport') || option.closest('[role=listbox]');
    const [inner, outer] = [option.getBoundingClientRect(), list.getBoundingClientRect()];
    return inner.top >= outer.top - 1 && inner.bottom <= outer.bottom + 1;
}"""
"""Whether the option that Enter would take can be seen in its list."""


@pytest.fixture
def own(
    dashboard: Any, serve: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Any:
    """A server over a copy of the analysed library, with settings and journals of its own."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    folder = tmp_path / "library"
    shutil.copytree(dashboard.store.shelf.library.path, folder)
    return serve(Store(LibraryShelf(Library(folder)), Preferences()))


class Keys:
    """A person without a mouse."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def reach(self, selector: str, most: int = 160, key: str = "Tab") -> None:
        """Go on with Tab until there; the focus must be seen on arrival, in either theme."""
        for _ in range(most):
            self.page.keyboard.press(key)
            if self.at(selector):
                for _ in range(2):
                    self.page.evaluate(OTHER_THEME)
                    assert self.page.evaluate(SEEN), f"{selector}: the focus is not seen"
                return
        raise AssertionError(f"{selector} cannot be reached with {key}")

    def at(self, selector: str) -> bool:
        """Whether the focus is there."""
        code = "one => document.activeElement && document.activeElement.matches(one)"
        return bool(self.page.evaluate(code, selector))

    def press(self, *names: str) -> None:
        """One key after another, each once the page has drawn what the last one did."""
        for name in names:
            self.page.keyboard.press(name)
            self.page.evaluate(NEXT_FRAME)

    def write(self, text: str) -> None:
        """In place of what stands in the field."""
        self.press("Control+a")
        self.page.keyboard.type(text)
        self.page.evaluate(NEXT_FRAME)


def test_settings(own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/settings")
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
    settled(page)
    keys.reach("#settings-keep")
    keys.press("Enter")
    settled(page)
    assert page.inner_text("#settings-kept") == "Kept."
    assert read_preferences() == Preferences("mph", "side", 12.0, 3.5)
    no_barrier(page)


def test_compare(own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/compare")
    page.wait_for_selector(".where-from >> text=Shot results: 0 noted")
    settled(page, ".finding")
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
    page.wait_for_function(CHOSEN_IN_SIGHT)
    keys.press("Enter")
    page.wait_for_url(re.compile("metric="))
    keys.reach("#compare-b", key="Shift+Tab")
    keys.press("Backspace", "ArrowDown", "ArrowDown")
    page.wait_for_selector("[data-combobox-selected]:visible:has-text('practice')")
    keys.press("Enter")
    page.wait_for_selector("#compare-words [role=alert]:has-text('on both sides')")
    keys.press("Escape", "Tab")
    no_barrier(page)


def test_plan(own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/plan")
    settled(page, ".block")
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
    page.wait_for_selector(".block:has-text('quiet')")
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


def test_the_table_of_swings_and_the_sets(own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/session")
    settled(page, "#session-grid .ag-row")
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
    keys.page.keyboard.type(words)
    keys.page.wait_for_selector("[role=option]:visible")
    keys.press("ArrowDown", "Enter")
    keys.page.wait_for_function("() => document.getElementById('tend-who').value !== ''")


def test_labels_and_all_of_a_player(own: Any, open_page: Callable[..., Any]) -> None:
    page = open_page(own.address + "/")
    settled(page, "text=Bring in a recording")
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
    keys.reach("#tend-who", key="Shift+Tab")
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
    keys.reach("#tend-player", key="Shift+Tab")
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
    page = open_page("about:blank")
    for number, presses, direction in ((numbers[0], 1, "Left"), (numbers[-1], 2, "Right")):
        page.goto(f"{own.address}/swing?recording={entry.id}&swing={number}")
        settled(page, "#swing-outcome")
        keys = Keys(page)
        keys.reach("#swing-direction input")
        while not page.is_checked(
            f"#swing-direction label:has-text('{direction}') >> xpath=..//input"
        ):
            keys.press("ArrowRight")
        keys.reach("#swing-outcome input")
        keys.press(*["ArrowRight"] * presses)
        keys.reach("#swing-keep")
        keys.press("Enter")
        page.wait_for_selector("#swing-kept:has-text('This swing counts')")
    noted = {note.outcome: note.direction for note in own.store.shelf.notes(entry.id).swings}
    assert noted == {"good": "left", "bad": "right"}
    page.reload()
    page.wait_for_selector("#swing-outcome")
    for control, words in (("direction", "Right"), ("outcome", "Bad")):
        label = page.locator(f"#swing-{control} label", has_text=words)
        assert label.locator("xpath=..//input").is_checked()
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

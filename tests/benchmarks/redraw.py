"""How long the Session page takes to draw again: at the server, and in Chromium from the click.

    python tests/benchmarks/redraw.py RECORDING-FOLDER

*Lined up anew*: the swings are lined up at another event, so that every line is drawn again; at
the server CPU seconds from tables to figure, in the browser seconds from the click to the end of
drawing. *Highlighted*: one swing is ticked, which the browser does alone. Least of several. The
recording is analysed first if need be.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]

ALIGNMENTS = "#session-align .mantine-SegmentedControl-label"
BOXES = "#session-grid .ag-pinned-left-cols-container .ag-checkbox-input"
CLICK_TO_DRAWN = """([selector, nth]) => new Promise((resolve) => {
    const graph = document.querySelector('#session-figure .js-plotly-plot');
    const begun = performance.now();
    graph.once('plotly_afterplot', () => requestAnimationFrame(
        () => resolve((performance.now() - begun) / 1000)));
    document.querySelectorAll(selector)[nth].click();
})"""


def analysed_store(recording: Path) -> tuple[Any, str]:
    """A store over the folder that holds the recording, and the recording's id."""
    from app.preferences import Preferences
    from app.shelf import LibraryShelf
    from app.store import Store
    from imu.recordings.library import Library
    from imu.recordings.store import read_document

    store = Store(LibraryShelf(Library(recording.parent)), Preferences())
    identity = str(read_document(recording)["id"])
    if store.analysis(identity) is None:
        store.shelf.analyse(identity, store.settings, lambda part, words: None)
    assert store.analysis(identity) is not None, f"{recording}: could not be analysed"
    return store, identity


def at_the_server(store: Any, identity: str, repeats: int = 5) -> float:
    """CPU seconds from the kept tables to the figure as it is sent."""
    from app.pages.session import curves_of
    from imu.figures.alignment import align_curves
    from imu.figures.overlay import OverlayChoices, overlay_figure

    spent = []
    for _ in range(repeats):
        begun = time.process_time()
        shown = store.swing_set([identity]).counted()
        aligned = align_curves(shown.parts, curves_of(shown), "top")
        overlay_figure(aligned, OverlayChoices()).to_json()
        spent.append(time.process_time() - begun)
    return min(spent)


def in_chromium(store: Any, identity: str, repeats: int = 3) -> tuple[float, float] | None:
    """Seconds from the click to the end of drawing: lined up anew, highlighted; None without
    Chromium."""
    from playwright.sync_api import sync_playwright

    sys.path.insert(0, str(ROOT / "tests" / "helpers"))
    from served_dashboard import ARGUMENTS, Dashboard, Front, chromium

    program = chromium()
    if program is None:
        return None
    front = Front()
    address = Dashboard(store, front).address
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program, args=ARGUMENTS)
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(f"{address}/session?recordings={identity}&kind=every")
            page.wait_for_selector("#session-figure .scatterlayer .trace")
            page.wait_for_selector(BOXES)
            page.wait_for_timeout(1500)
            anew, highlighted = [], []
            for nth in range(repeats):
                for place in (1, 0):
                    anew.append(page.evaluate(CLICK_TO_DRAWN, [ALIGNMENTS, place]))
                    page.wait_for_timeout(500)
                highlighted.append(page.evaluate(CLICK_TO_DRAWN, [BOXES, nth]))
                page.wait_for_timeout(500)
            browser.close()
    finally:
        front.close()
    return min(anew), min(highlighted)


def main() -> None:
    """Command line."""
    store, identity = analysed_store(Path(sys.argv[1]).resolve())
    print(f"lined up anew, at the server: {at_the_server(store, identity):.3f} s CPU")
    found = in_chromium(store, identity)
    if found is None:
        print("no Chromium here")
    else:
        print(f"click to drawn: lined up anew {found[0]:.3f} s, highlighted {found[1]:.3f} s")


if __name__ == "__main__":
    main()

"""What tests in a browser look for on every page: that it has come, and that nothing bars it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PAGES = {
    "/": "text=Bring in a recording",
    "/plan": ".block",
    "/record": "h1",
    "/session": "#session-figure .scatterlayer .trace",
    "/swing": "#swing-moment",
    "/compare": ".finding",
    "/progress": "#progress-table table",
    "/report": "iframe.preview",
    "/settings": "text=How things are measured",
}
"""Every page, and what shows that its subject has come."""

COUNT_WHAT_IS_ASKED = """(() => {
    const ask = window.fetch;
    window.asking = 0;
    window.fetch = (...words) => {
        window.asking += 1;
        const answer = ask(...words);
        const ended = () => { window.asking -= 1; };
        answer.then(ended, ended);
        return answer;
    };
})()"""
"""For ``SETTLED``: run in a page before its own code."""

SETTLED = """() => {
    const drawn = one => one.querySelector('.js-plotly-plot .main-svg');
    const busy = window.asking > 0 || document.querySelector('[data-dash-is-loading=true]')
        || ![...document.querySelectorAll('.dash-graph')].every(drawn);
    if (busy || window.calmSince === undefined) { window.calmSince = performance.now(); }
    return !busy && performance.now() - window.calmSince > 150;
}"""
"""Whether every figure is drawn and the page has asked for nothing for a while."""

AXE = (Path(__file__).parents[1] / "browser" / "axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOK_FOR_BARRIERS = """rules => axe.run(document,
    {runOnly: rules, iframes: false, resultTypes: ['violations']})"""

OTHER_THEME = """() => {
    const root = document.documentElement, name = 'data-mantine-color-scheme';
    const other = root.getAttribute(name) === 'dark' ? 'light' : 'dark';
    root.setAttribute(name, other);
    document.body.setAttribute('data-ag-theme-mode', other);
}"""
"""Shows the page as it stands in the other theme, figures apart."""

HIGHLIGHTED = """() => (document.querySelector('#session-figure .js-plotly-plot')?.data ?? [])
    .filter(t => t.meta && t.meta.role === 'pick' && t.x && t.x.length).map(t => t.meta.panel)"""
"""The panels of the session's overlay in which a swing is highlighted, once for each."""

BOXES = "#session-grid .ag-pinned-left-cols-container .ag-checkbox-input"
"""The boxes to tick in the table of swings."""

ON_A_LINE = """() => {
    const graph = document.querySelector('#session-figure .js-plotly-plot');
    graph.scrollIntoView({block: 'center'});
    const layout = graph._fullLayout;
    const swings = graph._fullData.find(t => t.meta && t.meta.role === 'swings');
    const box = graph.getBoundingClientRect();
    const at = Math.floor(0.6 * swings.meta.points);
    return [box.left + layout.xaxis._offset + layout.xaxis.d2p(swings.x[at]),
            box.top + layout.yaxis._offset + layout.yaxis.d2p(swings.y[at])];
}"""


def settled(page: Any, mark: str = "h1") -> None:
    """Wait for the page's subject, and until it asks for nothing more."""
    page.wait_for_selector(mark)
    page.wait_for_function(SETTLED)


def barriers(page: Any, but: str = "") -> list[str]:
    """What axe-core says of the page as it is now; ``but``: a rule that does not hold there."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    found = page.evaluate(LOOK_FOR_BARRIERS, RULES)
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        if one["id"] != but
        for node in one["nodes"][:3]
    ]


def no_barrier(page: Any, but: str = "") -> None:
    """Once it is settled, none in either theme; ``but``: a rule that does not hold there."""
    settled(page)
    for _ in range(2):
        page.evaluate(OTHER_THEME)
        assert barriers(page, but) == []


def highlighted(page: Any, swings: int, panels: int = 3) -> None:
    """Wait until the overlay shows so many swings highlighted, each in every panel."""
    wanted = sorted(swings * list(range(1, panels + 1)))
    page.wait_for_function(
        f"wanted => JSON.stringify(({HIGHLIGHTED})().sort()) === JSON.stringify(wanted)",
        arg=wanted,
    )


def point_at_a_line(page: Any) -> str:
    """Point at the first swing's line in the overlay until it is named; the name."""
    settled(page, "#session-figure .scatterlayer .trace")
    label = page.locator("#session-figure .hover-label:has-text('Swing')")
    # A page still settling moves under the pointer: point again, as a hand would.
    for _ in range(60):
        left, top = page.evaluate(ON_A_LINE)
        page.mouse.move(left - 40, top)
        page.mouse.move(left, top, steps=4)
        page.evaluate(
            "() => new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))"
        )
        if label.is_visible():
            return str(label.inner_text()).partition(" · ")[0]
    raise AssertionError("no line answers the pointer")

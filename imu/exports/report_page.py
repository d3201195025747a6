"""The look of the printed report: one HTML file that needs nothing else.

No script, no link, no font file, no image file; text is escaped on its way in. The page prints
to A4 and to Letter: widths are shares of the page, and nothing breaks in the middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from imu.figures.theme import FONT, LIGHT


@dataclass(frozen=True)
class Finding:
    """One thing to know: a short heading, the number that carries it, a sentence or two."""

    heading: str
    figure: str
    text: str


@dataclass(frozen=True)
class Figure:
    """A picture (SVG text made by this project), its heading and what it says in words."""

    heading: str
    svg: str
    caption: str


@dataclass(frozen=True)
class Table:
    """A table of words: header, rows, and how many columns at the right end hold numbers."""

    heading: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    numeric: int = 0


@dataclass(frozen=True)
class ReportContent:
    """All that stands on the report, in order, as plain text but for the pictures.

    facts : name and value beneath the title. verdicts : after the first picture; tables :
    after all of them. small : pictures set two abreast. next_time, cautions : list items.
    small_print : how it was measured, one paragraph each.
    """

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
    figures: tuple[Figure, ...] = ()
    verdicts: tuple[Table, ...] = ()
    small: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    next_time: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    small_print: tuple[str, ...] = field(default_factory=tuple)


_STYLE = f"""
@page {{ margin: 12mm 13mm; }}
* {{ box-sizing: border-box; }}
html {{ color-scheme: light; }}
body {{ margin: 0 auto; padding: 1.5rem; max-width: 52rem; color: {LIGHT.ink};
  background: {LIGHT.paper}; font: 15px/1.45 {FONT}; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }}
header {{ border-bottom: 2px solid {LIGHT.ink}; padding-bottom: .7rem; margin-bottom: 1rem; }}
h1 {{ font-size: 1.75rem; line-height: 1.15; margin: 0; letter-spacing: -.01em; }}
h2 {{ font-size: 1.15rem; margin: 1.5rem 0 .5rem; break-after: avoid; }}
p {{ margin: .35rem 0; }}
.subtitle {{ color: {LIGHT.quiet}; font-size: 1.05rem; }}
dl {{ display: flex; flex-wrap: wrap; gap: .2rem 1.6rem; margin: .6rem 0 0; }}
dl div {{ display: flex; gap: .4rem; }}
dt {{ color: {LIGHT.quiet}; }}
dd {{ margin: 0; font-weight: 600; overflow-wrap: anywhere; }}
.findings {{ display: grid; grid-template-columns: repeat(3, 1fr); gap: 1.1rem; }}
.findings article {{ border-top: 1px solid {LIGHT.quiet}; padding-top: .5rem; }}
.findings h3 {{ font-size: .95rem; margin: 0; color: {LIGHT.quiet}; font-weight: 600; }}
.findings .figure {{ font-size: 1.6rem; font-weight: 650; line-height: 1.2; margin: .1rem 0; }}
figure {{ margin: .3rem 0 .9rem; break-inside: avoid; }}
figure svg {{ width: 100%; height: auto; display: block; }}
figcaption {{ color: {LIGHT.quiet}; }}
.pair {{ display: grid; grid-template-columns: 1fr 1fr; gap: .2rem 1rem; }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }}
th, td {{ text-align: left; padding: .28rem .5rem .28rem 0; vertical-align: top;
  border-bottom: 1px solid {LIGHT.rule}; }}
th {{ color: {LIGHT.quiet}; font-weight: 600; border-bottom-color: {LIGHT.quiet}; }}
th.number, td.number {{ text-align: right; white-space: nowrap; }}
tr {{ break-inside: avoid; }}
thead {{ display: table-header-group; }}
ul {{ margin: .3rem 0; padding-left: 1.2rem; }}
li {{ margin: .2rem 0; }}
.keep {{ break-inside: avoid; }}
.cautions {{ border: 1px solid {LIGHT.quiet}; border-radius: 4px; padding: .2rem 1rem .6rem;
  margin-top: 1.2rem; break-inside: avoid; }}
.cautions h2 {{ margin-top: .6rem; }}
.cautions ul {{ columns: 2; column-gap: 2rem; }}
.cautions li {{ break-inside: avoid; }}
footer {{ margin-top: 1.2rem; color: {LIGHT.quiet}; font-size: .85rem; overflow-wrap: anywhere; }}
@media print {{
  html {{ font-size: 9.5pt; }}
  body {{ padding: 0; max-width: none; font-size: 9.5pt; line-height: 1.35; }}
  .findings .figure {{ font-size: 17pt; }}
  h2 {{ margin: .9rem 0 .3rem; }}
  figure {{ margin: .1rem 0 .3rem; }}
  th, td {{ padding-top: .14rem; padding-bottom: .14rem; }}
}}
@media (max-width: 40rem) {{
  .findings, .pair {{ grid-template-columns: 1fr; }}
  .cautions ul {{ columns: 1; }}
  .wide {{ overflow-x: auto; }}
  table {{ font-size: .9rem; }}
}}
"""


def render(content: ReportContent) -> str:
    """The whole report as one HTML text."""
    body = [
        _header(content),
        _findings(content.findings),
        *(_figure(item, "h2") for item in content.figures[:1]),
        *(_table(item) for item in content.verdicts),
        *(_figure(item, "h2") for item in content.figures[1:]),
        _list("Next time", content.next_time, "keep"),
        _pair(content.small),
        *(_table(item) for item in content.tables),
        _list("Take care", content.cautions, "cautions"),
        _footer(content.small_print),
    ]
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'\">\n"
        f"<title>{escape(content.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"{''.join(body)}\n</body>\n</html>\n"
    )


def _header(content: ReportContent) -> str:
    facts = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>"
        for name, value in content.facts
        if value
    )
    return (
        f'<header><h1>{escape(content.title)}</h1><p class="subtitle">{escape(content.subtitle)}'
        f"</p><dl>{facts}</dl></header>"
    )


def _findings(findings: Sequence[Finding]) -> str:
    articles = "".join(
        f'<article><h3>{escape(item.heading)}</h3><p class="figure">{escape(item.figure)}</p>'
        f"<p>{escape(item.text)}</p></article>"
        for item in findings
    )
    return f'<section class="findings keep">{articles}</section>' if articles else ""


def _figure(figure: Figure, level: str) -> str:
    heading = f"<{level}>{escape(figure.heading)}</{level}>" if figure.heading else ""
    caption = f"<figcaption>{escape(figure.caption)}</figcaption>" if figure.caption else ""
    return f'<section class="keep">{heading}<figure>{figure.svg}{caption}</figure></section>'


def _pair(figures: Sequence[Figure]) -> str:
    if not figures:
        return ""
    inside = "".join(_figure(item, "h3") for item in figures)
    return f'<section><h2>Swing by swing</h2><div class="pair">{inside}</div></section>'


def _table(table: Table) -> str:
    first_number = len(table.header) - table.numeric

    def row(cells: Sequence[str], tag: str) -> str:
        filled = "".join(
            f"<{tag}{' class=number' if place >= first_number else ''}>{escape(cell)}</{tag}>"
            for place, cell in enumerate(cells)
        )
        return f"<tr>{filled}</tr>"

    caption = f"<p>{escape(table.caption)}</p>" if table.caption else ""
    rows = "".join(row(cells, "td") for cells in table.rows)
    return (
        f"<section><h2>{escape(table.heading)}</h2><div class=wide tabindex=0><table><thead>"
        f"{row(table.header, 'th')}</thead><tbody>{rows}</tbody></table></div>{caption}</section>"
    )


def _list(heading: str, items: Sequence[str], name: str) -> str:
    if not items:
        return ""
    points = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f'<section class="{name}"><h2>{escape(heading)}</h2><ul>{points}</ul></section>'


def _footer(paragraphs: Sequence[str]) -> str:
    return f"<footer>{''.join(f'<p>{escape(item)}</p>' for item in paragraphs)}</footer>"

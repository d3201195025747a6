"""A small drawing board for print: scales, axes, lines, bands and dots as static SVG.

Pictures made here need no script and no font file, print sharply and scale to the page. Lengths
are in SVG user units; colours are those of `imu.figures.theme`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from imu.figures.theme import FONT, LIGHT, Palette
from imu.number_words import MINUS
from imu.types import FloatArray

LETTERING = 13
"""Font size of axis labels, user units; pictures are about 700 wide on a 180 mm page."""


def round_ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round numbers from ``low`` to ``high``, about ``about`` of them, stepping by 1, 2 or 5."""
    span = high - low
    if not math.isfinite(span) or span <= 0:
        return []
    raw = span / max(about, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = min((1, 2, 5, 10), key=lambda size: abs(math.log(size * power / raw))) * power
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(index * step, 10) for index in range(first, last + 1)]


def room_around(values: ArrayLike, share: float = 0.06) -> tuple[float, float]:
    """Least and greatest finite value with some room on either side; (0, 1) when there is none."""
    finite = np.asarray(values, dtype=np.float64)
    finite = finite[np.isfinite(finite)]
    if len(finite) == 0:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    room = share * (high - low) or max(abs(high) * 0.05, 0.5)
    return low - room, high + room


@dataclass(frozen=True)
class Panel:
    """A rectangle of the picture and the span of values that it shows."""

    left: float
    top: float
    width: float
    height: float
    x_span: tuple[float, float]
    y_span: tuple[float, float]

    def across(self, values: ArrayLike) -> FloatArray:
        """Values (N,) on the x axis as user units."""
        low, high = self.x_span
        return self.left + (np.asarray(values, np.float64) - low) / (high - low) * self.width

    def down(self, values: ArrayLike) -> FloatArray:
        """Values (N,) on the y axis as user units; greater values lie higher."""
        low, high = self.y_span
        return (
            self.top
            + self.height
            - (np.asarray(values, np.float64) - low) / (high - low) * self.height
        )

    @property
    def bottom(self) -> float:
        """Lower edge, user units."""
        return self.top + self.height

    @property
    def right(self) -> float:
        """Right edge, user units."""
        return self.left + self.width


def line(panel: Panel, xs: ArrayLike, ys: ArrayLike, **style: str | float) -> str:
    """A line through points (N,), (N,), broken at unknown values and cut off at the panel."""
    parts: list[str] = []
    pen_down = False
    for x, y in zip(panel.across(xs), panel.down(ys), strict=True):
        inside = math.isfinite(x) and math.isfinite(y) and panel.left - 1 <= x <= panel.right + 1
        if inside:
            parts.append(f"{'L' if pen_down else 'M'}{x:.1f} {y:.1f}")
        pen_down = inside
    return f'<path d="{"".join(parts)}" fill="none"{_style(style)}/>' if parts else ""


def band(panel: Panel, xs: ArrayLike, low: ArrayLike, high: ArrayLike, **style: str | float) -> str:
    """The area between two lines, each (N,) over ``xs``; where either is unknown, none."""
    grid, bottom, top = (np.asarray(item, np.float64) for item in (xs, low, high))
    known = np.isfinite(bottom) & np.isfinite(top)
    known &= (grid >= panel.x_span[0]) & (grid <= panel.x_span[1])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(int), [0]])))
    shapes = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        across = panel.across(grid[start:end])
        upper = panel.down(top[start:end])
        lower = panel.down(bottom[start:end])
        points = [*zip(across, upper, strict=True), *zip(across[::-1], lower[::-1], strict=True)]
        outline = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        shapes.append(f'<polygon points="{outline}" stroke="none"{_style(style)}/>')
    return "".join(shapes)


def dots(panel: Panel, xs: ArrayLike, ys: ArrayLike, radius: float, **style: str | float) -> str:
    """A dot at each of the points (N,), (N,) whose values are known; radius in user units."""
    marks = []
    for x, y in zip(panel.across(xs), panel.down(ys), strict=True):
        if math.isfinite(x) and math.isfinite(y):
            marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}"{_style(style)}/>')
    return "".join(marks)


def words(
    x: float,
    y: float,
    text: str,
    anchor: str = "start",
    size: float = LETTERING,
    **style: str | float,
) -> str:
    """Lettering at (x, y); ``anchor`` is "start", "middle" or "end"."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}"'
        f"{_style(style)}>{escape(text)}</text>"
    )


def upright(panel: Panel, x: float, **style: str | float) -> str:
    """A vertical line across the panel at the value ``x``."""
    at = float(panel.across(x))
    return f'<path d="M{at:.1f} {panel.top:.1f}V{panel.bottom:.1f}" fill="none"{_style(style)}/>'


def axes(
    panel: Panel,
    x_ticks: Sequence[float],
    y_ticks: Sequence[float],
    x_label: str = "",
    y_label: str = "",
    colours: Palette = LIGHT,
) -> str:
    """Rules at the ticks, their numbers, and the names of the two axes with their units."""
    parts = []
    for value in y_ticks:
        y = float(panel.down(value))
        parts.append(
            f'<path d="M{panel.left:.1f} {y:.1f}H{panel.right:.1f}" fill="none"'
            f"{_style({'stroke': colours.rule, 'stroke_width': 1})}/>"
        )
        parts.append(words(panel.left - 8, y + 4, _number(value), "end", fill=colours.quiet))
    for value in x_ticks:
        x = float(panel.across(value))
        parts.append(words(x, panel.bottom + 18, _number(value), "middle", fill=colours.quiet))
    if x_label:
        middle = panel.left + panel.width / 2
        parts.append(words(middle, panel.bottom + 36, x_label, "middle", fill=colours.quiet))
    if y_label:
        parts.append(words(panel.left, panel.top - 10, y_label, fill=colours.ink, font_weight=600))
    return "".join(parts)


def picture(width: float, height: float, name: str, description: str, *parts: str) -> str:
    """The whole SVG. ``name`` and ``description`` are read out to whoever cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'width="{width:g}" height="{height:g}" font-family="{escape(FONT, quote=True)}">'
        f"<title>{escape(name)}</title><desc>{escape(description)}</desc>"
        f"{''.join(parts)}</svg>"
    )


def _number(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def _style(style: dict[str, str | float]) -> str:
    return "".join(
        f' {name.replace("_", "-")}="{escape(str(value), quote=True)}"'
        for name, value in style.items()
    )

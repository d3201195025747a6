"""Colours, lines and lettering shared by every figure.

Colours follow two colour-blind-safe palettes of general use, Okabe & Ito (2008) and Tol (2021),
with darker members on light paper and lighter ones on dark, each at least 3:1 against its paper
(WCAG 2.2, 1.4.11). A colour never stands alone: each goes with a dash and a symbol of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FONT = '-apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", Arial, sans-serif'

DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x")
MOST_HIGHLIGHTED = len(DASHES)


@dataclass(frozen=True)
class Palette:
    """Colours of one theme: paper, text, faint lines, and the marks upon them."""

    name: str
    paper: str
    ink: str
    quiet: str
    rule: str
    swings: str
    strokes: str
    band: str
    spread: str
    picks: tuple[str, str, str, str, str]
    sets: tuple[str, str]
    set_bands: tuple[str, str]
    plane: str


LIGHT = Palette(
    name="light",
    paper="#ffffff",
    ink="#15211f",
    quiet="#52605d",
    rule="#e4e8e6",
    swings="rgba(82,96,93,0.30)",
    strokes="rgba(52,66,63,0.55)",
    band="rgba(15,92,90,0.20)",
    spread="rgba(15,92,90,0.55)",
    picks=("#0072b2", "#c44e00", "#117733", "#aa3377", "#7a5c00"),
    sets=("#0072b2", "#c44e00"),
    set_bands=("rgba(0,114,178,0.18)", "rgba(196,78,0,0.18)"),
    plane="#5aa6a0",
)
DARK = Palette(
    name="dark",
    paper="#18201f",
    ink="#f2f6f4",
    quiet="#a9b8b4",
    rule="#2c3836",
    swings="rgba(169,184,180,0.26)",
    strokes="rgba(200,214,210,0.55)",
    band="rgba(108,197,190,0.24)",
    spread="rgba(108,197,190,0.60)",
    picks=("#56b4e9", "#f0a23c", "#4fc39a", "#e08fc0", "#f0e442"),
    sets=("#56b4e9", "#f0a23c"),
    set_bands=("rgba(86,180,233,0.22)", "rgba(240,162,60,0.22)"),
    plane="#5aa6a0",
)
PALETTES = {palette.name: palette for palette in (LIGHT, DARK)}


def palette(name: str) -> Palette:
    """The palette called ``name``; light when unknown."""
    return PALETTES.get(name, LIGHT)


def base_layout(colours: Palette, height: int) -> dict[str, Any]:
    """Layout settings that every figure starts from."""
    return {
        "height": height,
        "paper_bgcolor": colours.paper,
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 15, "color": colours.ink},
        "margin": {"l": 58, "r": 18, "t": 34, "b": 52},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": colours.ink,
            "bordercolor": colours.ink,
            "font": {"color": colours.paper, "size": 15, "family": FONT},
        },
        "uirevision": "keep",
        "dragmode": "zoom",
    }


def quiet_axis(colours: Palette, **changes: Any) -> dict[str, Any]:
    """An axis with light rules and no box."""
    return {
        "showline": False,
        "zeroline": False,
        "gridcolor": colours.rule,
        "tickfont": {"color": colours.quiet, "size": 14},
        "title": {"font": {"color": colours.quiet, "size": 15}},
        "ticks": "",
        **changes,
    }


def panel_heading(colours: Palette, text: str, y: float) -> dict[str, Any]:
    """An annotation above a panel's left edge, ``y`` in paper units of the panel's top."""
    return {
        "text": f"<b>{text}</b>",
        "xref": "paper",
        "yref": "paper",
        "x": 0.0,
        "y": y,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 16, "color": colours.ink},
    }


def zero_line(colours: Palette) -> dict[str, Any]:
    """A shape: the line through all panels at the event that swings are lined up at."""
    return {
        "type": "line",
        "x0": 0,
        "x1": 0,
        "y0": 0,
        "y1": 1,
        "xref": "x",
        "yref": "paper",
        "line": {"color": colours.quiet, "width": 1.5},
        "layer": "below",
    }

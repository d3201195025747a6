"""Mantine settings: one calm green, system lettering, sizes readable at two metres."""

from __future__ import annotations

from typing import Any

from imu.figures.theme import FONT

PINE = [
    "#e8f4f2",
    "#cfe6e3",
    "#a3d0cb",
    "#74b8b1",
    "#4aa199",
    "#2b8a83",
    "#17736f",
    "#0f5c5a",
    "#0b4a48",
    "#073735",
]

MANTINE_THEME: dict[str, Any] = {
    "fontFamily": FONT,
    "headings": {"fontFamily": FONT, "fontWeight": "650"},
    "primaryColor": "pine",
    "primaryShade": {"light": 7, "dark": 3},
    "autoContrast": True,
    "colors": {"pine": PINE},
    "defaultRadius": "md",
    "fontSizes": {"xs": "14px", "sm": "16px", "md": "18px", "lg": "21px", "xl": "25px"},
    "focusRing": "auto",
}

"""The table of swings: sortable, and where swings are chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_ag_grid as dag
import numpy as np
import pandas as pd

from app.components.numbers import plain
from app.preferences import Preferences
from imu.columns import METRIC_BY_NAME
from imu.number_words import decimals_for

GRID_THEME = {
    "function": "themeQuartz.withParams({"
    "backgroundColor: 'var(--card)', foregroundColor: 'var(--ink)',"
    "headerBackgroundColor: 'var(--card)', headerTextColor: 'var(--quiet)',"
    "borderColor: 'var(--rule)', wrapperBorder: false, headerRowBorder: true,"
    "accentColor: 'var(--accent)', selectedRowBackgroundColor: 'var(--chosen)',"
    "rowHoverColor: 'var(--hover)', oddRowBackgroundColor: 'var(--card)',"
    "fontFamily: 'inherit', fontSize: 17, headerFontSize: 15, headerFontWeight: 600,"
    "rowHeight: 42, headerHeight: 48, cellHorizontalPadding: 10, spacing: 7,"
    "iconSize: 18, checkboxBorderRadius: 4})"
}

SHORT = {
    "backswing_ms": "Back",
    "downswing_ms": "Down",
    "tempo_ratio": "Tempo",
    "overlap_ms": "Overlap",
    "release_ms": "Release",
    "release_arm_angle_deg": "Arm at release",
    "lag_at_parallel_deg": "Lag",
    "hinge_max_deg": "Hinge",
    "hinge_at_impact_deg": "At impact",
    "wrist_share": "Wrist share",
    "plane_shift_deg": "Plane shift",
    "clubhead_speed_m_s": "Speed",
}
"""Column headings: short, the whole name in the tooltip."""


def rows_of(
    swings: pd.DataFrame, metrics: Sequence[str], preferences: Preferences
) -> list[dict[str, Any]]:
    """Row data: names and numbers; numbers rounded to their own standard error."""
    reasons = [
        left_out or (note if isinstance(note, str) else "")
        for left_out, note in zip(swings["left_out"], swings["notes"], strict=True)
    ]
    quality = [
        "left out" if left_out else str(word)
        for left_out, word in zip(swings["left_out"], swings["quality"], strict=True)
    ]
    columns: dict[str, list[Any]] = {
        "key": [str(int(key)) for key in swings["key"]],
        "name": list(swings["name"]),
        "kind": list(swings["kind"]),
        "block": list(swings["block"]),
        "quality": quality,
        "notes": reasons,
        "href": [
            f"/swing?recording={recording}&swing={int(swing)}"
            for recording, swing in zip(swings["recording_id"], swings["swing"], strict=True)
        ],
    }
    for metric in metrics:
        _, factor = preferences.units.of(METRIC_BY_NAME[metric].unit)
        values = swings[metric].to_numpy(float) * factor
        errors = swings[f"{metric}_se"].to_numpy(float) * factor
        typical = float(np.nanmedian(errors)) if np.isfinite(errors).any() else float("nan")
        middle = float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")
        decimals = min(decimals_for(typical, middle), 2)
        columns[metric] = [None if not np.isfinite(v) else round(float(v), 4) for v in values]
        columns[f"{metric}_text"] = [plain(float(v), decimals) for v in values]
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def swing_grid(
    identity: str,
    swings: pd.DataFrame,
    metrics: Sequence[str],
    chosen: Sequence[str],
    preferences: Preferences,
) -> dag.AgGrid:
    """The grid; ``chosen`` keys start selected. Selecting is by row or checkbox."""
    definitions: list[dict[str, Any]] = [
        {
            "field": "name",
            "headerName": "Swing",
            "pinned": "left",
            "width": 112,
            "comparator": {"function": "swingspread.byNumber"},
            "cellRenderer": "SwingLink",
        },
    ]
    blocks = swings[["recording_id", "block"]].drop_duplicates()
    if blocks["recording_id"].duplicated().any():
        definitions.append(
            {"field": "block", "headerName": "Block", "tooltipField": "block", "width": 132}
        )
    for name in metrics:
        metric = METRIC_BY_NAME[name]
        unit, _ = preferences.units.of(metric.unit)
        words = SHORT.get(name, metric.label)
        definitions.append(
            {
                "field": name,
                "headerName": f"{words}, {unit}" if unit else words,
                "headerTooltip": metric.label + (f", {unit}" if unit else ""),
                "valueFormatter": {"function": f"params.data['{name}_text']"},
                "type": "rightAligned",
            }
        )
    definitions.append(
        {
            "field": "quality",
            "headerName": "Quality",
            "tooltipField": "notes",
            "cellClass": {"function": "'quality-' + params.value.replace(' ', '-')"},
        }
    )
    return dag.AgGrid(
        id=identity,
        rowData=rows_of(swings, metrics, preferences),
        columnDefs=definitions,
        getRowId="params.data.key",
        selectedRows={"ids": list(chosen)},
        defaultColDef={
            "sortable": True,
            "resizable": True,
            "width": 88,
            "wrapHeaderText": True,
            "autoHeaderHeight": True,
            "suppressHeaderMenuButton": True,
        },
        dashGridOptions={
            "theme": GRID_THEME,
            "rowSelection": {
                "mode": "multiRow",
                "enableClickSelection": False,
                "headerCheckbox": False,
                "checkboxes": True,
            },
            "selectionColumnDef": {"pinned": "left", "width": 46, "resizable": False},
            "animateRows": False,
            "tooltipShowDelay": 300,
            "suppressCellFocus": False,
            "ensureDomOrder": True,
            "tabToNextCell": {"function": "swingspread.tabOn(params)"},
        },
        style={"height": "100%", "width": "100%"},
    )

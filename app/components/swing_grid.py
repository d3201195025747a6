"""The table of swings: sortable, and where swings are chosen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_ag_grid as dag
import numpy as np
import pandas as pd

from app.components.numbers import decimals_for, plain
from imu.columns import METRIC_BY_NAME

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
    "backswing_ms": "Back, ms",
    "downswing_ms": "Down, ms",
    "tempo_ratio": "Tempo",
    "overlap_ms": "Overlap, ms",
    "release_ms": "Release, ms",
    "release_arm_angle_deg": "Arm at release, °",
    "lag_at_parallel_deg": "Lag, °",
    "hinge_max_deg": "Hinge, °",
    "hinge_at_impact_deg": "At impact, °",
    "wrist_share": "Wrist share",
    "plane_shift_deg": "Plane shift, °",
    "clubhead_speed_m_s": "Speed, m/s",
}


def rows_of(swings: pd.DataFrame, metrics: Sequence[str]) -> list[dict[str, Any]]:
    """Row data: names and numbers; numbers rounded to their own standard error."""
    columns: dict[str, list[Any]] = {
        "key": [str(int(key)) for key in swings["key"]],
        "name": list(swings["name"]),
        "kind": list(swings["kind"]),
        "block": list(swings["block"]),
        "quality": list(swings["quality"]),
        "notes": [str(note) if isinstance(note, str) else "" for note in swings["notes"]],
    }
    for metric in metrics:
        values = swings[metric].to_numpy(float)
        errors = swings[f"{metric}_se"].to_numpy(float)
        typical = float(np.nanmedian(errors)) if np.isfinite(errors).any() else float("nan")
        middle = float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")
        decimals = min(decimals_for(typical, middle), 2)
        columns[metric] = [None if not np.isfinite(v) else round(float(v), 4) for v in values]
        columns[f"{metric}_text"] = [plain(float(v), decimals) for v in values]
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def swing_grid(
    identity: str, swings: pd.DataFrame, metrics: Sequence[str], chosen: Sequence[str]
) -> dag.AgGrid:
    """The grid; ``chosen`` keys start selected. Selecting is by row or checkbox."""
    definitions: list[dict[str, Any]] = [
        {
            "field": "name",
            "headerName": "Swing",
            "pinned": "left",
            "width": 112,
            "comparator": {"function": "swingspread.byNumber"},
        },
    ]
    for name in metrics:
        metric = METRIC_BY_NAME[name]
        definitions.append(
            {
                "field": name,
                "headerName": SHORT.get(name, metric.label),
                "headerTooltip": metric.label + (f", {metric.unit}" if metric.unit else ""),
                "valueFormatter": {"function": f"params.data['{name}_text']"},
                "type": "rightAligned",
            }
        )
    definitions.append(
        {
            "field": "quality",
            "headerName": "Quality",
            "tooltipField": "notes",
            "cellClass": {"function": "'quality-' + params.value"},
        }
    )
    return dag.AgGrid(
        id=identity,
        rowData=rows_of(swings, metrics),
        columnDefs=definitions,
        getRowId="params.data.key",
        selectedRows={"ids": list(chosen)},
        defaultColDef={
            "sortable": True,
            "resizable": True,
            "width": 96,
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
        },
        style={"height": "100%", "width": "100%"},
    )

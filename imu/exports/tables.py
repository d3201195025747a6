"""The swing table and the analysis as files: CSV, Parquet, spreadsheet, JSON.

Units are in the column names; `imu.exports.dictionary` says what each column means, and goes
along as ``columns.csv``, as the second sheet of the spreadsheet and as Parquet field metadata.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa

from imu.columns import SWING_COLUMNS
from imu.exports.dictionary import describe_curve_columns, describe_swing_columns
from imu.exports.safe_text import plain_table
from imu.exports.writing import write_export
from imu.recordings.content import plain_json
from imu.recordings.parquet_file import write_packed
from imu.types import Analysis

ANALYSIS_SCHEMA = "swingspread-analysis"
ANALYSIS_SCHEMA_VERSION = 1


def in_documented_order(table: pd.DataFrame, documented: Iterable[str]) -> pd.DataFrame:
    """A table with its columns in the documented order; further columns follow at the end."""
    there = [str(name) for name in table.columns]
    known = [name for name in documented if name in there]
    return table[[*known, *(name for name in there if name not in known)]]


def swing_columns(swings: pd.DataFrame) -> pd.DataFrame:
    """The swing table in the documented order of columns."""
    return in_documented_order(swings, SWING_COLUMNS)


def write_csv(table: pd.DataFrame, target: Path) -> Path:
    """A table as CSV (RFC 4180, UTF-8): one header row, a point for decimals, empty for unknown.

    Text that a spreadsheet would take for a formula is made plain. Numbers keep all their
    digits. Raises SwingspreadError when the disk refuses.
    """
    text = plain_table(table).to_csv(index=False, lineterminator="\r\n")
    return write_export(target, text)


def write_parquet(table: pd.DataFrame, descriptions: pd.DataFrame, target: Path) -> Path:
    """A table as Parquet; each field carries its unit and meaning as metadata.

    descriptions : rows of `imu.exports.dictionary`. Raises SwingspreadError when the disk
    refuses.
    """
    arrow = pa.Table.from_pandas(table, preserve_index=False)
    known = {str(row["column"]): row for row in descriptions.to_dict("records")}
    fields = []
    for field in arrow.schema:
        about = known.get(field.name, {})
        facts: dict[Any, Any] = {
            key: str(about[key]) for key in ("unit", "meaning") if about.get(key)
        }
        fields.append(field.with_metadata(facts) if facts else field)
    whole: dict[Any, Any] = dict(arrow.schema.metadata or {})
    buffer = io.BytesIO()
    write_packed(arrow.cast(pa.schema(fields, metadata=whole)), buffer, for_any_reader=True)
    return write_export(target, buffer.getvalue())


def write_workbook(
    swings: pd.DataFrame, statistics: pd.DataFrame | None, about: Mapping[str, Any], target: Path
) -> Path:
    """A spreadsheet (Office Open XML): swings, statistics, meaning of the columns, about.

    The swings sheet has the column names in its first row and their units in the second.
    statistics : any table, or None for no such sheet. about : facts shown as name and value.
    No cell is a formula. Raises SwingspreadError when the disk refuses.
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    ordered = swing_columns(swings)
    meaning = describe_swing_columns([str(name) for name in ordered.columns])
    _fill(book, "swings", ordered, units=[str(unit) for unit in meaning["unit"]])
    if statistics is not None:
        _fill(book, "statistics", statistics)
    _fill(book, "columns", meaning)
    facts = pd.DataFrame([(key, _words(value)) for key, value in about.items()])
    _fill(book, "about", facts.set_axis(["fact", "value"], axis=1) if len(facts) else facts)
    buffer = io.BytesIO()
    book.save(buffer)
    return write_export(target, buffer.getvalue())


def _fill(book: Any, title: str, table: pd.DataFrame, units: list[str] | None = None) -> None:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(title)
    sheet.freeze_panes = "B3" if units else "A2"
    safe = plain_table(table)
    for position, name in enumerate(safe.columns, start=1):
        wide = title in ("columns", "about") and str(name) in ("meaning", "source", "value")
        width = 60 if wide else min(max(len(str(name)) + 2, 10), 34)
        sheet.column_dimensions[get_column_letter(position)].width = width
    header = []
    for name in safe.columns:
        cell = WriteOnlyCell(sheet, value=str(name))
        cell.font = Font(bold=True)
        header.append(cell)
    sheet.append(header)
    if units:
        sheet.append([_cell(sheet, unit) for unit in units])
    for row in safe.itertuples(index=False, name=None):
        sheet.append([_cell(sheet, value) for value in row])


def _cell(sheet: Any, value: Any) -> Any:
    from openpyxl.cell import WriteOnlyCell

    if isinstance(value, str):
        cell = WriteOnlyCell(sheet, value=value)
        cell.data_type = "s"
        return cell
    missing = value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value))
    if missing:
        return None
    if isinstance(value, float) and math.isinf(value):
        return None
    return value.item() if hasattr(value, "item") else value


def _words(value: Any) -> str:
    if isinstance(value, str):
        return value
    return json.dumps(plain_json(value), ensure_ascii=False)


def analysis_document(analysis: Analysis) -> dict[str, Any]:
    """All of an analysis but its two tables, as plain JSON values (unknown numbers are None)."""
    counts = analysis.swings["kind"].value_counts()
    document: dict[str, Any] = {
        "schema": ANALYSIS_SCHEMA,
        "schema_version": ANALYSIS_SCHEMA_VERSION,
        "version": analysis.version,
        "recording": analysis.recording_id,
        "handedness": analysis.handedness,
        "settings": analysis.settings,
        "swings": {str(kind): int(count) for kind, count in counts.items()},
        "calibration": analysis.calibration,
        "clock": analysis.clock,
        "rejected": analysis.rejected.to_dict("records"),
        "warnings": list(analysis.warnings),
    }
    plain: dict[str, Any] = plain_json(document)
    return plain


def write_json(document: Mapping[str, Any], target: Path) -> Path:
    """A document as strict JSON (RFC 8259): no NaN, UTF-8. SwingspreadError when it cannot."""
    text = json.dumps(plain_json(document), indent=2, ensure_ascii=False, allow_nan=False)
    return write_export(target, text + "\n")


def write_dictionary(analysis: Analysis, target: Path) -> Path:
    """The meaning of every column of the written tables as CSV, one row a column."""
    swings = describe_swing_columns([str(name) for name in analysis.swings.columns])
    curves = describe_curve_columns([str(name) for name in analysis.curves.columns])
    swings.insert(0, "table", "swings")
    curves.insert(0, "table", "curves")
    return write_csv(pd.concat([swings, curves], ignore_index=True), target)

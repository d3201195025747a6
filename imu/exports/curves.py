"""The curves of every swing as one Parquet file, one row a sample."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from imu.columns import CURVE_COLUMNS
from imu.exports.dictionary import describe_curve_columns
from imu.exports.tables import write_parquet


def curve_columns(curves: pd.DataFrame) -> pd.DataFrame:
    """The curve table in the documented order of columns; further columns follow at the end."""
    known = [name for name in CURVE_COLUMNS if name in curves.columns]
    further = [str(name) for name in curves.columns if name not in CURVE_COLUMNS]
    return curves[[*known, *further]]


def write_curves(curves: pd.DataFrame, target: Path) -> Path:
    """Curves as Parquet with units and meanings as field metadata.

    Raises SwingspreadError when the disk refuses.
    """
    ordered = curve_columns(curves)
    names = [str(name) for name in ordered.columns]
    return write_parquet(ordered, describe_curve_columns(names), target)

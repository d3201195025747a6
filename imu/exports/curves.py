"""The curves of every swing as one Parquet file, one row a sample."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from imu.columns import CURVE_COLUMNS
from imu.exports.dictionary import describe_curve_columns
from imu.exports.tables import in_documented_order, write_parquet


def write_curves(curves: pd.DataFrame, target: Path) -> Path:
    """Curves as Parquet with units and meanings as field metadata.

    Raises SwingspreadError when the disk refuses.
    """
    ordered = in_documented_order(curves, CURVE_COLUMNS)
    names = [str(name) for name in ordered.columns]
    return write_parquet(ordered, describe_curve_columns(names), target)

"""Analyses kept on disk beside their recording, so that a page opens at once the next time.

A cache and nothing more: keyed by settings, version and the code itself, and safe to delete.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Collection
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

import imu
from imu.recordings.atomic import PART, sweep_leftovers
from imu.recordings.parquet_file import write_packed
from imu.settings import AnalysisSettings
from imu.types import Analysis

DERIVED = "derived"
VERSIONS_KEPT = 3
_TABLES = ("swings", "curves", "rejected")
_FACTS = (
    "recording_id",
    "version",
    "handedness",
    "settings",
    "calibration",
    "clock",
    "warnings",
)


@lru_cache(maxsize=1)
def code_stamp() -> str:
    """Changes whenever the analysis code does, released or not."""
    digest = hashlib.sha256(imu.__version__.encode())
    root = Path(imu.__file__).parent
    for room in ("fusion", "swings", "recordings"):
        for path in sorted((root / room).glob("*.py")):
            digest.update(path.read_bytes())
    for path in sorted(root.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def cache_folder(recording: Path, settings: AnalysisSettings) -> Path:
    """Where the analysis of the recording folder with these settings is kept."""
    said = json.dumps(settings.as_dict(), sort_keys=True)
    mark = hashlib.sha256(f"{code_stamp()} {said}".encode()).hexdigest()[:16]
    return recording / DERIVED / f"analysis-{mark}"


def read_cached(recording: Path, settings: AnalysisSettings) -> Analysis | None:
    """The analysis as kept, or None when there is none or it cannot be read."""
    folder = cache_folder(recording, settings)
    try:
        facts: dict[str, Any] = json.loads((folder / "analysis.json").read_bytes())
        tables: dict[str, Any] = {
            name: pd.read_parquet(folder / f"{name}.parquet") for name in _TABLES
        }
        facts["warnings"] = tuple(facts["warnings"])
        return Analysis(**facts, **tables)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def read_cached_swings(
    recording: Path, settings: AnalysisSettings, columns: Collection[str] | None = None
) -> pa.Table | None:
    """The swing table as kept, without the far larger curves; None when it cannot be read.

    columns : all that is wanted of it; one that it does not have is left out.
    """
    path = cache_folder(recording, settings) / "swings.parquet"
    try:
        with path.open("rb") as file:
            held = pq.ParquetFile(file)
            names = held.schema_arrow.names
            if columns is not None:
                names = [name for name in names if name in columns]
            return held.read(names, use_threads=False)
    except (OSError, ValueError):
        return None


def is_kept(recording: Path, settings: AnalysisSettings) -> bool:
    """Whether the analysis is kept, by the ends of its files alone: quick, for whole libraries."""
    folder = cache_folder(recording, settings)
    try:
        for name in _TABLES:
            pq.read_metadata(folder / f"{name}.parquet")
        return isinstance(json.loads((folder / "analysis.json").read_bytes()), dict)
    except (OSError, ValueError, RecursionError):
        return False


def keep(recording: Path, settings: AnalysisSettings, analysis: Analysis) -> None:
    """Keep the analysis; a disk that refuses costs only the time to work it out again."""
    folder = cache_folder(recording, settings)
    try:
        folder.parent.mkdir(exist_ok=True)
        part = Path(tempfile.mkdtemp(PART, f".{os.getpid()}-", folder.parent))
        try:
            for name in _TABLES:
                write_packed(
                    pa.Table.from_pandas(getattr(analysis, name)), part / f"{name}.parquet"
                )
            facts = {name: getattr(analysis, name) for name in _FACTS}
            (part / "analysis.json").write_text(json.dumps(facts, default=_plain), "utf-8")
            if folder.exists():  # asked for afresh, or what is there could not be read
                folder.rename(part / "before")
            part.rename(folder)
            shutil.rmtree(folder / "before", ignore_errors=True)
        finally:
            shutil.rmtree(part, ignore_errors=True)
        _tidy(folder.parent, folder)
        sweep_leftovers(folder.parent)
    except (OSError, TypeError, ValueError):
        return


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    if hasattr(value, "items"):
        return dict(value)
    raise TypeError(f"{type(value).__name__} is no plain value")


def _tidy(derived: Path, newest: Path) -> None:
    """Keep ``newest``, and the newest few others by the clock, which may have been set back."""
    others = [path for path in derived.glob("analysis-*") if path != newest]
    others.sort(key=lambda path: path.stat().st_mtime, reverse=True)
    for path in others[VERSIONS_KEPT - 1 :]:
        shutil.rmtree(path, ignore_errors=True)

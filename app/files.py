"""Files that the pages link to, made when asked for."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import flask
import pandas as pd

from app.store import Store, SwingSet
from imu.errors import SwingspreadError
from imu.exports.curves import curve_columns, write_curves
from imu.exports.dictionary import describe_swing_columns
from imu.exports.folder import write_spreadsheet
from imu.exports.motion_bids import write_motion_bids
from imu.exports.tables import swing_columns, write_csv, write_parquet
from imu.recordings.names import file_name
from imu.variation.spread import spread_table


def swings_with_context(shown: SwingSet) -> pd.DataFrame:
    """The swing table as exported, with whose swings they are and what was noted on them; several
    recordings together are told apart by the first column."""
    table = swing_columns(shown.swings.drop(columns=["key", "name"])).reset_index(drop=True)
    if len(shown.ids) == 1:
        return table
    return table[["recording_id", *(name for name in table if name != "recording_id")]]


def _csv(shown: SwingSet, target: Path) -> None:
    write_csv(swings_with_context(shown), target)


def _parquet(shown: SwingSet, target: Path) -> None:
    table = swings_with_context(shown)
    write_parquet(table, describe_swing_columns([str(name) for name in table.columns]), target)


def _spreadsheet(shown: SwingSet, target: Path) -> None:
    counted = shown.counted().swings
    first = shown.entries[0]
    about = {
        "player": first.player,
        "club": first.club,
        "session": first.session,
        "block": " + ".join(entry.block for entry in shown.entries),
        "recorded": first.manifest.recorded_at,
    }
    statistics = spread_table(counted) if len(counted) else None
    analysis = replace(shown.analyses[0], swings=swings_with_context(shown))
    write_spreadsheet(analysis, statistics, about, target)


def _curves(shown: SwingSet, target: Path) -> None:
    if len(shown.ids) == 1:
        write_curves(shown.analyses[0].curves, target)
        return
    parts = [
        curve_columns(analysis.curves).assign(recording_id=entry.id)
        for entry, analysis in zip(shown.entries, shown.analyses, strict=True)
    ]
    pd.concat(parts, ignore_index=True).to_parquet(target, compression="zstd", index=False)


MAKERS: dict[str, tuple[Callable[[SwingSet, Path], None], str]] = {
    "swings.csv": (_csv, "text/csv"),
    "swings.parquet": (_parquet, "application/vnd.apache.parquet"),
    "swings.xlsx": (
        _spreadsheet,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ),
    "curves.parquet": (_curves, "application/vnd.apache.parquet"),
}


def add_file_routes(server: flask.Flask, store: Store) -> None:
    """Answer ``/files/<name>?recordings=…``."""

    @server.get("/files/<name>")
    def file(name: str) -> flask.Response:
        ids = [one for one in flask.request.args.get("recordings", "").split(",") if one]
        try:
            if name == "raw.zip":
                return _sent(_raw(store, ids), "application/zip", f"{_stem(store, ids)}-raw.zip")
            if name not in MAKERS:
                return flask.Response("There is no such file.", status=404)
            maker, kind = MAKERS[name]
            shown = store.swing_set(ids)
            with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
                target = Path(scratch) / name
                maker(shown, target)
                return _sent(target.read_bytes(), kind, f"{_stem(store, ids)}-{name}")
        except SwingspreadError as problem:
            return flask.Response(str(problem), status=409, mimetype="text/plain")


def _stem(store: Store, ids: list[str]) -> str:
    entry = store.resolve(ids)[0]
    words = (entry.player, entry.club, entry.block, entry.day)
    return file_name("-".join(word for word in words if word) or entry.name)


def _sent(content: bytes, kind: str, name: str) -> flask.Response:
    response = flask.Response(content, mimetype=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _raw(store: Store, ids: list[str]) -> bytes:
    """The raw streams in the Motion-BIDS layout, zipped."""
    recordings = [store.shelf.recording(entry.id) for entry in store.resolve(ids)]
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
        root = Path(scratch) / "motion-bids"
        write_motion_bids(recordings, root)
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(root.rglob("*")):
                if path.is_file():
                    archive.write(path, path.relative_to(root.parent))
    return packed.getvalue()

"""Files that the pages link to, made when asked for."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import flask
import pandas as pd

from app.comparing import counted_set, side_name
from app.everything import everything_of
from app.shelf import own_library
from app.store import Store, SwingSet
from imu.errors import SwingspreadError
from imu.exports.archive import write_archive
from imu.exports.curves import write_curves
from imu.exports.dictionary import describe_swing_columns
from imu.exports.folder import write_spreadsheet
from imu.exports.motion_bids import write_motion_bids
from imu.exports.pdf import print_pdf
from imu.exports.pictures import write_pictures
from imu.exports.plain_csv import write_plain_csv
from imu.exports.report import compose_report, set_manifest
from imu.exports.report_page import render
from imu.exports.tables import swing_columns, write_csv, write_parquet
from imu.recorder.folder import default_journals
from imu.recordings.names import file_name, recording_file_name
from imu.types import Recording
from imu.variation.compare import compare_sets
from imu.variation.selection import Selection
from imu.variation.selection_words import write_selection
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
    facts = {
        "player": [entry.player for entry in shown.entries],
        "club": [entry.club for entry in shown.entries],
        "session": [entry.session for entry in shown.entries],
        "block": [entry.block for entry in shown.entries],
        "recorded": [entry.manifest.recorded_at for entry in shown.entries],
    }
    about = {
        name: " + ".join(dict.fromkeys(one for one in said if one)) for name, said in facts.items()
    }
    statistics = spread_table(counted) if len(counted) else None
    analysis = replace(shown.analyses[0], swings=swings_with_context(shown))
    write_spreadsheet(analysis, statistics, about, target)


def _curves(shown: SwingSet, target: Path) -> None:
    several = len(shown.ids) > 1
    parts = []
    for entry, (curves, rows) in zip(shown.entries, shown.parts, strict=True):
        own = curves[curves["swing"].isin(rows["swing"])]
        parts.append(own.assign(recording_id=entry.id) if several else own)
    write_curves(pd.concat(parts, ignore_index=True), target)


def _pictures(shown: SwingSet, target: Path) -> None:
    counted = counted_set(shown, "swings")
    write_archive(
        target, lambda out: write_pictures(counted.curves, counted.swings, out / "pictures")
    )


MAKERS: dict[str, tuple[Callable[[SwingSet, Path], None], str]] = {
    "swings.csv": (_csv, "text/csv"),
    "swings.parquet": (_parquet, "application/vnd.apache.parquet"),
    "swings.xlsx": (
        _spreadsheet,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ),
    "curves.parquet": (_curves, "application/vnd.apache.parquet"),
    "pictures.zip": (_pictures, "application/zip"),
}


def _raw_csv(recordings: Sequence[Recording], folder: Path) -> list[Path]:
    return [
        file
        for one in recordings
        for file in write_plain_csv(one, folder / recording_file_name(one.manifest.name, one.id))
    ]


EVERYTHING = "everything.zip"
"""All that is kept of the player named in the address."""

RAW: dict[str, Callable[[Sequence[Recording], Path], list[Path]]] = {
    "raw.zip": _raw_csv,
    "motion-bids.zip": write_motion_bids,
}


def add_file_routes(server: flask.Flask, store: Store) -> None:
    """Answer ``/files/<name>?recordings=…``; a mistake is said in plain text."""

    @server.get("/files/<name>")
    def file(name: str) -> flask.Response:
        arguments = flask.request.args
        ids = [one for one in arguments.get("recordings", "").split(",") if one]
        against = [one for one in arguments.get("against", "").split(",") if one]
        try:
            if name in ("report.html", "report.pdf"):
                return _report_response(store, name, ids, against, "save" in arguments)
            if name in RAW:
                kind, content = "application/zip", _raw_zip(store, name, ids)
            elif name == EVERYTHING:
                who = arguments.get("player", "")
                kind, content = "application/zip", _everything(store, who)
                return _sent(content, kind, f"all-of-{file_name(who)}.zip")
            elif name in MAKERS:
                maker, kind = MAKERS[name]
                shown = store.swing_set(ids)
                with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
                    target = Path(scratch) / name
                    maker(shown, target)
                    content = target.read_bytes()
            else:
                return flask.Response("There is no such file.", status=404)
            return _sent(content, kind, f"{_stem(store, ids)}-{name}")
        except SwingspreadError as problem:
            return flask.Response(str(problem), status=409, mimetype="text/plain")


def _everything(store: Store, player: str) -> bytes:
    """All that is kept of a player."""
    if not player:
        raise SwingspreadError("No player is named.")
    wanted = [write_selection(Selection(players=(player,)))]
    _, fill = everything_of(own_library(store.shelf), wanted, default_journals())
    with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
        target = Path(scratch) / EVERYTHING
        write_archive(target, fill)
        return target.read_bytes()


def _raw_zip(store: Store, name: str, ids: Sequence[str]) -> bytes:
    recordings = [store.shelf.recording(entry.id) for entry in store.resolve(ids)]
    if not recordings:
        raise SwingspreadError("No recording is chosen; choose one on the start page.")
    with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
        target = Path(scratch) / name
        write_archive(target, lambda out: RAW[name](recordings, out / name.removesuffix(".zip")))
        return target.read_bytes()


def report_html(store: Store, ids: Sequence[str], against: Sequence[str]) -> str:
    """The printable page of these recordings, alone or against others."""
    shown = store.swing_set(ids)
    others = store.swing_set(against) if against else None
    name = side_name(store, ids, against)
    chosen = counted_set(shown, name)
    other = comparison = None
    if others is not None:
        other = counted_set(others, side_name(store, against, ids))
        comparison = compare_sets(other, chosen, curves=False)
    manifest = set_manifest(chosen) if len(chosen) else shown.entries[0].manifest
    version = shown.analyses[0].version
    return render(
        compose_report(chosen, manifest, version, other, comparison, store.preferences.units)
    )


def _report_response(
    store: Store, name: str, ids: Sequence[str], against: Sequence[str], save: bool
) -> flask.Response:
    page = report_html(store, ids, against)
    stem = f"{_stem(store, ids)}-report"
    if name == "report.pdf":
        with tempfile.TemporaryDirectory(prefix="swingspread-") as scratch:
            target = print_pdf(page, Path(scratch) / "report.pdf")
            return _sent(target.read_bytes(), "application/pdf", f"{stem}.pdf")
    if save:
        return _sent(page.encode(), "text/html", f"{stem}.html")
    return flask.Response(page, mimetype="text/html")


def _stem(store: Store, ids: Sequence[str]) -> str:
    entry = store.resolve(ids)[0]
    words = (entry.player, entry.club, entry.block, entry.day)
    return file_name("-".join(word for word in words if word) or entry.name)


def _sent(content: bytes, kind: str, name: str) -> flask.Response:
    response = flask.Response(content, mimetype=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response

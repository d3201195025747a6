"""Fuzzes one reader guided by the branches it takes, with atheris (Google's coverage-guided fuzzer
on libFuzzer), which is installed by hand: it is no dependency.

    pip install atheris
    python tests/properties/fuzz_guided.py journal -max_total_time=600

Every reader must give its answer or a SwingspreadError; anything else stops the run with the
bytes that did it. Further options are libFuzzer's.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import atheris

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent / "helpers")]

with atheris.instrument_imports(include=["imu", "app"]):
    import loggers

    from app.preferences import read_preferences
    from app.saved_sets import set_in
    from imu.errors import SwingspreadError
    from imu.recorder.journal import FILE_HEAD, Kind, encode_record, parse_journal
    from imu.recorder.packet import decode_packet
    from imu.recorder.profile import decode_info
    from imu.recordings.importer import import_csv
    from imu.recordings.manifest import manifest_from_json
    from imu.recordings.notes import NOTES_FILE, read_notes
    from imu.recordings.saved_sets import SETS_FILE, read_saved_sets
    from imu.recordings.store import MANIFEST_FILE, read_document
    from imu.variation.selection_words import parse_selection


PLACE = Path(tempfile.mkdtemp(prefix="guided-"))


def packet(data: bytes) -> None:
    """A notification, and the INFO value."""
    decode_packet(data)
    decode_info(data)


def journal(data: bytes) -> None:
    """A journal's bytes as they lie, and the same between two whole records."""
    parse_journal(data)
    whole = encode_record(Kind.EVENT, 1, b"{}")
    read = parse_journal(FILE_HEAD + whole + data + whole)
    assert read.records[0].payload == b"{}"
    for record in read.records:
        record.json()


def manifest(data: bytes) -> None:
    """A recording's manifest, as a file and as any JSON."""
    (PLACE / MANIFEST_FILE).write_bytes(data)
    manifest_from_json(read_document(PLACE), "recording.json")


def notes(data: bytes) -> None:
    """Notes on a recording."""
    (PLACE / NOTES_FILE).write_bytes(data)
    read_notes(PLACE)


def sets(data: bytes) -> None:
    """Saved sets and plans."""
    (PLACE / SETS_FILE).write_bytes(data)
    read_saved_sets(PLACE)


def preferences(data: bytes) -> None:
    """The settings page's file: always usable."""
    path = PLACE / "preferences.json"
    path.write_bytes(data)
    read_preferences(path).analysis_settings()


def selection(data: bytes) -> None:
    """A selection as it stands in commands and the address bar."""
    text = data.decode("utf-8", "replace")
    set_in(text)
    parse_selection(text)


def _imported(data: bytes, which: str) -> None:
    files = PLACE / "files"
    if not files.is_dir():
        loggers.write_export(files)
        for role in ("forearm", "club"):
            path = files / f"{role}.csv"
            lines = path.read_text().splitlines(keepends=True)
            path.write_text("".join(lines[:1200]))
    spoilt = PLACE / f"spoilt-{which}"
    spoilt.write_bytes(data)
    forearm = spoilt if which == "forearm.csv" else files / "forearm.csv"
    meta = spoilt if which == "meta.json" else files / "meta.json"
    import_csv(forearm, files / "club.csv", meta, spoilt if which == "map.json" else None)


def table(data: bytes) -> None:
    """A logger's CSV file."""
    _imported(data, "forearm.csv")


def meta(data: bytes) -> None:
    """What is declared of a logger's files."""
    _imported(data, "meta.json")


def column_map(data: bytes) -> None:
    """Which column is what."""
    _imported(data, "map.json")


READERS: dict[str, Callable[[bytes], None]] = {
    reader.__name__: reader
    for reader in (
        packet, journal, manifest, notes, sets, preferences, selection, table, meta, column_map,
    )
}  # fmt: skip


def examples(name: str) -> Path:
    """Sound files to begin from."""
    folder = PLACE / f"examples-{name}"
    folder.mkdir()
    made = PLACE / "made"
    loggers.write_export(made)
    sample = HERE.parents[1] / "recordings" / "kim-7-iron-practice" / MANIFEST_FILE
    sound: dict[str, bytes] = {
        "manifest": sample.read_bytes(),
        "meta": (made / "meta.json").read_bytes(),
        "table": b"".join((made / "forearm.csv").read_bytes().splitlines(keepends=True)[:400]),
        "column_map": json.dumps({"columns": {"ax": "ax"}, "units": {"acc": "g"}}).encode(),
        "notes": b'{"schema_version": 1, "swings": [{"impact_club_clock_us": 5}]}',
        "sets": b'{"schema_version": 1, "sets": {"a": {"selection": {"players": ["Ada"]}}}}',
        "preferences": b'{"speed_unit": "mph", "near_line_cm": 2.0}',
        "selection": b"player=Ada,block=pressure,since=2026-01-01",
        "journal": FILE_HEAD + encode_record(Kind.DATA, 7, b"x" * 30),
    }
    if name in sound:
        (folder / "sound").write_bytes(sound[name])
    return folder


def main() -> None:
    """Run the reader named first; the rest goes to libFuzzer."""
    if len(sys.argv) < 2 or sys.argv[1] not in READERS:
        raise SystemExit(f"name what to fuzz: {', '.join(READERS)}")
    name = sys.argv.pop(1)

    def once(data: bytes) -> None:
        try:
            READERS[name](data)
        except SwingspreadError as problem:
            assert str(problem)

    atheris.Setup([*sys.argv, str(examples(name))], once)
    try:
        atheris.Fuzz()
    finally:
        shutil.rmtree(PLACE, ignore_errors=True)


if __name__ == "__main__":
    main()

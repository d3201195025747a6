"""`swingspread import`: the CSV files of any logger into the library."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from app.arguments import add_library

if TYPE_CHECKING:
    from imu.recordings.library import Library
    from imu.recordings.library_entry import LibraryEntry
    from imu.types import Recording

HELP = "bring recordings made by any logger into the library"
EXAMPLES = """\
  swingspread import --forearm forearm.csv.gz --club club.csv.gz --meta meta.json
  swingspread import --forearm f.csv --club c.csv --meta meta.json --name tuesday --block pressure
  swingspread import --forearm f.csv --club c.csv --meta meta.json --map logger.json
  swingspread import --forearm f.csv --club c.csv --sensor belt=b.csv --meta meta.json
  swingspread import --motion-bids dataset --player "Ada Fairway"
"""

LAYOUT = """\
  one file a sensor, plain or gzip-compressed, with a header line and the columns
  t_host_s     s, arrival at the computer (blank where unknown)
  seq          sample number; a jump marks lost samples
  t_sensor_us  µs, the sensor's own clock
  ax ay az     m/s², what the accelerometer reads (gravity included)
  gx gy gz     rad/s, what the gyroscope reads
"""
META = """\
  {"format": 1, "handedness": "right", "player": {"name": "..."},
   "club": {"name": "7-iron", "length_m": 0.94, "wrist_from_butt_m": 0.05},
   "arm": {"hub_to_wrist_m": 0.62},
   "units": {"acc": "m/s^2", "gyr": "rad/s", "t_host": "s", "t_sensor": "us"},
   "forearm_sensor": {"rate_hz": 1000, "acc_range_g": 32, "gyr_range_dps": 4000,
                      "distance_to_wrist_m": 0.06},
   "club_sensor": {"rate_hz": 1000, "acc_range_g": 200, "gyr_range_dps": 4000,
                   "distance_from_butt_m": 0.33},
   "session": "...", "block": "practice", "recorded_at": "2031-05-04T17:00:00+02:00"}
  needed: format, handedness, club.length_m, units, and rate_hz of each sensor
"""
MAP = """\
  {"columns": {"t_sensor": "Time (ms)", "seq": null, "t_host": null,
               "ax": "AccX", "ay": "AccY", "az": "AccZ",
               "gx": "GyrX", "gy": "GyrY", "gz": "GyrZ"},
   "units": {"t_sensor": "ms", "acc": "g", "gyr": "deg/s"},
   "delimiter": ";", "decimal_mark": ",", "skip_lines": 0,
   "sensors": {"club": {"units": {"acc": "mg"}}}}
  null: the logger has no such column; "-GyrX" reverses a sign; every key may be left out
  units: acc m/s^2, g, mg; gyr rad/s, deg/s, mdeg/s; t_sensor and t_host s, ms, us, ns
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `swingspread import`."""
    parser.add_argument("--forearm", metavar="F.csv[.gz]", help="file of the forearm sensor")
    parser.add_argument("--club", metavar="C.csv[.gz]", help="file of the club sensor")
    parser.add_argument(
        "--sensor",
        metavar="ROLE=FILE",
        action="append",
        default=[],
        help="file of a further sensor, such as belt=b.csv; may be repeated",
    )
    parser.add_argument(
        "--meta", metavar="META.json", help="player, club and sensors, needed with CSV; see below"
    )
    parser.add_argument(
        "--map", metavar="MAP.json", help="columns and units of another logger; see below"
    )
    parser.add_argument(
        "--motion-bids",
        metavar="FOLDER",
        help="in place of CSV files: every recording of a Motion-BIDS folder written by "
        "`swingspread export`",
    )
    add_library(parser, "add to")
    parser.add_argument("--name", help="name of the recording")
    parser.add_argument("--player", help="name of the player")
    parser.add_argument("--session", help="label of the session")
    parser.add_argument("--block", help="label of the block, such as practice or pressure")
    order = parser.add_mutually_exclusive_group()
    order.add_argument("--swap", action="store_true", help="exchange the forearm and the club file")
    order.add_argument(
        "--keep-order",
        action="store_true",
        help="take the files as given, even if the motion says they are swapped",
    )
    parser.add_argument_group("the plain layout", LAYOUT)
    parser.add_argument_group("the meta file", META)
    parser.add_argument_group("the column map", MAP)


def run(arguments: argparse.Namespace) -> int:
    """Read, check, add to the library, print a summary; the id is the last word."""
    from app.terminal import progress_bar
    from imu.errors import SwingspreadError
    from imu.recordings.importer import import_csv
    from imu.recordings.library import Library

    library = Library(arguments.library)
    if arguments.motion_bids:
        return bring_dataset(arguments, library)
    if not arguments.meta:
        raise SwingspreadError(
            "--meta is missing: a JSON file that says who swung which club and with which "
            "sensors; `swingspread import --help` shows one"
        )
    with progress_bar("reading") as progress:
        recording = import_csv(
            arguments.forearm,
            arguments.club,
            arguments.meta,
            arguments.map,
            others=further_sensors(arguments.sensor),
            name=arguments.name,
            session=arguments.session,
            block=arguments.block,
            player=arguments.player,
            swap=arguments.swap,
            keep_order=arguments.keep_order,
            progress=lambda part: progress(part, "reading"),
        )
        progress(1.0, "writing")
        namesakes = same_name(library, recording)
        entry, is_new = library.add(recording)
    print_summary(recording, entry, is_new, namesakes)
    return 0


def bring_dataset(arguments: argparse.Namespace, library: Library) -> int:
    """Add every recording of a Motion-BIDS folder, with the labels given.

    Raises SwingspreadError, with nothing added, when one of them cannot be read.
    """
    from dataclasses import replace

    from app.terminal import progress_bar
    from imu.errors import SwingspreadError
    from imu.recordings.motion_bids import read_motion_bids
    from imu.recordings.names import clean_label

    if arguments.forearm or arguments.club or arguments.meta:
        raise SwingspreadError("--motion-bids: give a folder or CSV files, not both")
    for option in ("sensor", "map", "swap", "keep_order"):
        if getattr(arguments, option):
            raise SwingspreadError(
                f"--{option.replace('_', '-')} goes with CSV files; leave it out with --motion-bids"
            )
    with progress_bar("reading"):
        found = read_motion_bids(arguments.motion_bids)
    labels: dict[str, Any] = {
        key: clean_label(text, key)
        for key in ("name", "session", "block")
        if (text := getattr(arguments, key)) is not None
    }
    for recording in found:
        manifest = replace(recording.manifest, **labels)
        if arguments.player is not None:
            player = replace(manifest.player, name=clean_label(arguments.player, "player"))
            manifest = replace(manifest, player=player)
        labelled = replace(recording, manifest=manifest)
        namesakes = same_name(library, labelled)
        entry, is_new = library.add(labelled)
        print_summary(labelled, entry, is_new, namesakes)
    return 0


def further_sensors(given: list[str]) -> dict[str, str]:
    """``ROLE=FILE`` words as a mapping. Raises SwingspreadError for a malformed or repeated one."""
    from imu.errors import SwingspreadError

    files: dict[str, str] = {}
    for word in given:
        role, _, file = word.partition("=")
        if not role or not file:
            raise SwingspreadError(f"--sensor {word}: give a role and a file, as belt=b.csv")
        if role in files or role in ("forearm", "club"):
            raise SwingspreadError(f"--sensor {word}: a file for {role} is given elsewhere")
        files[role] = file
    return files


def same_name(library: Library, recording: Recording) -> list[str]:
    """Ids of other recordings that bear this recording's name."""
    name = recording.manifest.name
    if not name:
        return []
    return [
        entry.id for entry in library.entries() if entry.name == name and entry.id != recording.id
    ]


def print_summary(
    recording: Recording, entry: LibraryEntry, is_new: bool, namesakes: list[str]
) -> None:
    """Who and what, one line a sensor, what was noticed; the id comes last."""
    from imu.cautions import YOUNG_PLAYERS
    from imu.recordings.names import printable

    facts = entry.manifest or recording.manifest
    who = [facts.name, facts.player.name, facts.club.name, facts.session, facts.block]
    labels = ", ".join(printable(part) for part in who if part)
    hand = f"{recording.manifest.player.handedness}-handed"
    print(f"{labels}, {hand}" if labels else hand)
    for role, stream in recording.streams.items():
        duration = float(stream.time[-1] - stream.time[0])
        lost = int(stream.gaps[:, 1].sum())
        print(
            f"{role:8} {stream.rate_hz:6g} Hz {len(stream.time):9,} samples "
            f"{duration:8.1f} s {lost:7,} lost"
        )
    for fault in recording.faults:
        print(f"! {printable(fault)}")
    if namesakes:
        print(f"! the name is also that of {', '.join(namesakes[:3])}; tell them apart by id")
    if is_new:
        print(f"added to {entry.folder.parent}")
        print(YOUNG_PLAYERS)
    else:
        print("in the library already, with these labels; nothing was stored")
    print(f"recording {entry.id}")

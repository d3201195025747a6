"""Raw streams and what is known of them in the open Motion-BIDS layout.

Jeung et al. 2024, Sci Data 11:716, "Motion-BIDS: an extension to the brain imaging data
structure to organize motion data for reproducible research"; BIDS specification from 1.9. Each
sensor runs on a clock of its own and is therefore a tracking system of its own; its first column
is the LATENCY channel, seconds from its first sample. Player names are left out: players are
numbered. `imu.recordings.motion_bids` reads the layout back, sample for sample.
"""

from __future__ import annotations

import io
import itertools
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

import imu
from imu.errors import SwingspreadError
from imu.exports.writing import write_export
from imu.moments import moment
from imu.recordings.content import plain_json
from imu.recordings.manifest import manifest_to_json
from imu.types import FloatArray, Manifest, Player, Recording, Stream

BIDS_VERSION = "1.10.0"
TASK = "golfswing"

PLACEMENT = {
    "forearm": "lead forearm, just above the wrist",
    "club": "shaft of the club, just below the grip",
    "belt": "belt, at the back of the pelvis",
}

CHANNELS: tuple[tuple[str, str, str, str, str], ...] = (
    ("latency", "n/a", "LATENCY", "s", "The sensor's own clock from its first sample."),
    ("acc_x", "x", "ACCEL", "m/s^2", "Specific force along the sensor's x axis."),
    ("acc_y", "y", "ACCEL", "m/s^2", "Specific force along the sensor's y axis."),
    ("acc_z", "z", "ACCEL", "m/s^2", "Specific force along the sensor's z axis."),
    ("gyr_x", "x", "GYRO", "rad/s", "Turning rate about the sensor's x axis."),
    ("gyr_y", "y", "GYRO", "rad/s", "Turning rate about the sensor's y axis."),
    ("gyr_z", "z", "GYRO", "rad/s", "Turning rate about the sensor's z axis."),
    ("sample_number", "n/a", "MISC", "n/a", "Running number of the sample; a jump is a loss."),
    ("sensor_clock", "n/a", "MISC", "s", "The sensor's own clock, as sent."),
    ("host_time", "n/a", "MISC", "s", "Arrival of the sample's packet at the computer."),
)
"""Name, component, type, unit and meaning of each column of ``_motion.tsv``, in order."""

_ABSENT = tuple(
    f"{kind}ChannelCount" for kind in ("ANGACCEL", "JNTANG", "MAGN", "ORNT", "POS", "VEL")
)

_README = """# Golf swings from two inertial sensors

Raw samples of one inertial sensor on the lead forearm and one on the shaft of the club, in the
Motion-BIDS layout. Each sensor is a tracking system with its own clock; the two clocks are not
aligned here. `channels.tsv` names the columns of `motion.tsv`, which has no header row. Samples
lost on the air are missing rows: see the channel `sample_number`. Players are numbered, not named.
"""


def write_motion_bids(recordings: Sequence[Recording], folder: Path) -> list[Path]:
    """Write recordings as one Motion-BIDS dataset into ``folder`` (made if missing).

    One subject a player, one session a session label, one run a recording. Every number is
    written with the digits that give it back exactly. Returns the files. Raises
    SwingspreadError when the disk refuses, or a dataset is there already, since players are
    numbered anew in each.
    """
    if any(folder.glob("sub-*")):
        raise SwingspreadError(
            f"{folder}: holds a Motion-BIDS dataset already, whose players have other numbers; "
            "choose an empty folder, or move that one away"
        )
    players = sorted({_player_key(recording.manifest) for recording in recordings})
    systems = tracking_systems(role for recording in recordings for role in recording.streams)
    files = [
        write_export(folder / "dataset_description.json", _json(_dataset())),
        write_export(folder / "README.md", _README),
    ]
    rows = []
    for number, key in enumerate(players, start=1):
        subject = f"{number:02d}"
        own = [item for item in recordings if _player_key(item.manifest) == key]
        files += _write_subject(subject, own, systems, folder)
        rows.append((f"sub-{subject}", own[0].manifest.player.handedness))
    participants = pd.DataFrame(rows, columns=["participant_id", "handedness"])
    files.append(write_export(folder / "participants.tsv", _tsv(participants)))
    files.append(write_export(folder / "participants.json", _json(_PARTICIPANTS)))
    return files


@dataclass(frozen=True)
class RunName:
    """The BIDS entities that name one recording."""

    subject: str
    session: str
    acquisition: str
    run: int

    @property
    def folder(self) -> str:
        """Folder of the subject and, where there is one, of the session."""
        return f"sub-{self.subject}" + (f"/ses-{self.session}" if self.session else "")

    def file(self, system: str, suffix: str) -> str:
        """Name of a file of this run; ``system`` is the tracking system, "" for none."""
        parts = [f"sub-{self.subject}"]
        parts += [f"ses-{self.session}"] if self.session else []
        parts += [f"task-{TASK}"]
        parts += [f"tracksys-{system}"] if system else []
        parts += [f"acq-{self.acquisition}"] if self.acquisition else []
        return "_".join([*parts, f"run-{self.run:02d}", suffix])


def tracking_systems(roles: Iterable[str]) -> dict[str, str]:
    """The BIDS label of each sensor role, no two alike.

    A label has no underscore: of roles that differ by nothing else, all but the first in order of
    the alphabet get a number behind it.
    """
    plain = {role: bids_label(role) for role in sorted(set(roles))}
    systems: dict[str, str] = {}
    for role, label in plain.items():
        given = set(systems.values())
        if label in given:
            further = (f"{label}{number}" for number in itertools.count(2))
            label = next(one for one in further if one not in given | set(plain.values()))
        systems[role] = label
    return systems


def _write_subject(
    subject: str, recordings: Sequence[Recording], systems: Mapping[str, str], folder: Path
) -> list[Path]:
    files: list[Path] = []
    scans: dict[str, list[tuple[str, str]]] = {}
    taken: set[tuple[str, str, int]] = set()
    ordered = sorted(recordings, key=lambda item: (moment(item.manifest.recorded_at), item.id))
    for recording in ordered:
        manifest = recording.manifest
        session, block = bids_label(manifest.session), bids_label(manifest.block)
        run = 1
        while (session, block, run) in taken:
            run += 1
        taken.add((session, block, run))
        name = RunName(subject, session, block, run)
        place = folder / name.folder / "motion"
        for role, stream in sorted(recording.streams.items()):
            system = systems[role]
            files += _write_stream(recording, stream, place, name, system)
            listed = f"motion/{name.file(system, 'motion.tsv')}"
            scans.setdefault(name.folder, []).append((listed, _utc(manifest.recorded_at)))
    for place_name, listed_files in scans.items():
        table = pd.DataFrame(listed_files, columns=["filename", "acq_time"])
        target = folder / place_name / f"{place_name.replace('/', '_')}_scans.tsv"
        files.append(write_export(target, _tsv(table)))
    return files


def _write_stream(
    recording: Recording, stream: Stream, place: Path, name: RunName, system: str
) -> list[Path]:
    return [
        write_export(place / name.file(system, "motion.tsv"), samples_tsv(stream)),
        write_export(place / name.file(system, "motion.json"), _json(_sidecar(recording, stream))),
        write_export(place / name.file(system, "channels.tsv"), _tsv(_channels(stream))),
        write_export(place / name.file(system, "channels.json"), _json(_frames(stream))),
    ]


def samples_tsv(stream: Stream) -> bytes:
    """The samples as tab-separated text without a header, columns as in ``CHANNELS``."""
    latency = stream.time - stream.time[0] if len(stream.time) else stream.time
    columns = [latency, *stream.acc.T, *stream.gyr.T, stream.seq, stream.time, stream.host_time]
    table = pa.table(
        [_text_where_unknown(np.ascontiguousarray(column)) for column in columns],
        names=[channel[0] for channel in CHANNELS],
    )
    buffer = io.BytesIO()
    options = arrow_csv.WriteOptions(include_header=False, delimiter="\t", quoting_style="none")
    arrow_csv.write_csv(table, buffer, options)
    return buffer.getvalue()


def _text_where_unknown(column: FloatArray) -> pa.Array:
    array = pa.array(column)
    if column.dtype.kind != "f" or bool(np.isfinite(column).all()):
        return array
    text = pc.cast(array, pa.string())
    return pc.if_else(pa.array(np.isfinite(column)), text, pa.scalar("n/a"))


def _sidecar(recording: Recording, stream: Stream) -> dict[str, Any]:
    manifest = recording.manifest
    span = float(stream.time[-1] - stream.time[0]) if len(stream.time) > 1 else 0.0
    facts = manifest.sensors.get(stream.role, {})
    sidecar: dict[str, Any] = {
        "TaskName": TASK,
        "TaskDescription": "Golf swings on a practice ground, with the moves between them.",
        "SamplingFrequency": _or_unknown(stream.rate_hz),
        "SamplingFrequencyEffective": (len(stream.time) - 1) / span if span > 0 else "n/a",
        "TrackingSystemName": stream.role,
        "TrackedPointsCount": 1,
        "MotionChannelCount": len(CHANNELS),
        "ACCELChannelCount": 3,
        "GYROChannelCount": 3,
        "LATENCYChannelCount": 1,
        "MISCChannelCount": 3,
        **dict.fromkeys(_ABSENT, 0),
        "MissingValues": "n/a",
        "DeviceSerialNumber": str(facts.get("serial", "n/a")),
        "SoftwareVersions": f"swingspread {imu.__version__}",
        "AccelerometerRange": _or_unknown(stream.acc_range),
        "AccelerometerRangeUnits": "m/s^2",
        "GyroscopeRange": _or_unknown(stream.gyr_range),
        "GyroscopeRangeUnits": "rad/s",
        "SensorRole": stream.role,
        "RecordingId": recording.id,
        "RecordingFaults": list(recording.faults),
        "RecordingManifest": manifest_to_json(nameless(manifest)),
    }
    return sidecar


def nameless(manifest: Manifest) -> Manifest:
    """The manifest without the player's name, the recording's name and free remarks."""
    player: Player = replace(manifest.player, name="")
    return replace(manifest, player=player, name="", notes="", source="")


def _channels(stream: Stream) -> pd.DataFrame:
    rate = _or_unknown(stream.rate_hz)
    place = PLACEMENT.get(stream.role, stream.role)
    rows = []
    for name, component, kind, unit, meaning in CHANNELS:
        frame = f"{stream.role}_sensor" if kind in ("ACCEL", "GYRO") else "n/a"
        rows.append((name, component, kind, stream.role, unit, place, frame, meaning, rate))
    return pd.DataFrame(
        rows,
        columns=[
            "name",
            "component",
            "type",
            "tracked_point",
            "units",
            "placement",
            "reference_frame",
            "description",
            "sampling_frequency",
        ],
    )


def _frames(stream: Stream) -> dict[str, Any]:
    return {
        "reference_frame": {
            "LongName": "Frame of the channel",
            "Description": "Frame in which the channel's value is to be read.",
            "Levels": {
                f"{stream.role}_sensor": {
                    "Description": "Axes printed on the sensor, moving with it; right-handed.",
                    "RotationRule": "right-hand",
                    "SpatialAxes": "n/a",
                    "RotationOrder": "n/a",
                },
                "n/a": {"Description": "No frame: a clock or a counter."},
            },
        }
    }


def _dataset() -> dict[str, Any]:
    return {
        "Name": "Golf swings from inertial sensors",
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "GeneratedBy": [{"Name": "swingspread", "Version": imu.__version__}],
    }


_PARTICIPANTS: dict[str, Any] = {
    "handedness": {
        "Description": "Side the player plays from.",
        "Levels": {"right": "right-handed player", "left": "left-handed player"},
    }
}


def bids_label(text: str) -> str:
    """A BIDS label: ASCII letters and digits only, at most 32 of them."""
    return re.sub(r"[^A-Za-z0-9]", "", text)[:32]


def _player_key(manifest: Manifest) -> tuple[str, str]:
    return manifest.player.name, manifest.player.handedness


def _or_unknown(value: float) -> float | str:
    return float(value) if math.isfinite(value) else "n/a"


def _utc(text: str) -> str:
    """An ISO 8601 moment as BIDS wants it, in UTC; n/a when unknown."""
    try:
        when = datetime.fromisoformat(text)
        if when.tzinfo is None:
            return when.strftime("%Y-%m-%dT%H:%M:%S")
        return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError):  # the ends of the calendar are beyond UTC's
        return "n/a"


def _json(document: Mapping[str, Any]) -> str:
    return json.dumps(plain_json(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _tsv(table: pd.DataFrame) -> str:
    clean = table.map(
        lambda cell: re.sub(r"[\t\r\n]", " ", cell) if isinstance(cell, str) else cell
    )
    text: str = clean.to_csv(index=False, sep="\t", lineterminator="\n", na_rep="n/a")
    return text

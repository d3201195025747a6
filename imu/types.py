"""The plain data that flows through the house, from streams to analysis.

All arrays are copied on entry, shape-checked and made read-only. SI units and radians.
Frames: *world* is right-handed with z up; *sensor* is the axes printed on a sensor;
*segment* follows the ISB wrist recommendation (Wu et al. 2005, J Biomech 38:981-992):
y along the long axis pointing proximally (elbow for the forearm, butt for the club),
z towards the thumb, x = y × z out of the back of the hand, for the lead arm of a right-handed
player; left-handed players are mirrored on entry, so that signs keep their meaning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:  # large, and not needed to list or read recordings
    import pandas as pd
    from scipy.spatial.transform import Rotation

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

FOREARM = "forearm"
CLUB = "club"
BELT = "belt"
BALL = "ball"
PRACTICE = "practice"

LONG_AXIS: FloatArray = np.array([0.0, -1.0, 0.0])
"""Distal long axis in either segment frame: elbow to wrist, and grip to head."""
LONG_AXIS.flags.writeable = False


def frozen_array(
    values: ArrayLike, shape: tuple[int | None, ...], dtype: Any = np.float64, name: str = "array"
) -> NDArray[Any]:
    """Copy ``values`` into a read-only array, checking its shape (None: any length).

    Raises ValueError naming ``name`` and the actual shape.
    """
    array = np.array(values, dtype=dtype, copy=True)
    expected = len(shape) == array.ndim and all(
        want is None or want == have for want, have in zip(shape, array.shape, strict=True)
    )
    if not expected:
        wanted = tuple("N" if size is None else size for size in shape)
        raise ValueError(f"{name}: expected shape {wanted}, got {array.shape}")
    array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class Stream:
    """Samples of one sensor in its own clock, as sent (only scaled to SI).

    time : (N,) s, the sensor's own clock, strictly increasing.
    acc : (N, 3) m/s², specific force in the sensor frame. gyr : (N, 3) rad/s.
    seq : (N,) sample numbers, strictly increasing; a jump is a loss.
    host_time : (N,) s, arrival of each sample's packet at the host (NaN when unknown).
    rate_hz : nominal sampling rate. acc_range, gyr_range : full scale in m/s² and rad/s.
    """

    role: str
    time: FloatArray
    acc: FloatArray
    gyr: FloatArray
    seq: IntArray
    host_time: FloatArray
    rate_hz: float
    acc_range: float = np.inf
    gyr_range: float = np.inf

    def __post_init__(self) -> None:
        size = len(self.time)
        checked = {
            "time": frozen_array(self.time, (size,), name=f"{self.role} time"),
            "acc": frozen_array(self.acc, (size, 3), name=f"{self.role} acc"),
            "gyr": frozen_array(self.gyr, (size, 3), name=f"{self.role} gyr"),
            "seq": frozen_array(self.seq, (size,), np.int64, name=f"{self.role} seq"),
            "host_time": frozen_array(self.host_time, (size,), name=f"{self.role} host_time"),
        }
        for name, value in checked.items():
            object.__setattr__(self, name, value)

    def rows(self, kept: slice | BoolArray) -> Stream:
        """The stream of some of its samples alone: a slice, or (N,) True for those kept."""
        return replace(
            self,
            time=self.time[kept],
            acc=self.acc[kept],
            gyr=self.gyr[kept],
            seq=self.seq[kept],
            host_time=self.host_time[kept],
        )

    @property
    def gaps(self) -> IntArray:
        """(G, 2) index of the last sample before each loss, and the number of samples lost."""
        step = np.diff(self.seq)
        (before,) = np.nonzero(step > 1)
        return np.column_stack([before, step[before] - 1]).astype(np.int64)


@dataclass(frozen=True)
class Club:
    """The club as declared. Lengths in m; ``wrist_from_butt`` is where the lead wrist sits."""

    name: str
    length: float
    wrist_from_butt: float = 0.05

    @property
    def wrist_to_head(self) -> float:
        """Distance from the lead wrist to the clubhead, m (the lever Lc of the definitions)."""
        return self.length - self.wrist_from_butt


@dataclass(frozen=True)
class Player:
    """Who swings. ``handedness`` is "right" or "left"; ``arm_length`` hub to wrist, m."""

    name: str = ""
    handedness: str = "right"
    arm_length: float = 0.62


@dataclass(frozen=True)
class Manifest:
    """All that is known of a recording besides its samples: one player, one club, one block.

    sensors : per role, free facts such as ``rate_hz``, ``serial``, and the measured distances
    ``distance_to_wrist`` (forearm) and ``distance_from_butt`` (club), m.
    recorded_at : ISO 8601 with offset, or "" when unknown.
    """

    player: Player
    club: Club
    name: str = ""
    session: str = ""
    block: str = ""
    recorded_at: str = ""
    notes: str = ""
    sensors: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    source: str = ""


@dataclass(frozen=True, eq=False)
class Recording:
    """One recording: streams by role, manifest, faults seen; ``id`` is the content hash."""

    id: str
    manifest: Manifest
    streams: Mapping[str, Stream]
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class ClockModel:
    """Maps a sensor's clock to recording time: t = offset + (1 + drift) · (clock − reference).

    reference : s, sensor clock. offset : s. drift : dimensionless.
    offset_se, drift_se : standard errors of the two.
    """

    reference: float
    offset: float
    drift: float = 0.0
    offset_se: float = 0.0
    drift_se: float = 0.0

    def to_recording(self, clock: ArrayLike) -> FloatArray:
        """Sensor clock (s) to recording time (s)."""
        ticks = np.asarray(clock, dtype=np.float64) - self.reference
        return self.offset + (1.0 + self.drift) * ticks

    def to_sensor(self, time: ArrayLike) -> FloatArray:
        """Recording time (s) to sensor clock (s)."""
        elapsed = np.asarray(time, dtype=np.float64) - self.offset
        return self.reference + elapsed / (1.0 + self.drift)


@dataclass(frozen=True, eq=False)
class AlignedStreams:
    """Streams of one recording with ``time`` on one base: the club sensor's clock from its start.

    Samples are those of the recording, at their own rates; only ``time`` is mapped, and dated
    back by the delay of the sensor's low-pass filter.
    clocks : per role, the map from sensor clock to recording time. delays : s, per role, the
    delay that sample times were dated back by.
    """

    streams: Mapping[str, Stream]
    clocks: Mapping[str, ClockModel]
    warnings: tuple[str, ...] = ()
    delays: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class SwingWindow:
    """Where a swing lies, found from the streams alone, before any orientation.

    start, end : s, recording time, from rest (or the nearest to it) before to calm after.
    kind : "ball" or "practice". impact : s (for a practice swing, the time of greatest club
    rate). impact_se : s. top : s, rough time of the club's change of direction.
    takeaway : s, rough. waggles : movements of the club between settling and takeaway.
    settled : s, when the club came to the ball (NaN when not seen).
    """

    start: float
    end: float
    kind: str
    takeaway: float
    top: float
    impact: float
    impact_se: float
    finish: float
    waggles: int = 0
    notes: tuple[str, ...] = ()
    settled: float = float("nan")


@dataclass(frozen=True, eq=False)
class Motion:
    """Movement of both segments over one swing, on a uniform time base.

    time : (N,) s, recording time. forearm, club : N rotations, segment frame to world.
    forearm_rate, club_rate : (N, 3) rad/s, angular velocity in the world frame.
    reconstructed : (N,) True where a gap or clipped sample was bridged.
    """

    time: FloatArray
    forearm: Rotation
    club: Rotation
    forearm_rate: FloatArray
    club_rate: FloatArray
    reconstructed: BoolArray

    def __post_init__(self) -> None:
        size = len(self.time)
        for name, shape, dtype in (
            ("time", (size,), np.float64),
            ("forearm_rate", (size, 3), np.float64),
            ("club_rate", (size, 3), np.float64),
            ("reconstructed", (size,), np.bool_),
        ):
            value = frozen_array(getattr(self, name), shape, dtype, name=name)
            object.__setattr__(self, name, value)
        if len(self.forearm) != size or len(self.club) != size:
            raise ValueError(f"orientations: expected {size} rotations each")

    @property
    def arm_axis(self) -> FloatArray:
        """(N, 3) unit vectors elbow to wrist in the world frame."""
        return self.forearm.apply(LONG_AXIS.copy())  # scipy asks for a writable array

    @property
    def shaft_axis(self) -> FloatArray:
        """(N, 3) unit vectors grip to head in the world frame."""
        return self.club.apply(LONG_AXIS.copy())


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything found in one recording.

    swings, curves : tables with the columns of ``imu.columns``.
    calibration, clock : what was estimated, with standard errors, as plain JSON values.
    rejected : movements seen and not counted, one row each: start_s, end_s, reason.
    """

    recording_id: str
    version: str
    handedness: str
    settings: Mapping[str, Any]
    swings: pd.DataFrame
    curves: pd.DataFrame
    calibration: Mapping[str, Any]
    clock: Mapping[str, Any]
    rejected: pd.DataFrame
    warnings: tuple[str, ...] = ()

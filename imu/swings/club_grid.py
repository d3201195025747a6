"""The club's rotation on a coarse uniform grid, for finding movements in a long stream.

Bin means at ``GRID_HZ`` turn uneven, gappy samples into a short uniform series in one linear
pass. The shaft's direction in the sensor is found from the swings themselves: in fast turning
the acceleration points along the shaft, to the centre of the turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imu.fusion.rotation_scan import running_product, step_quaternions
from imu.types import BoolArray, FloatArray, Stream

GRID_HZ = 100.0

STILL_RATE = 0.6
"""rad/s. A club turning slower than this is still enough to call it a rest."""


@dataclass(frozen=True, eq=False)
class ClubGrid:
    """Club rotation on a uniform grid, sensor frame.

    time : (M,) s, bin centres. gyr : (M, 3) rad/s. speed, across : (M,) rad/s, length of the
    angular velocity, and of its part across the shaft. missing : (M,) bins without samples.
    shaft : (3,) unit direction of the shaft in the sensor (zeros when not to be told).
    """

    time: FloatArray
    gyr: FloatArray
    speed: FloatArray
    across: FloatArray
    missing: BoolArray
    shaft: FloatArray

    def index(self, time: float) -> int:
        """Bin at a time, held inside the grid."""
        place = round((time - float(self.time[0])) * GRID_HZ)
        return int(min(max(place, 0), len(self.time) - 1))


def club_grid(stream: Stream) -> ClubGrid:
    """Bin a club stream (``time`` in recording time)."""
    start = float(stream.time[0])
    bins = ((stream.time - start) * GRID_HZ).astype(np.int64)
    size = int(bins[-1]) + 1
    count = np.bincount(bins, minlength=size)
    gyr = np.empty((size, 3))
    full = count > 0
    for axis in range(3):
        total = np.bincount(bins, weights=stream.gyr[:, axis], minlength=size)
        gyr[:, axis] = total / np.maximum(count, 1)
    places = np.arange(size)
    if not full.all():
        known = places[full]
        for axis in range(3):
            gyr[~full, axis] = np.interp(places[~full], known, gyr[full, axis])
    time = np.asarray(start + (places + 0.5) / GRID_HZ, dtype=np.float64)
    shaft = shaft_direction(stream)
    speed: FloatArray = np.sqrt(np.einsum("ij,ij->i", gyr, gyr))
    along = gyr @ shaft
    across: FloatArray = np.sqrt(np.maximum(speed * speed - along * along, 0.0))
    return ClubGrid(time, gyr, speed, across, ~full, shaft)


def shaft_direction(stream: Stream) -> FloatArray:
    """(3,) unit direction of the shaft towards the grip in the sensor, from fast turning.

    Mean acceleration weighted by the squared turning rate; zeros when nothing turned fast.
    """
    squared = np.einsum("ij,ij->i", stream.gyr, stream.gyr)
    fast = squared > min(25.0, 0.25 * float(squared.max(initial=0.0)))
    acc = stream.acc[fast]
    force = np.einsum("ij,ij->i", acc, acc)
    strong = force > 15.0**2
    if np.count_nonzero(strong) < 5:
        return np.zeros(3)
    total = squared[fast][strong] @ acc[strong]
    direction: FloatArray = total / max(float(np.sqrt(total @ total)), 1e-12)
    return direction


def orientation_from(grid: ClubGrid, first: int, stop: int) -> Rotation:
    """Rotations of the sensor over bins first to stop, against its orientation at ``first``.

    Gyroscope only, bin by bin: good to a degree or so over a swing.
    """
    steps = step_quaternions(np.ascontiguousarray(grid.gyr[first:stop].T) / GRID_HZ)
    return Rotation.from_quat(running_product(steps).T, scalar_first=True)

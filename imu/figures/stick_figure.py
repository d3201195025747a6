"""Lead arm and club of one swing in space, frame by frame, for the browser to draw.

Only what two sensors can carry: a straight lead arm from a fixed shoulder, and the club from the
wrist. The shoulder does not move here because no sensor sees it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

from imu.types import LONG_AXIS, Club, FloatArray

FRAME_RATE_HZ = 250.0


@dataclass(frozen=True, eq=False)
class StickFrames:
    """Positions in m, z up, the shoulder at the origin, target at +x (−x for a left-hander, seen
    alike from the front).

    time : (N,) s from impact; N is 0 when orientation is known at fewer than two samples. wrist,
    grip, head : (N, 3). plane : (4, 3) corners of the mean plane of the shaft from shaft parallel
    to impact, (0, 3) when too few frames lie there. ground : height of the ground, m.
    """

    time: FloatArray
    wrist: FloatArray
    grip: FloatArray
    head: FloatArray
    plane: FloatArray
    ground: float
    target: float = 1.0


def _rotations(curves: pd.DataFrame, segment: str) -> Rotation:
    columns = [f"{segment}_q{axis}" for axis in "xyzw"]
    return Rotation.from_quat(curves[columns].to_numpy(float))


def stick_frames(
    curves: pd.DataFrame, swing: pd.Series, arm_length: float, club: Club, handedness: str
) -> StickFrames:
    """Positions of one swing's arm and club.

    curves : that swing's rows of the curve table. swing : its row of the swing table.
    arm_length : shoulder to wrist, m. handedness : left-handed players were mirrored on entry
    and are turned back here, so that the picture looks like the player.
    """
    known = curves[[f"{part}_q{axis}" for part in ("arm", "club") for axis in "wxyz"]]
    rows = curves[np.isfinite(known.to_numpy(float)).all(axis=1)]
    impact = float(swing["impact_s"])
    time = rows["t_s"].to_numpy(float) - impact
    if len(time) < 2:
        empty = np.empty((0, 3))
        return StickFrames(time[:0], empty, empty, empty, empty, 0.0)
    step = max(1, round(1.0 / (FRAME_RATE_HZ * max(float(np.median(np.diff(time))), 1e-4))))
    rows, time = rows.iloc[::step], time[::step]
    arm = _rotations(rows, "arm").apply(np.array(LONG_AXIS))
    shaft = _rotations(rows, "club").apply(np.array(LONG_AXIS))
    heading = _square_to_shaft(time, shaft, float(swing["takeaway_s"]) - impact)
    arm, shaft = heading.apply(arm), heading.apply(shaft)
    wrist = arm_length * arm
    grip = wrist - club.wrist_from_butt * shaft
    head = wrist + club.wrist_to_head * shaft
    if handedness == "left":
        flip = np.array([-1.0, 1.0, 1.0])
        wrist, grip, head, shaft = wrist * flip, grip * flip, head * flip, shaft * flip
    at_impact = int(np.argmin(np.abs(time)))
    parallel = float(swing["shaft_parallel_s"]) - impact
    plane = _shaft_plane(time, shaft, wrist[at_impact], head[at_impact], parallel)
    target = -1.0 if handedness == "left" else 1.0
    return StickFrames(time, wrist, grip, head, plane, float(head[at_impact, 2]), target)


def _square_to_shaft(time: FloatArray, shaft: FloatArray, takeaway: float) -> Rotation:
    """The turn about the vertical that brings the target to +x: square to the shaft's horizontal
    projection at address, on the lead-arm side (as for a right-handed player: mirrored on entry).
    """
    at = int(np.argmin(np.abs(time - takeaway))) if np.isfinite(takeaway) else 0
    away, across = shaft[at, 0], shaft[at, 1]
    if np.hypot(away, across) < 0.05:
        return Rotation.identity()
    return Rotation.from_euler("z", -0.5 * np.pi - np.arctan2(across, away))


def _shaft_plane(
    time: FloatArray, shaft: FloatArray, wrist: FloatArray, head: FloatArray, parallel: float
) -> FloatArray:
    """Corners of the plane in which the shaft turns in delivery, through the shaft at impact."""
    start = parallel if np.isfinite(parallel) else -0.06
    during = (time >= start) & (time <= 0.0)
    if during.sum() < 3:
        return np.empty((0, 3))
    _, _, axes = np.linalg.svd(shaft[during])
    normal = axes[2]
    along = (wrist - head) - ((wrist - head) @ normal) * normal
    along /= np.linalg.norm(along)
    across = np.cross(normal, along)
    corners = [(-0.12, -0.9), (-0.12, 0.9), (2.0, 0.9), (2.0, -0.9)]
    return np.array([head + up * along + side * across for up, side in corners])

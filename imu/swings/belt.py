"""The belt's turn, from a third sensor that a recording may have.

The pelvis turns mostly about the vertical. The vertical in the sensor's axes is where gravity lies
while the player stands over the ball; from there it is carried along by the sensor's own turning
(du/dt = u × ω, the kinematics of a fixed direction seen from a turning frame). The part of the
turning rate along it is the turn rate, positive towards the target: after mirroring, anticlockwise
from above for every player. Which way the sensor faces on the belt does not matter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imu.swings.quality import missing_in_words
from imu.swings.sampling import choose, crossings, value_at
from imu.swings.standard_errors import rate_noise
from imu.types import FloatArray, Stream
from imu.units import DEG, MS

METRIC, CURVE = "belt_before_arm_ms", "belt_turn_rate_deg_s"

STILL_BEFORE = (0.6, 0.1)
"""s before takeaway between which the player is taken to stand still."""
FEWEST_STILL = 10
SPAN = 0.02
"""s over which the turn rate is averaged before its change of sign is looked for."""
EARLIEST = 0.6
"""s before the arm's top from which the belt's change of direction is looked for."""
LEAST_TURN = 0.35
"""rad/s that the belt must reach towards the target to have turned at all."""
TILT_ERROR = 0.04
"""rad by which the vertical may be off after half a second of swing."""


@dataclass(frozen=True)
class BeltTurn:
    """When the belt turned back towards the target, s; its error; or why it is not known.

    se : s, of one swing alone. rate : (N,) rad/s at ``time``, of the whole swing.
    """

    time: float
    se: float
    why: str
    sample_times: FloatArray
    rate: FloatArray


def turn_rate(time: FloatArray, acc: FloatArray, gyr: FloatArray, still: slice) -> FloatArray:
    """(N,) rad/s about the vertical, from a sensor's acc (N, 3) m/s² and gyr (N, 3) rad/s.

    still : samples at rest, from which the vertical and the gyroscope's bias are taken; the
    result starts with them.
    """
    up = np.mean(acc[still], axis=0)
    x, y, z = (float(part) for part in up / np.linalg.norm(up))
    turning = gyr - np.mean(gyr[still], axis=0)
    steps = np.diff(time, prepend=time[0])
    middle = turning.copy()
    middle[1:] = 0.5 * (turning[1:] + turning[:-1])
    rate = np.empty(len(time))
    for n, ((a, b, c), (p, q, r), step) in enumerate(
        zip(middle.tolist(), turning.tolist(), steps.tolist(), strict=True)
    ):
        x, y, z = x + step * (y * c - z * b), y + step * (z * a - x * c), z + step * (x * b - y * a)
        size = math.sqrt(x * x + y * y + z * z)
        x, y, z = x / size, y / size, z / size
        rate[n] = x * p + y * q + z * r
    return rate


def belt_turn(belt: Stream, takeaway: float, arm_top: float, impact: float, end: float) -> BeltTurn:
    """The belt's last change from turning away to turning towards the target before impact.

    belt : the aligned stream. takeaway, arm_top, impact, end : s, recording time.
    """

    def unknown(why: str) -> BeltTurn:
        return BeltTurn(math.nan, math.nan, why, np.empty(0), np.empty(0))

    if not all(map(math.isfinite, (takeaway, arm_top, impact))):
        return unknown("takeaway, arm top or impact not found")
    first, still_end, last = np.searchsorted(
        belt.time, [takeaway - STILL_BEFORE[0], takeaway - STILL_BEFORE[1], max(end, impact)]
    )
    if still_end - first < FEWEST_STILL or belt.time[min(last, len(belt.time) - 1)] < impact:
        return unknown("the belt sensor has no samples around this swing")
    time, gyr = belt.time[first:last], belt.gyr[first:last]
    if np.max(np.diff(time)) > 3.0 * SPAN:
        return unknown("the belt sensor lost samples during this swing")
    rate = turn_rate(time, belt.acc[first:last], gyr, slice(0, int(still_end - first)))
    width = max(1, round(SPAN * belt.rate_hz)) | 1
    smooth = np.convolve(rate, np.full(width, 1.0 / width), mode="same")
    begin, stop = np.searchsorted(time, [arm_top - EARLIEST, impact])
    begin = max(begin, int(still_end - first))
    if stop - begin < 3 or np.max(smooth[begin:stop]) < LEAST_TURN:
        return BeltTurn(math.nan, math.nan, "the belt was not seen to turn", time, rate)
    greatest = begin + int(np.argmax(smooth[begin:stop]))
    back = float(choose(crossings(smooth[None, begin : greatest + 1], rising=True), math.nan)[0])
    if math.isnan(back):
        return BeltTurn(math.nan, math.nan, "the belt was not seen to turn back", time, rate)
    place = begin + back
    slope = _slope(time, smooth, place, width)
    across = math.sqrt(max(float(np.sum(gyr[int(place)] ** 2)) - rate[int(place)] ** 2, 0.0))
    doubt = math.hypot(rate_noise(gyr) / math.sqrt(width), TILT_ERROR * across)
    grid = 1.0 / belt.rate_hz / math.sqrt(12.0)
    moment = float(value_at(time[None], np.array([place]))[0])
    return BeltTurn(moment, math.hypot(doubt / slope, grid), "", time, rate)


def _slope(time: FloatArray, smooth: FloatArray, place: float, width: int) -> float:
    low, high = max(int(place) - width, 0), min(int(place) + width + 1, len(time) - 1)
    rise = (smooth[high] - smooth[low]) / (time[high] - time[low])
    return max(float(rise), 1e-3)


def add_belt(
    row: Mapping[str, object], curve: Mapping[str, np.ndarray], belt: Stream, clock_se: float
) -> tuple[dict[str, object], dict[str, np.ndarray]]:
    """A swing's row and curves with what the belt's sensor says.

    row : of the swing table, with its events. curve : its curves. clock_se : s, how well the
    belt's clock is known against the club's, shared by all swings of a recording.
    """

    def moment(name: str) -> float:
        return float(row[name])  # type: ignore[arg-type]

    end = float(curve["t_s"][-1])
    turn = belt_turn(belt, moment("takeaway_s"), moment("arm_top_s"), moment("impact_s"), end)
    own = math.hypot(turn.se, moment("arm_top_s_se"))
    added = {
        METRIC: (moment("arm_top_s") - turn.time) / MS,
        f"{METRIC}_se": math.hypot(own, clock_se) / MS,
        f"{METRIC}_se_swing": own / MS,
    }
    if turn.why:
        why = missing_in_words({METRIC: turn.why})
        said = "; ".join(part for part in (str(row["notes"]), *why) if part)
        added |= {"notes": said}  # type: ignore[dict-item]
    at = curve["t_s"]
    seen = np.full(len(at), math.nan)
    if len(turn.sample_times):
        seen = np.interp(at, turn.sample_times, turn.rate, left=math.nan, right=math.nan) / DEG
    return {**row, **added}, {**curve, CURVE: seen}

"""A third, modelled sensor on the belt, beside a simulated session's two.

The pelvis turns about the vertical: away from the target from a little after takeaway, back before
the lead arm turns, on past impact and to the finish, along a smooth path through given angles; it
tips a little forwards and to the side as it goes. The sensor hangs on it at any angle, on its own
clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation

from imu.recordings.content import make_recording
from imu.simulate.session import SimulatedSession
from imu.types import BELT, FloatArray, Recording, Stream
from imu.units import DEG

GRAVITY = 9.81
AWAY, AT_IMPACT, AT_FINISH = -45.0 * DEG, 40.0 * DEG, 95.0 * DEG
"""Turn of the pelvis from address at its turning back, at impact and at the finish (common
practice, no source)."""
TIP = 0.25
"""Tipping, as a part of the turn."""


@dataclass(frozen=True, eq=False)
class BeltSession:
    """The recording with a belt stream, and per swing when the belt really turned back, s of
    true time."""

    recording: Recording
    turned_back: FloatArray


def with_belt(
    session: SimulatedSession,
    leads: Sequence[float],
    seed: int,
    rate_hz: float = 200.0,
    margin: float = 0.05,
) -> BeltSession:
    """Add a belt sensor to a simulated session.

    leads : s, per swing of its truth, by which the belt turns back before the arm does. margin :
    s by which it starts later and ends sooner than the club's sensor.
    """
    rng = np.random.default_rng(seed)
    club = session.measured["club"]
    begin, end = float(club.true_time[0]), float(club.true_time[-1])
    events: dict[str, FloatArray] = {
        name: np.array([swing["events_s"][name] for swing in session.truth.swings], float)
        for name in ("takeaway", "arm_top", "impact", "finish")
    }
    turn = _turn(events, leads, begin, end)
    skew = float(rng.normal(0.0, 20e-6))
    offset = float(rng.uniform(2.0, 80.0))
    count = int((end - begin - 2.0 * margin) * rate_hz)
    time = begin + margin + np.arange(count) / rate_hz / (1.0 + skew)
    acc, gyr = _felt(turn, time, Rotation.random(rng=rng))
    if session.recording.manifest.player.handedness == "left":
        acc, gyr = acc * [1.0, -1.0, 1.0], gyr * [-1.0, 1.0, -1.0]
    acc += rng.normal(0.0, 0.03, acc.shape) + rng.normal(0.0, 0.1, 3)
    gyr += rng.normal(0.0, 0.003, gyr.shape) + rng.normal(0.0, 0.006, 3)
    packet = 4
    sent = time[np.minimum((np.arange(len(time)) // packet + 1) * packet - 1, len(time) - 1)]
    late = rng.gamma(1.3, 0.003, len(time) // packet + 1)[np.arange(len(time)) // packet]
    stream = Stream(
        BELT,
        np.round((offset + (1.0 + skew) * time) * 1e6) / 1e6,
        acc,
        gyr,
        np.arange(len(time)),
        np.maximum.accumulate(sent + 0.012 + late),
        rate_hz,
        16.0 * GRAVITY,
        2000.0 * DEG,
    )
    manifest = session.recording.manifest
    sensors = {**manifest.sensors, BELT: {"rate_hz": rate_hz, "filter_delay_s": 0.0}}
    recording = make_recording(
        replace(manifest, sensors=sensors), {**session.recording.streams, BELT: stream}
    )
    return BeltSession(recording, events["arm_top"] - np.asarray(leads, float))


def _turn(
    events: dict[str, FloatArray], leads: Sequence[float], begin: float, end: float
) -> CubicHermiteSpline:
    """Angle about the vertical, rad, at rest wherever it changes direction."""
    knots = [(begin - 1.0, 0.0, 0.0)]
    for takeaway, arm_top, impact, finish, lead in zip(
        events["takeaway"],
        events["arm_top"],
        events["impact"],
        events["finish"],
        leads,
        strict=True,
    ):
        stop = max(finish, impact + 0.3)
        knots += [
            (takeaway + 0.05, 0.0, 0.0),
            (arm_top - lead, AWAY, 0.0),
            (impact, AT_IMPACT, 6.0),
            (stop, AT_FINISH, 0.0),
            (stop + 1.5, AT_FINISH, 0.0),
            (stop + 3.0, 0.0, 0.0),
        ]
    knots.append((end + 10.0, 0.0, 0.0))
    time, angle, rate = np.array(knots).T
    return CubicHermiteSpline(time, angle, rate)


def _felt(
    turn: CubicHermiteSpline, time: FloatArray, mount: Rotation
) -> tuple[FloatArray, FloatArray]:
    """Specific force and angular rate in sensor axes, (N, 3) each, sensor at the turning axis."""

    def pelvis(at: FloatArray) -> Rotation:
        angle = turn(at)
        return Rotation.from_euler("ZX", np.column_stack([angle, TIP * np.abs(angle)]))

    step = 1e-4
    rate = (pelvis(time - step).inv() * pelvis(time + step)).as_rotvec() / (2.0 * step)
    force = pelvis(time).inv().apply([0.0, 0.0, GRAVITY])
    return mount.inv().apply(force), mount.inv().apply(rate)

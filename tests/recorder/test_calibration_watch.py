"""The calibration steps are followed in order, and wandering rolls are told."""

from __future__ import annotations

import numpy as np

from imu.recorder.calibration_watch import CalibrationWatch
from imu.recorder.packet import Flag, Packet, nominal_scales
from imu.types import CLUB, FOREARM, FloatArray

CODE = 0x45
RATE = 500.0


def send(watch: CalibrationWatch, forearm: FloatArray, club: FloatArray) -> None:
    scale = nominal_scales(CODE)[1]
    for start in range(0, len(forearm), 19):
        for role, rates in ((FOREARM, forearm), (CLUB, club)):
            counts = np.zeros((len(rates[start : start + 19]), 6), np.int16)
            counts[:, 3:] = np.rint(rates[start : start + 19] / scale)
            packet = Packet(1, start, start * 2000, Flag(0), CODE, counts)
            watch.feed(role, packet, RATE)


def still(seconds: float) -> FloatArray:
    return np.random.default_rng(1).normal(0, 0.02, (int(seconds * RATE), 3))


def rolling(times: int, axis: tuple[float, float, float], wander: float = 0.0) -> FloatArray:
    t = np.arange(0, times * 1.2, 1 / RATE)
    along = 3.0 * np.sin(2 * np.pi * t / 1.2)
    aside = wander * 3.0 * np.cos(2 * np.pi * t / 0.9)
    return np.outer(along, axis) + np.outer(aside, (0, 0, 1.0))


def test_the_steps_are_followed_in_order() -> None:
    watch = CalibrationWatch()
    send(watch, still(1.2), still(1.2))
    assert watch.step == "still before" and 1.0 < watch.still_s < 1.3
    send(watch, still(1.0), still(1.0))
    assert watch.step == "forearm roll"
    roll = rolling(5, (0.0, 1.0, 0.0))
    send(watch, roll, 0.2 * roll)
    assert watch.step == "club roll"
    send(watch, still(len(roll) / RATE), rolling(5, (0.6, 0.8, 0.0)))
    assert watch.step == "still after"
    send(watch, still(4), still(4))
    assert watch.step == "done"
    assert watch.as_dict()["quality"] == "good"


def test_moving_starts_the_stillness_anew() -> None:
    watch = CalibrationWatch()
    send(watch, still(1.2), still(1.2))
    send(watch, rolling(1, (1, 0, 0)), still(1.2))
    send(watch, still(1.2), still(1.2))
    assert watch.step == "still before"


def test_rolls_that_wander_are_told() -> None:
    watch = CalibrationWatch()
    send(watch, still(4), still(4))
    roll = rolling(6, (0.0, 1.0, 0.0), wander=0.7)
    send(watch, roll, roll)
    send(watch, roll, roll)
    send(watch, still(4), still(4))
    assert watch.step == "done"
    assert watch.as_dict()["quality"].startswith("fair")


def test_a_simulated_players_calibration_is_recognised() -> None:
    from imu.simulate.plan import SessionPlan
    from imu.simulate.session import simulate_session

    session = simulate_session(SessionPlan(("stand", "calibrate")), "clean", 2)
    watch = CalibrationWatch()
    streams = session.recording.streams
    both = [streams[role].gyr[::2] for role in (FOREARM, CLUB)]
    size = min(map(len, both))
    send(watch, both[0][:size], both[1][:size])
    assert (watch.step, watch.as_dict()["quality"]) == ("done", "good")
    assert watch.forearm.rolls == watch.club.rolls == 4

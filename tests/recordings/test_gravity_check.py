"""A gyroscope's unit and signs are told from gravity's turn between rests, without a swing."""

from __future__ import annotations

from pathlib import Path

import loggers
import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation, RotationSpline

from imu.errors import SwingspreadError
from imu.recordings.gravity_check import better_scale, gravity_errors, rest_pairs
from imu.recordings.importer import import_csv

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swings"
DEGREES = 180.0 / np.pi
SCALES = {"rad/s": 1.0, "deg/s": 1 / DEGREES, "mdeg/s": 1e-3 / DEGREES, "reversed": -1.0}


def calm_turns(seed=1, rate=200, postures=8, tremor=0.05, seconds=2.0):
    """Turns between random postures, at rest half of the ``seconds`` of each; exact kinematics.

    Orientation and angular rate come from scipy's RotationSpline over a path that stands still
    in every posture.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(int(seconds * rate * postures)) / rate
    knots = np.arange(postures + 1)
    spline = RotationSpline(knots, Rotation.random(postures + 1, random_state=rng))
    stops = np.repeat(knots, 2)[:-1].astype(float)
    moments = np.sort(np.concatenate([2.0 * knots, 2.0 * knots[:-1] + 1.0]))
    pace = PchipInterpolator(moments, stops)
    share = time * 2.0 / seconds
    where = np.clip(pace(share), 0, postures)
    orientation = spline(where)
    gyr = spline(where, 1) * (pace(share, 1) * 2.0 / seconds)[:, None]
    up = orientation.inv().apply([0, 0, 1])
    acc = 9.80665 * up + rng.normal(0, tremor, (len(time), 3))
    return time, acc, gyr + rng.normal(0, 0.01, gyr.shape), up


def test_the_right_scale_foretells_gravity_and_no_other_does():
    time, acc, gyr, _ = calm_turns()
    errors = gravity_errors(time, acc, gyr, SCALES)
    assert errors is not None
    assert errors["rad/s"] < 2 / DEGREES
    assert min(error for name, error in errors.items() if name != "rad/s") > 35 / DEGREES
    assert better_scale(errors, "rad/s") == ""


@pytest.mark.parametrize(
    ("factor", "right"), [(DEGREES, "deg/s"), (1e3 * DEGREES, "mdeg/s"), (-1.0, "reversed")]
)
def test_a_wrong_scale_is_told_with_the_right_one(factor, right):
    time, acc, gyr, _ = calm_turns(seed=2)
    assert better_scale(gravity_errors(time, acc, factor * gyr, SCALES), "rad/s") == right


def test_without_rests_in_several_postures_nothing_is_said():
    time, acc, gyr, _ = calm_turns()
    few = time < 3.9
    assert gravity_errors(time[few], acc[few], gyr[few], SCALES) is None
    shaken = acc + np.random.default_rng(1).normal(0, 5, acc.shape)
    assert gravity_errors(time, shaken, gyr, SCALES) is None
    assert better_scale(None, "rad/s") == ""


def test_up_is_read_right_at_every_rest():
    time, acc, _, up = calm_turns()
    pairs = rest_pairs(time, acc)
    assert len(pairs) >= 5
    for start, end, before, after in pairs:
        assert before @ up[start] > np.cos(4 / DEGREES)
        assert after @ up[end] > np.cos(4 / DEGREES)
        assert before @ after < np.cos(35 / DEGREES)


@pytest.mark.parametrize("session", ["clean", "typical", "harsh"])
def test_on_the_practice_sessions(session):
    """Made outside the project by a physics engine; units are stated in their README."""
    folder = SHARED / session
    if not folder.is_dir():
        pytest.skip("the practice sessions are not beside the repository")
    recording = import_csv(folder / "forearm.csv.gz", folder / "club.csv.gz", folder / "meta.json")
    judged = 0
    for stream in recording.streams.values():
        errors = gravity_errors(stream.time, stream.acc, stream.gyr, SCALES)
        if errors is None:
            continue
        judged += 1
        assert errors["rad/s"] < 10 / DEGREES
        assert min(error for name, error in errors.items() if name != "rad/s") > 35 / DEGREES
    assert judged


def write_calm(folder, factor):
    files = loggers.write_export(folder)
    time, acc, gyr, _ = calm_turns(seed=3, seconds=8.0)
    rows = [
        [f"{t + 0.3:.6f}", str(i), str(round(t * 1e6)), *(f"{v:.6f}" for v in (*a, *(factor * g)))]
        for i, (t, a, g) in enumerate(zip(time, acc, gyr, strict=True))
    ]
    loggers.write_csv(files["forearm"], rows)
    return files


def test_a_calm_file_with_reversed_signs_is_refused_and_mended_by_the_map(tmp_path):
    files = write_calm(tmp_path, -1.0)
    with pytest.raises(SwingspreadError, match=r'signs are reversed.*"gx": "-gx"'):
        import_csv(files["forearm"], None, files["meta"])
    columns = {axis: f"-{axis}" if axis[0] == "g" else axis for axis in loggers.HEADER[3:]}
    columns |= {"t_host": "t_host_s", "seq": "seq", "t_sensor": "t_sensor_us"}
    recording = import_csv(files["forearm"], None, files["meta"], {"columns": columns})
    table = np.loadtxt(files["forearm"], delimiter=",", skiprows=1)
    np.testing.assert_array_equal(recording.streams["forearm"].gyr, -table[:, 6:])
    np.testing.assert_array_equal(recording.streams["forearm"].acc, table[:, 3:6])


def test_a_calm_file_in_degrees_is_refused_though_no_rate_is_impossible(tmp_path):
    files = write_calm(tmp_path, DEGREES)
    with pytest.raises(SwingspreadError, match="only if its unit is deg/s, not rad/s"):
        import_csv(files["forearm"], None, files["meta"])
    loggers.change_meta(files["meta"], lambda d: d["units"].update(gyr="deg/s"))
    assert import_csv(files["forearm"], None, files["meta"]).streams["forearm"].gyr.max() < 2.6

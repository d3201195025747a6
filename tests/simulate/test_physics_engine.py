"""Our movement-to-sensor code against an independent physics engine's own sensors (MuJoCo)."""

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from imu.simulate.kinematics import COORDINATES, Body
from imu.simulate.paths import Curve
from imu.simulate.sensor import SensorSite, ideal_signal
from imu.types import CLUB, FOREARM

mujoco = pytest.importorskip("mujoco", reason="needs the physics engine of the test extra")

STEP = 2.5e-4
ARM = 0.62
TILTS = {"arm": 0.0, "club": 0.6}
HANGING = Rotation.from_matrix([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
MOUNTS = {
    FOREARM: SensorSite(Rotation.from_euler("zyx", [-1.4, 0.1, 0.4]), np.array([0.0, 0.06, 0.036])),
    CLUB: SensorSite(Rotation.from_euler("zyx", [-1.6, 0.05, 2.1]), np.array([0.01, -0.28, 0.005])),
}


def _wxyz(rotation: Rotation) -> str:
    return " ".join(str(x) for x in np.roll(rotation.as_quat(), 1))


def _model() -> str:
    """Arm on a ball joint, club on a ball joint at the wrist; masses as of a player and an iron."""
    arm, club = MOUNTS[FOREARM], MOUNTS[CLUB]
    at_arm = np.array([0.0, -ARM, 0.0]) + arm.point
    return f"""
    <mujoco>
      <compiler inertiafromgeom="true"/>
      <option timestep="{STEP}" integrator="RK4" gravity="0 0 -9.80665"/>
      <worldbody>
        <body name="arm" pos="0 0 1.4" quat="{_wxyz(HANGING)}">
          <joint name="hub" type="ball" damping="0.4"/>
          <geom type="capsule" size="0.04" mass="5" fromto="0 0 0 0 -{ARM} 0"/>
          <site name="arm_site" pos="{at_arm[0]} {at_arm[1]} {at_arm[2]}"
                quat="{_wxyz(arm.mount)}"/>
          <body name="club" pos="0 -{ARM} 0">
            <joint name="wrist" type="ball" damping="0.02"/>
            <geom type="capsule" size="0.006" mass="0.15" fromto="0 0.05 0 0 -0.88 0"/>
            <geom type="sphere" size="0.03" mass="0.26" pos="0.02 -0.88 0"/>
            <site name="club_site" pos="{club.point[0]} {club.point[1]} {club.point[2]}"
                  quat="{_wxyz(club.mount)}"/>
          </body>
        </body>
      </worldbody>
      <sensor>
        <gyro site="arm_site"/><accelerometer site="arm_site"/>
        <gyro site="club_site"/><accelerometer site="club_site"/>
      </sensor>
    </mujoco>"""


@pytest.fixture(scope="module")
def engine_swing():
    """Time, arm and club orientations, and the engine's sensor output, of a driven downswing."""
    model = mujoco.MjModel.from_xml_string(_model())
    data = mujoco.MjData(model)
    top = Rotation.from_euler("xyz", [0.15, -0.25, 2.3])
    data.qpos[:4] = np.roll(top.as_quat(), 1)
    data.qpos[4:] = np.roll(Rotation.from_euler("xz", [1.45, 0.2]).as_quat(), 1)
    # Constant in the arm's own axes, so that nothing jumps between the engine's steps.
    data.qfrc_applied[:3] = [25.0, 0.0, 80.0]
    rows = []
    for _ in range(1200):
        mujoco.mj_forward(model, data)
        rows.append(
            [data.time, *data.body("arm").xquat, *data.body("club").xquat, *data.sensordata]
        )
        mujoco.mj_step(model, data)
    return np.array(rows)


def _body(rows: np.ndarray) -> Body:
    """Our joint coordinates of the engine's orientations, smooth by quintic splines."""
    time = rows[:, 0]
    curves = {name: Curve.through([(0.0, 0.0, 0.0, 0.0)]) for name in COORDINATES}

    def put(name: str, values: np.ndarray) -> None:
        spline = make_interp_spline(time, values, k=5)
        knots = time[::4]
        curves[name] = Curve.through(
            zip(knots, spline(knots), spline(knots, 1), spline(knots, 2), strict=True)
        )

    angles = {}
    for name, columns in (("arm", slice(1, 5)), ("club", slice(5, 9))):
        curves[f"{name}_tilt"] = Curve.through([(0.0, TILTS[name], 0.0, 0.0)])
        turn = Rotation.from_quat(np.roll(rows[:, columns], -1, axis=1)) * HANGING.inv()
        turn = Rotation.from_euler("x", TILTS[name]) * turn
        angles[name] = np.unwrap(turn.as_euler("YXZ"), axis=0)
        assert np.abs(angles[name][:, 1]).max() < 1.4, "too near the chain's singular posture"
    put("arm_angle", -angles["arm"][:, 0])
    put("arm_elevation", angles["arm"][:, 1])
    put("arm_roll", angles["arm"][:, 2])
    put("lag", angles["club"][:, 0] - angles["arm"][:, 0])
    put("club_elevation", angles["club"][:, 1])
    put("club_twist", angles["club"][:, 2])
    return Body(curves, ARM)


def test_the_engine_really_swings(engine_swing):
    gyro = np.linalg.norm(engine_swing[:, 15:18], axis=1)
    assert 15.0 < gyro.max() < 80.0
    assert np.abs(engine_swing[:, 18:21]).max() > 100.0


@pytest.mark.parametrize(("role", "first"), [(FOREARM, 9), (CLUB, 15)])
def test_gyroscope_and_accelerometer_agree_with_the_engine(engine_swing, role, first):
    signal = ideal_signal(_body(engine_swing), MOUNTS[role], role)
    inner = engine_swing[40:-40]
    acc, gyr = signal(inner[:, 0])
    assert np.abs(gyr - inner[:, first : first + 3]).max() < 1e-6
    error = np.abs(acc - inner[:, first + 3 : first + 6]).max()
    assert error < 1e-5 * np.abs(inner[:, first + 3 : first + 6]).max()

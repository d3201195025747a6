"""Quaternion helpers against scipy's Rotation, the reference implementation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation, Slerp

from imu.fusion import quaternion as qt

RANDOM = np.random.default_rng(20)
A = Rotation.random(200, rng=RANDOM)
B = Rotation.random(200, rng=RANDOM)
VECTORS = RANDOM.normal(size=(200, 3))


def wxyz(rotation: Rotation) -> np.ndarray:
    return rotation.as_quat(scalar_first=True)


def same(quaternion: np.ndarray, rotation: Rotation) -> None:
    other = Rotation.from_quat(quaternion, scalar_first=True)
    assert np.max((other.inv() * rotation).magnitude()) < 1e-14


def test_product_and_inverse_match_scipy() -> None:
    same(qt.multiply(wxyz(A), wxyz(B)), A * B)
    same(qt.conjugate(wxyz(A)), A.inv())


def test_rotation_of_vectors_matches_scipy() -> None:
    np.testing.assert_allclose(qt.rotate(wxyz(A), VECTORS), A.apply(VECTORS), atol=1e-14)
    np.testing.assert_allclose(
        qt.rotate_back(wxyz(A), VECTORS), A.apply(VECTORS, inverse=True), atol=1e-14
    )
    np.testing.assert_allclose(qt.to_matrix(wxyz(A)), A.as_matrix(), atol=1e-14)


def test_leading_axes_broadcast() -> None:
    several = qt.rotate(wxyz(A)[:, None], VECTORS[None, :7])
    assert several.shape == (200, 7, 3)
    np.testing.assert_allclose(several[3, 5], A[3].apply(VECTORS[5]), atol=1e-14)


@given(
    st.floats(0.0, 3.14),
    st.floats(-1, 1),
    st.floats(-1, 1),
    st.floats(-1, 1),
)
def test_rotation_vector_round_trip(angle: float, x: float, y: float, z: float) -> None:
    axis = np.array([x, y, z])
    size = np.linalg.norm(axis)
    if size < 1e-3:
        return
    rotvec = angle * axis / size
    np.testing.assert_allclose(qt.to_rotvec(qt.from_rotvec(rotvec)), rotvec, atol=1e-13)
    same(qt.from_rotvec(rotvec), Rotation.from_rotvec(rotvec))


@pytest.mark.parametrize("angle", [0.0, 1e-12, 1e-5, 1e-4, 2e-4, 1.0, np.pi])
def test_rotation_vector_keeps_its_digits_near_zero_and_half_turn(angle: float) -> None:
    found = qt.to_rotvec(qt.from_rotvec([0.0, angle, 0.0]))
    np.testing.assert_allclose(found, [0.0, angle, 0.0], rtol=1e-14, atol=1e-300)


def test_sign_of_a_quaternion_does_not_matter() -> None:
    np.testing.assert_allclose(qt.to_rotvec(-wxyz(A)), qt.to_rotvec(wxyz(A)), atol=1e-14)


def test_slerp_and_interpolate_match_scipy() -> None:
    time = np.cumsum(RANDOM.uniform(0.5, 1.5, 200))
    at = RANDOM.uniform(time[0], time[-1], 1000)
    same(qt.interpolate(time, wxyz(A), at), Slerp(time, A)(at))


def test_interpolate_does_not_extrapolate() -> None:
    out = qt.interpolate([0.0, 1.0], wxyz(A)[:2], [-0.1, 0.0, 1.0, 1.1])
    assert np.isnan(out[[0, 3]]).all()
    assert np.isfinite(out[1:3]).all()
    with pytest.raises(ValueError, match="expected shape"):
        qt.interpolate([0.0], wxyz(A)[:1], [0.0])


def test_between_directions_turns_one_into_the_other_by_the_least_angle() -> None:
    start, end = VECTORS, RANDOM.normal(size=(200, 3))
    turn = qt.between_directions(start, end)
    unit = end / np.linalg.norm(end, axis=1, keepdims=True)
    turned = qt.rotate(turn, start / np.linalg.norm(start, axis=1, keepdims=True))
    np.testing.assert_allclose(turned, unit, atol=1e-12)
    cosine = np.sum(start * end, axis=1)
    cosine /= np.linalg.norm(start, axis=1) * np.linalg.norm(end, axis=1)
    angle = np.linalg.norm(qt.to_rotvec(turn), axis=1)
    np.testing.assert_allclose(angle, np.arccos(cosine), atol=1e-7)


def test_between_opposite_directions_is_half_a_turn() -> None:
    turn = qt.between_directions([0.0, 0.0, 2.0], [0.0, 0.0, -1.0])
    np.testing.assert_allclose(qt.rotate(turn, [0.0, 0.0, 1.0]), [0.0, 0.0, -1.0], atol=1e-14)

"""Selected inverse of a block chain against the dense inverse of numpy."""

import numpy as np
import pytest

from imu.fusion.one_sensor.block_tridiagonal import diagonal_of_inverse


def chain(size: int, width: int, seed: int) -> np.ndarray:
    random = np.random.default_rng(seed)
    root = np.zeros((size * width, size * width))
    for k in range(size):
        here = slice(k * width, (k + 1) * width)
        root[here, here] = random.normal(size=(width, width)) + 3 * np.eye(width)
        if k:
            root[here, (k - 1) * width : k * width] = random.normal(size=(width, width))
    return root @ root.T


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 8, 17, 64, 101])
@pytest.mark.parametrize("width", [1, 3])
def test_blocks_match_the_dense_inverse(size: int, width: int) -> None:
    matrix = chain(size, width, size)
    view = matrix.reshape(size, width, size, width).swapaxes(1, 2)
    index = np.arange(size)
    found = diagonal_of_inverse(view[index, index], view[index[:-1], index[1:]])
    dense = np.linalg.inv(matrix).reshape(size, width, size, width).swapaxes(1, 2)
    np.testing.assert_allclose(found, dense[index, index], rtol=1e-9, atol=1e-12)


def test_wrong_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="expected"):
        diagonal_of_inverse(np.zeros((3, 2, 2)), np.zeros((3, 2, 2)))

"""Variances of a chain of small states without inverting the whole matrix.

The information matrix of a smoother (``tilt_smoother``) is block tridiagonal. Its inverse is full,
but only the blocks on the diagonal are wanted. Cyclic reduction (Heller 1976, SIAM J Numer Anal
13:484-496) removes every second state at once, level by level; on the way back each removed state's
covariance follows from its two neighbours' (the selected inverse of Takahashi, Fagan & Chin 1973).
All levels are batched, so the work is linear in the chain and free of Python loops over states.
"""

from __future__ import annotations

import numpy as np

from imu.types import FloatArray


def diagonal_of_inverse(diagonal: FloatArray, upper: FloatArray) -> FloatArray:
    """Diagonal blocks of the inverse of a symmetric positive definite block chain.

    diagonal : (K, m, m). upper : (K − 1, m, m), block between state k and k + 1.
    Returns (K, m, m): the covariance of each state. Raises ValueError on wrong shapes and
    LinAlgError when the matrix is singular.
    """
    size, width = len(diagonal), diagonal.shape[-1]
    if diagonal.shape != (size, width, width) or upper.shape != (size - 1, width, width):
        raise ValueError(f"expected (K, m, m), (K-1, m, m); got {diagonal.shape}, {upper.shape}")
    return _selected(diagonal, upper)[0]


def _transpose(blocks: FloatArray) -> FloatArray:
    return np.swapaxes(blocks, -1, -2)


def _selected(diagonal: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Blocks of the inverse on the diagonal (K) and just above it (K − 1)."""
    size, width = len(diagonal), diagonal.shape[-1]
    if size == 1:
        last = np.linalg.inv(diagonal).astype(np.float64)
        return last, np.empty((0, width, width))
    # Odd states go. State 2i + 1 sits between 2i and 2i + 2; the last may lack a right neighbour.
    inverse = np.linalg.inv(diagonal[1::2])
    odd = len(inverse)
    left = _transpose(upper[0::2])  # (odd): block between 2i + 1 and 2i
    right = upper[1::2]  # (odd or odd − 1): block between 2i + 1 and 2i + 2
    linked = len(right)
    gain_left = inverse @ left
    gain_right = inverse[:linked] @ right
    kept = diagonal[0::2].copy()
    kept[:odd] -= _transpose(left) @ gain_left
    kept[1 : linked + 1] -= _transpose(right) @ gain_right
    across = -_transpose(left[:linked]) @ gain_right
    even, between = _selected(kept, across)

    cov = np.empty_like(diagonal)
    cross = np.empty_like(upper)
    cov[0::2] = even
    # x_odd = noise − G_left x_left − G_right x_right, noise of covariance ``inverse``.
    to_left = -gain_left @ even[:odd]
    to_left[:linked] -= gain_right @ _transpose(between)
    to_right = -gain_right @ even[1 : linked + 1] - gain_left[:linked] @ between
    cross[0::2] = _transpose(to_left)
    cross[1::2] = to_right
    own = inverse - to_left @ _transpose(gain_left)
    own[:linked] -= to_right @ _transpose(gain_right)
    cov[1::2] = own
    return cov, cross

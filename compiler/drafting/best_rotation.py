"""The rotation nearest to a matrix, of many at once."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.mesh.arrays import Floats

# Newton's method from above the largest root doubles its right digits each time once it is near.
_NEWTON_STEPS: Final = 12
_TINY: Final = 1e-300


def best_rotations(matrices: Floats) -> Floats:
    """The rotations R (n, 3, 3) with the largest trace of R^T M, for matrices M (n, 3, 3).

    Where M is a sum of products of turned and unturned vectors, it is the one that turns them best: the quaternion for
    the largest eigenvalue of a symmetric matrix (Horn, "Closed-Form Solution of Absolute Orientation Using Unit
    Quaternions", 1987); the eigenvalue by Newton's method, the quaternion as a column of the adjugate (Theobald, "Rapid
    Calculation of RMSDs Using a Quaternion-Based Characteristic Polynomial", 2005). Where several rotations are as good
    as each other, one of them or none at all.
    """
    size = np.sqrt((matrices * matrices).sum(axis=(1, 2)))
    m = np.moveaxis(matrices / np.maximum(size, _TINY)[:, None, None], 0, -1)
    symmetric = _horn(m)
    largest = _largest_eigenvalue(m, symmetric)
    for i in range(4):
        symmetric[i, i] -= largest
    return _of_quaternions(_null_vectors(symmetric))


def _horn(m: Floats) -> Floats:
    """The symmetric matrices (4, 4, n), without trace, of matrices (3, 3, n) that take the unturned to the turned."""
    x, y, z = m[0, 0], m[1, 1], m[2, 2]
    result = np.empty((4, 4, m.shape[-1]))
    result[0, 0], result[1, 1], result[2, 2], result[3, 3] = x + y + z, x - y - z, y - x - z, z - x - y
    for i, j, value in (
        (0, 1, m[2, 1] - m[1, 2]),
        (0, 2, m[0, 2] - m[2, 0]),
        (0, 3, m[1, 0] - m[0, 1]),
        (1, 2, m[0, 1] + m[1, 0]),
        (1, 3, m[0, 2] + m[2, 0]),
        (2, 3, m[1, 2] + m[2, 1]),
    ):
        result[i, j] = result[j, i] = value
    return result


def _largest_eigenvalue(m: Floats, symmetric: Floats) -> Floats:
    """(n,): the largest root of x^4 - 2 |M|^2 x^2 - 8 det(M) x + det(N), |M| being 1 here."""
    linear = -8.0 * _determinant(m[0], m[1], m[2])
    constant = sum(sign * symmetric[0, j] * _minor(symmetric, 0, j) for j, sign in enumerate((1.0, -1.0, 1.0, -1.0)))
    root = np.full(m.shape[-1], np.sqrt(3.0))
    for _ in range(_NEWTON_STEPS):
        square = root * root
        slope = 4.0 * root * square - 4.0 * root + linear
        root = root - (square * square - 2.0 * square + linear * root + constant) / np.maximum(slope, 1e-12)
    return root


def _null_vectors(singular: Floats) -> Floats:
    """(4, n): for symmetric matrices (4, 4, n) that each take one direction to nothing, that direction; the longest
    column of the adjugate, normalised."""
    columns = np.empty_like(singular)
    for i in range(4):
        for j in range(i, 4):
            columns[i, j] = columns[j, i] = (-1.0) ** (i + j) * _minor(singular, i, j)
    squares = (columns * columns).sum(axis=1)
    longest = squares.argmax(axis=0)
    rows = np.arange(singular.shape[-1])
    result = columns[longest, :, rows].T
    length = np.sqrt(squares[longest, rows])
    result[:, length <= 0.0] = np.array([1.0, 0.0, 0.0, 0.0])[:, None]
    return np.asarray(result / np.where(length > 0.0, length, 1.0))


def _minor(matrices: Floats, row: int, column: int) -> Floats:
    """(n,): the determinants of matrices (4, 4, n) without a row and a column."""
    rows = [i for i in range(4) if i != row]
    columns = [j for j in range(4) if j != column]
    return _determinant(*(matrices[i][columns] for i in rows))


def _determinant(a: Floats, b: Floats, c: Floats) -> Floats:
    """(n,), of rows (3, n)."""
    first, second, third = b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0]
    return np.asarray(a[0] * first + a[1] * second + a[2] * third)


def _of_quaternions(quaternions: Floats) -> Floats:
    """Rotations (n, 3, 3) of unit quaternions (4, n), the real part first."""
    w, x, y, z = quaternions
    result = np.empty((len(w), 3, 3))
    result[:, 0, 0], result[:, 1, 1], result[:, 2, 2] = (
        1.0 - 2.0 * (y * y + z * z),
        1.0 - 2.0 * (x * x + z * z),
        1.0 - 2.0 * (x * x + y * y),
    )
    result[:, 0, 1], result[:, 1, 0] = 2.0 * (x * y - w * z), 2.0 * (x * y + w * z)
    result[:, 0, 2], result[:, 2, 0] = 2.0 * (x * z + w * y), 2.0 * (x * z - w * y)
    result[:, 1, 2], result[:, 2, 1] = 2.0 * (y * z - w * x), 2.0 * (y * z + w * x)
    return result

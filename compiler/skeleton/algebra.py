"""Small vectors, 3 x 3 matrices and quaternions on tuples, for the few frames that compiling touches.

Quaternions are (x, y, z, w) as in glTF 2.0; matrices are rows. Evaluation over many frames is numpy's and lives
in `plica.evaluate`.
"""

from __future__ import annotations

from math import cos, inf, sin, sqrt

Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]
Matrix = tuple[Vector, Vector, Vector]

IDENTITY_QUATERNION: Quaternion = (0.0, 0.0, 0.0, 1.0)
IDENTITY_MATRIX: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def dot(a: Vector, b: Vector) -> float:
    """The scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector, b: Vector) -> Vector:
    """The vector product."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def add(a: Vector, b: Vector) -> Vector:
    """The sum."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def subtract(a: Vector, b: Vector) -> Vector:
    """The difference a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def scaled(a: Vector, factor: float) -> Vector:
    """The vector times a number."""
    return (a[0] * factor, a[1] * factor, a[2] * factor)


def length(a: Vector) -> float:
    """The Euclidean length.

    Only of operations that IEEE 754 defines to the last bit, so that rest poses are the same on every processor;
    scaled, so that squares of large components do not overflow.
    """
    largest = max(abs(a[0]), abs(a[1]), abs(a[2]))
    if largest == 0.0 or largest == inf:
        return largest
    x, y, z = a[0] / largest, a[1] / largest, a[2] / largest
    return largest * sqrt(x * x + y * y + z * z)


def unit(a: Vector) -> Vector:
    """The vector at length 1. Raises ZeroDivisionError for the null vector."""
    size = length(a)
    return (a[0] / size, a[1] / size, a[2] / size)


def transpose(m: Matrix) -> Matrix:
    """Rows to columns."""
    return (
        (m[0][0], m[1][0], m[2][0]),
        (m[0][1], m[1][1], m[2][1]),
        (m[0][2], m[1][2], m[2][2]),
    )


def times(m: Matrix, v: Vector) -> Vector:
    """Matrix times column vector."""
    return (dot(m[0], v), dot(m[1], v), dot(m[2], v))


def product(a: Matrix, b: Matrix) -> Matrix:
    """Matrix product a b."""
    columns = transpose(b)
    return (times(columns, a[0]), times(columns, a[1]), times(columns, a[2]))


def determinant(m: Matrix) -> float:
    """The determinant."""
    return dot(m[0], cross(m[1], m[2]))


def multiply(a: Quaternion, b: Quaternion) -> Quaternion:
    """The Hamilton product a b: first the turn b, then a.

    The terms stand in pairs that cancel in floating point too: conj(q) q has a vector part of exactly 0.
    """
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    return (
        (aw * bx + ax * bw) + (ay * bz - az * by),
        (aw * by + ay * bw) + (az * bx - ax * bz),
        (aw * bz + az * bw) + (ax * by - ay * bx),
        (aw * bw - ax * bx) - (ay * by + az * bz),
    )


def conjugate(q: Quaternion) -> Quaternion:
    """The inverse of a unit quaternion."""
    return (-q[0], -q[1], -q[2], q[3])


def normalised(q: Quaternion) -> Quaternion:
    """The quaternion at length 1; the identity where it is null, as files with broken keys have it."""
    size = sqrt(q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3])
    if size == 0.0:
        return IDENTITY_QUATERNION
    return (q[0] / size, q[1] / size, q[2] / size, q[3] / size)


def about(axis: Vector, angle: float) -> Quaternion:
    """The turn by `angle` radians about a unit axis."""
    half = sin(angle / 2)
    return (axis[0] * half, axis[1] * half, axis[2] * half, cos(angle / 2))


def matrix_of(q: Quaternion) -> Matrix:
    """The rotation matrix of a unit quaternion."""
    x, y, z, w = q
    return (
        (1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)),
        (2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)),
        (2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)),
    )


def quaternion_of(m: Matrix) -> Quaternion:
    """The unit quaternion, w >= 0, of a rotation matrix.

    The largest of the four squared components is found first, so that no small number is divided by
    (Shepperd, "Quaternion from rotation matrix", 1978).
    """
    (a, b, c), (d, e, f), (g, h, i) = m
    candidates = (
        (1 + a - e - i, b + d, c + g, h - f),
        (b + d, 1 - a + e - i, f + h, c - g),
        (c + g, f + h, 1 - a - e + i, d - b),
        (h - f, c - g, d - b, 1 + a + e + i),
    )
    largest = max(range(4), key=lambda index: candidates[index][index])
    q = normalised(candidates[largest])
    return q if q[3] >= 0 else (-q[0], -q[1], -q[2], -q[3])

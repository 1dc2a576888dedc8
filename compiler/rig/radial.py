"""Radial basis interpolation over rotations: the coefficients of a field, in plain Python.

After Lewis, Cordner and Fong, "Pose Space Deformation" (2000), with strengths in place of offsets. A field
has few samples (tens), and `plica check` must not wait for numpy.

Both distances are Euclidean distances in some space: 2 sin(a / 2) is the Frobenius distance of two rotation
matrices over sqrt(2), and that of directions lives on the unit sphere. So the Gaussian's matrix is positive
definite, and that of the plain distance is definite on coefficients that add up to 0 (Micchelli 1986),
which the constant term asks for: both systems have one solution for any samples that differ. The distance
cubed has no such guarantee with a constant: the matrix is singular for three samples with distances 1, 1
and 2^(2/3), and enough linear terms to repair that would leave nothing to interpolate among a handful of
samples. It is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from plica.kinds.kernels import RADIAL_KERNELS, RadialKernel, kernel_kind
from plica.named_tuples import NamedTuple
from plica.rig.ramps import Metric
from plica.rig.strengths import FieldSample
from plica.rounding import DIGITS, places_of, rounded_number
from plica.skeleton.algebra import (
    Quaternion,
    Vector,
    conjugate,
    length,
    matrix_of,
    multiply,
    normalised,
    subtract,
    times,
)

Row = list[float]

# Closer samples are one pose, for any animator and for any hope of telling them apart.
_COINCIDENT = 1e-6
# How nearly strengths must come out at the samples, far nearer than `plica.rig.strengths.Field` rounds them to 0 and 1.
_RESIDUAL = 5e-13
# The same of rounded coefficients; they keep more digits where they need them.
_ROUNDED_RESIDUAL = 5e-10
_MOST_DIGITS = 15


class Solution(NamedTuple):
    """What `plica.rig.strengths.Field` holds: coefficients[i][k] of sample i for the strength of sample k + 1."""

    width: float | None
    coefficients: tuple[tuple[float, ...], ...]
    constants: tuple[float, ...]


def solve(
    samples: Sequence[FieldSample],
    metric: Metric,
    axis: Vector | None,
    kernel: str,
    width: float | None = None,
) -> Solution:
    """The coefficients with which each sample's strength is 1 at itself and 0 at all others.

    samples: rest first, turns since rest, widths of their own where they have some; `axis`: the unit vector that metric
    "direction" turns; `width`: of the samples without one of their own, None for the mean distance between samples.
    Raises ValueError naming two samples where they coincide, and the two closest where they are so close (for the
    widths) that the strengths come out wrong; for a kernel that does not interpolate; for a width that is not above 0.
    """
    kernel_of_samples = RADIAL_KERNELS.get(kernel)
    if kernel_of_samples is None:
        raise ValueError(f"the kernel {kernel} does not interpolate every set of samples")
    distances = _distances(samples, metric, axis)
    check_distinct(samples, metric, axis)
    first, second = _closest(samples, distances)
    chosen = None
    if kernel_kind(kernel).has_width:
        chosen = _mean(distances) if width is None else width
        if not all(own > 0 for own in (chosen, *(sample.width for sample in samples if sample.width is not None))):
            raise ValueError(f"the width of a {kernel} must be above 0")
    matrix = _kernel_matrix(kernel_of_samples, samples, distances, chosen)
    try:
        solution = (_with_constants if kernel_of_samples.has_constants else _without_constants)(matrix, chosen)
    except ZeroDivisionError:
        solution = None
    if solution is None or not _worst(matrix, solution) <= _RESIDUAL:
        raise ValueError(f"samples {samples[first].name} and {samples[second].name} are too close to tell apart")
    return solution


def check_distinct(samples: Sequence[FieldSample], metric: Metric, axis: Vector | None) -> None:
    """Raises ValueError naming two samples that are one pose; and where there is none beside rest."""
    distances = _distances(samples, metric, axis)
    first, second = _closest(samples, distances)
    if distances[first][second] < _COINCIDENT:
        raise ValueError(f"samples {samples[first].name} and {samples[second].name} coincide")


def condition(samples: Sequence[FieldSample], metric: Metric, axis: Vector | None, kernel: str, width: float) -> float:
    """The condition number of the equations (in the norm of the largest row): what an error of a sample grows by.

    `width` as `solve` has chosen it, 1 where the kernel has none. Raises ValueError for equations that `solve` refuses.
    """
    matrix = _kernel_matrix(RADIAL_KERNELS[kernel], samples, _distances(samples, metric, axis), width)
    size = len(matrix)
    if RADIAL_KERNELS[kernel].has_constants:
        matrix = [[*row, 1.0] for row in matrix] + [[1.0] * size + [0.0]]
        size += 1
    unit_matrix = [[1.0 if row == column else 0.0 for column in range(size)] for row in range(size)]
    try:
        inverse = _eliminated(matrix, unit_matrix)
    except ZeroDivisionError as error:
        raise ValueError("the equations have no solution") from error
    return _largest_row(matrix) * _largest_row(inverse)


def _largest_row(matrix: Sequence[Row]) -> float:
    return max(sum(map(abs, row)) for row in matrix)


def rounded_solution(
    samples: Sequence[FieldSample], metric: Metric, axis: Vector | None, kernel: str, width: float | None = None
) -> Solution:
    """What `solve` gives, with as few digits as `plica.rounding` asks for and the strengths at the samples bear."""
    distances = _distances(samples, metric, axis)
    if kernel in RADIAL_KERNELS and kernel_kind(kernel).has_width and width is None and len(samples) > 1:
        width = rounded_number(_mean(distances))
    solution = solve(samples, metric, axis, kernel, width)
    matrix = _kernel_matrix(RADIAL_KERNELS[kernel], samples, distances, solution.width)
    candidates = (_rounded(solution, digits) for digits in range(DIGITS, _MOST_DIGITS + 1))
    return next((result for result in candidates if _worst(matrix, result) <= _ROUNDED_RESIDUAL), solution)


def _distances(samples: Sequence[FieldSample], metric: Metric, axis: Vector | None) -> list[Row]:
    return [[distance(a.rotation, b.rotation, metric, axis) for b in samples] for a in samples]


def distance(a: Quaternion, b: Quaternion, metric: Metric, axis: Vector | None) -> float:
    """The distance of two turns as `Field` defines it, 0 to 2. Raises ValueError where an axis is missing."""
    first, second = normalised(a), normalised(b)
    if metric == "rotation":
        return 2 * length(multiply(conjugate(first), second)[:3])
    if axis is None:
        raise ValueError('the metric "direction" needs an axis')
    return length(subtract(times(matrix_of(first), axis), times(matrix_of(second), axis)))


def _closest(samples: Sequence[FieldSample], distances: Sequence[Sequence[float]]) -> tuple[int, int]:
    if len(samples) < 2:
        raise ValueError("a field needs a sample beside the rest pose")
    return min(combinations(range(len(samples)), 2), key=lambda pair: distances[pair[0]][pair[1]])


def _mean(distances: Sequence[Sequence[float]]) -> float:
    pairs = [distances[a][b] for a, b in combinations(range(len(distances)), 2)]
    return sum(pairs) / len(pairs)


def _kernel_matrix(
    kernel: RadialKernel, samples: Sequence[FieldSample], distances: Sequence[Sequence[float]], width: float | None
) -> list[Row]:
    """A row for each sample, and in it what each sample's kernel is there."""
    common = 1.0 if width is None else width
    widths = [common if sample.width is None else sample.width for sample in samples]
    return [[kernel.value(distance, own) for distance, own in zip(row, widths, strict=True)] for row in distances]


def _wanted(size: int) -> list[Row]:
    """The strengths at the samples: a row for each sample, no column for rest."""
    return [[1.0 if row == column else 0.0 for column in range(1, size)] for row in range(size)]


def _without_constants(kernels: Sequence[Row], width: float | None) -> Solution:
    size = len(kernels)
    result = _eliminated(kernels, _wanted(size))
    return Solution(width, tuple(map(tuple, result)), (0.0,) * (size - 1))


def _with_constants(kernels: Sequence[Row], width: float | None) -> Solution:
    """The solution whose coefficients add up to 0."""
    size = len(kernels)
    matrix = [[*row, 1.0] for row in kernels] + [[1.0] * size + [0.0]]
    result = _eliminated(matrix, [*_wanted(size), [0.0] * (size - 1)])
    return Solution(width, tuple(map(tuple, result[:size])), tuple(result[size]))


def _eliminated(matrix: Sequence[Sequence[float]], right: Sequence[Sequence[float]]) -> list[Row]:
    """The solution of matrix x = right by Gaussian elimination with partial pivoting."""
    size = len(matrix)
    rows = [[*left, *values] for left, values in zip(matrix, right, strict=True)]
    for column in range(size):
        pivot = max(range(column, size), key=lambda row: abs(rows[row][column]))
        rows[column], rows[pivot] = rows[pivot], rows[column]
        top = rows[column]
        for row in range(column + 1, size):
            factor = rows[row][column] / top[column]
            if factor != 0.0:
                rows[row] = [value - factor * above for value, above in zip(rows[row], top, strict=True)]
    result: list[Row] = [[] for _ in range(size)]
    for row in reversed(range(size)):
        values = rows[row][size:]
        for column in range(row + 1, size):
            values = [value - rows[row][column] * known for value, known in zip(values, result[column], strict=True)]
        result[row] = [value / rows[row][row] for value in values]
    return result


def _rounded(solution: Solution, digits: int) -> Solution:
    """All coefficients and constants to the same decimal place, as they are added up."""
    together = [*solution.constants, *(value for row in solution.coefficients for value in row)]
    places = places_of(together, digits)
    rows = [tuple(round(value, places) + 0.0 for value in row) for row in (*solution.coefficients, solution.constants)]
    return Solution(solution.width, tuple(rows[:-1]), rows[-1])


def _worst(matrix: Sequence[Sequence[float]], solution: Solution) -> float:
    """The largest error of a strength at a sample."""
    columns = list(zip(*solution.coefficients, strict=True))
    worst = 0.0
    for row, wanted in zip(matrix, _wanted(len(matrix)), strict=True):
        for column, constant, strength in zip(columns, solution.constants, wanted, strict=True):
            result = constant + sum(value * factor for value, factor in zip(row, column, strict=True))
            worst = max(worst, abs(result - strength))
    return worst

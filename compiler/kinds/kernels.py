"""The kernels of fields: how the strengths of a field's samples come about between them.

`ramp` shares out strengths between pairs of samples (`plica.rig.ramps`). The others interpolate: each sample adds a
function of the distance from it. How each is computed over arrays is registered in `plica.evaluate.kernels`, so that a
check needs no numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import exp
from typing import TYPE_CHECKING, Final, Literal

from plica.named_tuples import NamedTuple


class RadialKernel(NamedTuple):
    """A function of the distance from a sample. `value`: of a distance and a width, 1.0 where the kernel has none.

    `has_constants`: the strengths have constant terms, and coefficients that add up to 0, which makes their equations
    solvable. `expression`: the same in Python and in JavaScript, of `distance` and
    `width`.
    """

    value: Callable[[float, float], float]
    has_constants: bool
    expression: str


class KernelKind(NamedTuple):
    """A kernel. `has_width`: it has a width for each sample, above 0; those of the others are None.

    `radial`: the function that interpolates; None where strengths are shared out between samples and nothing is solved.
    """

    name: str
    has_width: bool
    radial: RadialKernel | None


_KINDS: Final = (
    KernelKind("ramp", has_width=True, radial=None),
    KernelKind(
        "gaussian",
        has_width=True,
        radial=RadialKernel(
            lambda distance, width: exp(-((distance / width) ** 2)),
            has_constants=False,
            expression="exp(-((distance / width) ** 2))",
        ),
    ),
    KernelKind(
        "linear",
        has_width=False,
        radial=RadialKernel(lambda distance, _width: distance, has_constants=True, expression="distance"),
    ),
)
KERNEL_KINDS: Final[Mapping[str, KernelKind]] = {kind.name: kind for kind in _KINDS}
RADIAL_KERNELS: Final[Mapping[str, RadialKernel]] = {kind.name: kind.radial for kind in _KINDS if kind.radial}
DEFAULT_KERNEL: Final = "ramp"

if TYPE_CHECKING:
    KernelName = str
else:
    KernelName = Literal[tuple(KERNEL_KINDS)]  # so that what is read, and the schema, know the names


def kernel_kind(name: str) -> KernelKind:
    """The record of a kernel. Raises KeyError for a name that is of none (a rig that was read holds none such)."""
    return KERNEL_KINDS[name]


def kernel_expression(name: str) -> str:
    """A Python expression of the interpolating kernel that the variable `name` names, of `distance` and `width`."""
    *others, last = RADIAL_KERNELS.items()
    return "".join(f'{kernel.expression} if {name} == "{kind}" else ' for kind, kernel in others) + last[1].expression

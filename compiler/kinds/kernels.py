"""The kernels of fields: how what a sample adds falls with the distance from it.

How each is computed over arrays is registered in `plica.evaluate.kernels`, so that a check needs no numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import exp
from typing import TYPE_CHECKING, Final, Literal, NamedTuple


class KernelKind(NamedTuple):
    """A kernel. `value`: of a distance and a width, 1.0 where the kernel has none.

    `has_width`: it has a width, above 0; the others have None. `has_constants`: the strengths have constant terms, and
    coefficients that add up to 0, which makes their equations solvable. `expression`: the same in Python, of `distance`
    and `width`.
    """

    name: str
    value: Callable[[float, float], float]
    has_width: bool
    has_constants: bool
    expression: str


_KINDS: Final = (
    KernelKind(
        "gaussian",
        lambda distance, width: exp(-((distance / width) ** 2)),
        has_width=True,
        has_constants=False,
        expression="exp(-((distance / width) ** 2))",
    ),
    KernelKind("linear", lambda distance, _width: distance, has_width=False, has_constants=True, expression="distance"),
)
KERNEL_KINDS: Final[Mapping[str, KernelKind]] = {kind.name: kind for kind in _KINDS}
DEFAULT_KERNEL: Final = "gaussian"

if TYPE_CHECKING:
    KernelName = str
else:
    KernelName = Literal[tuple(KERNEL_KINDS)]  # so that what is read, and the schema, know the names


def kernel_kind(name: str) -> KernelKind:
    """The record of a kernel. Raises KeyError for a name that is of none (a rig that was read holds none such)."""
    return KERNEL_KINDS[name]


def kernel_expression(name: str) -> str:
    """A Python expression of the kernel that the variable `name` names, of `distance` and `width`."""
    *others, last = _KINDS
    return "".join(f'{kind.expression} if {name} == "{kind.name}" else ' for kind in others) + last.expression

"""The ways to make a strength of others.

How each is computed over arrays is registered in `plica.evaluate.combinations`, so that a check needs no numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import reduce
from operator import add, mul
from typing import TYPE_CHECKING, Final, Literal

from plica.named_tuples import NamedTuple


class CombinationKind(NamedTuple):
    """A way to make a strength of others: `join` is applied to the first two, to that and the third, and so on.

    `most`: what the result is cut to; None where it cannot be above 1. `needs_all`: it is 1 only where all parts are.
    `expression`: the same in Python and in JavaScript, of at least one part, before it is cut.
    """

    name: str
    join: Callable[[float, float], float]
    expression: Callable[[Sequence[str]], str]
    most: float | None = None
    needs_all: bool = False

    def of(self, strengths: Sequence[float]) -> float:
        """The combination of at least one strength."""
        joined = reduce(self.join, strengths)
        return joined if self.most is None else min(joined, self.most)


def _called(function: str) -> Callable[[Sequence[str]], str]:
    """A call, and 0 times all parts: Python's functions alone would lose a part that is not a number."""
    return lambda parts: (
        parts[0] if len(parts) == 1 else f"{function}({', '.join(parts)}) + 0.0 * ({' + '.join(parts)})"
    )


_KINDS: Final = (
    CombinationKind("product", mul, " * ".join, needs_all=True),
    CombinationKind("least", min, _called("min"), needs_all=True),
    CombinationKind("greatest", max, _called("max")),
    CombinationKind("sum", add, " + ".join, most=1.0),
)
COMBINATION_KINDS: Final[Mapping[str, CombinationKind]] = {kind.name: kind for kind in _KINDS}

if TYPE_CHECKING:
    CombinationName = str
else:
    CombinationName = Literal[tuple(COMBINATION_KINDS)]  # so that what is read, and the schema, know the names


def combination_kind(name: str) -> CombinationKind:
    """The record of a kind. Raises KeyError for a name that is of none (a rig that was read holds none such)."""
    return COMBINATION_KINDS[name]

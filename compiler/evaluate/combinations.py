"""The ways to make a strength of others, over arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from plica.evaluate.poses import Array
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.complete import complete

_OPERATIONS: Final[Mapping[str, np.ufunc]] = complete(
    {"product": np.multiply, "least": np.minimum, "greatest": np.maximum, "sum": np.add},
    COMBINATION_KINDS,
    "operation over arrays",
)


def combined_rows(name: str, parts: Sequence[Array]) -> Array:
    """The combination of at least one row of strengths, (frames,) each, by the name of its kind."""
    result = parts[0].copy()
    for part in parts[1:]:
        _OPERATIONS[name](result, part, out=result)
    most = COMBINATION_KINDS[name].most
    if most is not None:
        np.minimum(result, most, out=result)
    return result

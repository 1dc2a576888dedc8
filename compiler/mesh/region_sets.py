"""The weights of regions put together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.kinds.complete import complete
from plica.kinds.region_sets import REGION_SETS
from plica.mesh.arrays import Floats


class SetOperation(NamedTuple):
    """A way to put regions together: of their weights (p,) each, at least one.

    `belongs`: whether what comes out is one side's already, by whether each part is.
    """

    weights: Callable[[Sequence[Floats]], Floats]
    belongs: Callable[[Sequence[bool]], bool]


def _difference(parts: Sequence[Floats]) -> Floats:
    if len(parts) == 1:
        return parts[0]
    return np.asarray(parts[0] * (1.0 - np.max(parts[1:], axis=0)))


SET_OPERATIONS: Final[Mapping[str, SetOperation]] = complete(
    {
        "union": SetOperation(lambda parts: np.asarray(np.max(parts, axis=0)), all),
        "intersection": SetOperation(lambda parts: np.asarray(np.min(parts, axis=0)), any),
        "difference": SetOperation(_difference, lambda one_sided: one_sided[0]),
    },
    REGION_SETS,
    "operation on weights",
)
"""Greatest, least, or the first times 1 less the greatest of the others."""

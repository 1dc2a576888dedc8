"""What became of one strength on the poses that were compared."""

from __future__ import annotations

from typing import Final, NamedTuple

NOTHING: Final = 1e-9
"""A change of strength that is only rounding."""


class StrengthChange(NamedTuple):
    """What became of a strength on the poses that were compared.

    `largest`: the largest change, where the old and the new reading of a driver were `at`; `rest`: the strength at
    rest, of each state its own; `extreme`: both where the old reading is at the end of its span and they differ most;
    `poses`: how many were compared, of the `possible` ones that there would be had their number no bound.
    """

    largest: float
    at: tuple[float, float] | None
    rest: tuple[float, float]
    extreme: tuple[float, float] | None
    poses: int
    possible: int

    @property
    def rest_moved(self) -> bool:
        """Whether the strength in the rest pose changed."""
        return abs(self.rest[0] - self.rest[1]) > NOTHING

    @property
    def is_bounded(self) -> bool:
        """Whether it was compared on fewer poses than there would be."""
        return self.poses < self.possible

    @property
    def poses_text(self) -> str:
        """How many poses were compared, and of how many."""
        return poses_text(self.poses, self.possible)


def poses_text(poses: int, possible: int) -> str:
    """A number of poses, and of how many, where the number had to be bounded."""
    return f"{poses} of {possible} poses" if poses < possible else f"{poses} poses"

"""Poses to strengths."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from plica.api.character import Character
from plica.api.posing import PosesLike, as_poses, check_names
from plica.diagnostics.place import counted
from plica.evaluate.poses import Array


@dataclass(frozen=True, eq=False, repr=False)
class Strengths:
    """The strength of every driver, sample and combination in each frame.

    names: output names; values (frames, strengths): in the order of `names`, 0 off and 1 fully on; beyond that only
    where a driver says that it is not clamped.
    """

    names: tuple[str, ...]
    values: Array

    @property
    def frames(self) -> int:
        """The number of frames."""
        return len(self.values)

    def __getitem__(self, name: str) -> Array:
        """One strength over the frames, (frames,). Raises UnknownNameError, which is a LookupError."""
        check_names("strength", [name], self.names)
        return self.values[:, self._columns[name]]

    @cached_property
    def _columns(self) -> dict[str, int]:
        return {name: column for column, name in enumerate(self.names)}

    def as_dicts(self) -> list[dict[str, float]]:
        """A dict for each frame, strengths by name: plain data, as in a build's vectors."""
        return [dict(zip(self.names, row, strict=True)) for row in self.values.tolist()]

    def __repr__(self) -> str:
        on = (self.values != 0.0).any(axis=0).sum() if self.frames else 0
        return f"<Strengths: {counted(self.frames, 'frame')}, {len(self.names)} strengths, {on} of them not always 0>"

    def _repr_html_(self) -> str:
        from plica.api.notebook import table_html

        if not self.frames:
            return table_html(("strength",), [(name,) for name in self.names])
        rows = [
            (name, f"{column[0]:.3f}", f"{column.min():.3f}", f"{column.max():.3f}")
            for name, column in zip(self.names, self.values.T, strict=True)
        ]
        return table_html(("strength", "first frame", "least", "greatest"), rows)


def compute_strengths(character: Character, poses: PosesLike) -> Strengths:
    """The strengths in poses: arrays (`Poses`), one plain pose, or a list with a plain pose for each frame.

    Raises NoRigError, UnknownNameError for joints and controls that the character does not have, ArrayError.
    """
    evaluator = character.evaluator
    return Strengths(evaluator.names, evaluator.strengths(as_poses(character, poses)))

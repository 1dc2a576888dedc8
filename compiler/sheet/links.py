"""Who drives what: from strengths to combinations, shapes and folds, and back to the drivers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from plica.rig.combinations import parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine


class Consumer(NamedTuple):
    """An entry that a strength feeds: its kind and output name."""

    kind: str
    name: str

    @property
    def key(self) -> str:
        """What the id of its row is found by."""
        return self.name if self.kind == "combine" else f"{self.kind} {self.name}"


def consumers(rig: Rig) -> Mapping[str, tuple[Consumer, ...]]:
    """By strength: the combinations, shapes and folds that it feeds directly, in the order of the rig."""
    result: dict[str, list[Consumer]] = {strength.name: [] for strength in rig.strengths}
    for strength in rig.strengths:
        if isinstance(strength, Combine):
            for part in dict.fromkeys(parts_of(strength.combination)):
                result[part].append(Consumer("combine", strength.name))
    for kind, entries in (("shape", rig.shapes), ("fold", rig.folds)):
        for entry in entries:
            if entry.follows is not None:
                result[entry.follows].append(Consumer(kind, entry.name))
    return {name: tuple(entries) for name, entries in result.items()}

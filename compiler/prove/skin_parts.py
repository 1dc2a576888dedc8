"""The parts of the skin that expectations look at: no more of it is posed, and held in memory, than regions cover."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.cut_out import cut_out
from plica.prove.registry import is_paired
from plica.prove.skin import Skin
from plica.rig.rig import Expectation


class SkinPart(NamedTuple):
    """Some vertices (n,), rising, and the skin that they are, whose own vertices are numbered by their places there.

    Measures of it find the figures that those of the whole skin find, to the last bit, and name its own vertices.
    """

    vertices: Integers
    skin: Skin

    def named(self, vertices: Integers) -> Integers:
        """The numbers on the whole skin of vertices (...) of the part, -1 for none."""
        return np.where(vertices >= 0, self.vertices[vertices], -1)


@dataclass(frozen=True, eq=False)
class SkinParts:
    """The parts of a skin, each cut out when it is first asked for."""

    skin: Skin
    known: dict[tuple[tuple[str, ...], bool], SkinPart]

    def of(self, expectation: Expectation) -> SkinPart:
        """All that an expectation looks at: triangles that its regions reach, and mirror images where it asks for such.

        Raises UnmeasurableError for a region that covers nothing.
        """
        names = (*expectation.of, *([] if expectation.against is None else [expectation.against]))
        key = (names, is_paired(expectation.kind))
        if key not in self.known:
            self.known[key] = self._cut(names, self.skin.weights_of(expectation), key[1])
        return self.known[key]

    def _cut(self, names: Sequence[str], weights: Sequence[Floats], paired: bool) -> SkinPart:
        skin, symmetry = self.skin, self.skin.symmetry
        partners = symmetry.partners if paired and symmetry is not None else None
        mesh, vertices = cut_out(skin.mesh, np.maximum.reduce(weights), partners)
        if len(vertices) == skin.mesh.vertex_count:
            return SkinPart(vertices, skin)
        number = np.full(skin.mesh.vertex_count, -1)
        number[vertices] = np.arange(len(vertices))
        if partners is not None and symmetry is not None:
            theirs = partners[vertices]
            symmetry = symmetry._replace(partners=np.where(theirs >= 0, number[theirs], -1))
        regions: Mapping[str, Floats] = {name: one[vertices] for name, one in zip(names, weights, strict=True)}
        part = replace(
            skin,
            mesh=mesh,
            regions=regions,
            rest=skin.rest[vertices],
            stretches={},
            symmetry=symmetry if paired else None,
            whole=skin,
            vertices=vertices,
        )
        return SkinPart(vertices, part)


def looked_at(skin: Skin) -> list[int]:
    """How many vertices each expectation looks at, about: those with weight in its regions."""
    counts = {name: int(np.count_nonzero(weights > 0.0)) for name, weights in skin.regions.items()}
    asked = ((*one.of, one.against) for one in skin.rig.expectations)
    return [sum(counts.get(name or "", 0) for name in names) for names in asked]

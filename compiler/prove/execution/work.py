"""The work of measuring the skin, cut into units that can be done anywhere, in any order.

Tracks are cut into stretches of frames; a unit is some stretches, measured for all expectations that go over them, and
gives the worst figure of each expectation in each stretch. The figure of a frame does not depend on the frames beside
it, the cut does not depend on who does the work, and the worst of figures does not depend on the order in which they
come: so results are the same to the last bit with any number of processes, and of machines of one kind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Generic, NamedTuple, TypeVar

import numpy as np

from plica.kinds.expectations import Worse, expectation_kind
from plica.measure.worst_values import WorstValues, joined, starts_in, worst_of
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer, Motion, one_after_the_other, own_morphs
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.skin_mirror import SkinSymmetry
from plica.prove.cache.keys import code_digest
from plica.prove.registry import is_paired
from plica.prove.skin import PairBlock, PairGauge, Skin, SkinGauge, UnmeasurableError, together
from plica.prove.skin_parts import SkinPart, SkinParts, looked_at
from plica.rig.rig import Expectation, Rig
from plica.worker_processes import NotServingError

NO_MIRROR: Final = "the poses cannot be mirrored"
NO_NUMBER: Final = "the measure is not a number in some pose: the region encloses nothing, or is squeezed to nothing"


BLOCK_BYTES: Final = 64 << 20
"""Positions that are held at once: enough frames for measures to be quick, of all but the largest meshes."""

POSED_PARTS: Final = 4
"""Parts of the skin that are kept ready to be posed; units that look at the same come one after the other."""

PREPARED_VERTICES: Final = 100_000
"""Vertices of all the parts that measures are prepared for at the same time. Once they are more, what is not asked for
now is let go of, and prepared again when it is: memory is that of some measures, not that of all."""


@dataclass(frozen=True, eq=False)
class Material:
    """Everything that figures of the skin are computed from, beside the poses.

    rest (v, 3): the skin at rest; regions: those that expectations name; code: `code_digest` of whoever made this;
    block_bytes: positions that are held at once; symmetry: None where no mirror plane is known.
    """

    rig: Rig
    mesh: Mesh
    regions: Mapping[str, Floats]
    shapes: Mapping[str, Inbetweens]
    rest: Floats
    code: str
    block_bytes: int = BLOCK_BYTES
    symmetry: SkinSymmetry | None = None


class WorkUnit(NamedTuple):
    """Stretches of frames, and the expectations, by their numbers in the rig, that are to be measured in them.

    mirrored: the same poses mirrored, of stretches that are measured together with their mirror images.
    """

    number: int
    asked: tuple[int, ...]
    stretches: tuple[Motion, ...]
    mirrored: tuple[Motion | None, ...]


Gauge = TypeVar("Gauge")


class _Prepared(NamedTuple, Generic[Gauge]):
    """A measure, and the part of the skin that it looks at."""

    part: SkinPart
    gauge: Gauge

    def named(self, found: WorstValues) -> WorstValues:
        """Its figures with the vertices numbered as those of the whole skin."""
        return found._replace(vertices=self.part.named(found.vertices))


class Worst(NamedTuple):
    """A figure, the frame of its stretch, and the vertex (-1 for none)."""

    value: float
    frame: int
    vertex: int


class MeasuredFigure(NamedTuple):
    """The worst of some frames with the shapes and without them, or `why` there is none."""

    shaped: Worst | None
    bare: Worst | None
    why: str = ""


class WorkAnswer(NamedTuple):
    """What a unit gave: for each stretch a figure for each of `asked`."""

    number: int
    figures: tuple[tuple[MeasuredFigure, ...], ...]


class OtherCodeError(NotServingError):
    """Material that was made by another version of Plica, or on another kind of machine, than it is measured with."""


def material_of(rig: Rig, attached: Attached, rest: Floats, block_bytes: int = BLOCK_BYTES) -> Material:
    """What has to be sent along, and nothing that no measure looks at."""
    named = {name for one in rig.expectations for name in (*one.of, one.against)}
    regions = {name: weights for name, weights in attached.regions.items() if name in named}
    morphs = {name: attached.mesh.morphs[name] for name in own_morphs(rig, attached.mesh)}
    mesh = replace(attached.mesh, normals=None, morphs=morphs, problems=())
    symmetry = SkinSymmetry.of(attached.symmetry)
    return Material(rig, mesh, regions, dict(attached.shapes), rest, code_digest(), block_bytes, symmetry)


class Measurer:
    """Does units of one material. What it prepares it keeps; where it is sent, only its material goes along."""

    def __init__(self, material: Material) -> None:
        """Raises OtherCodeError."""
        if material.code != code_digest():
            raise OtherCodeError
        self._material = material
        self.skin = Skin(
            material.rig,
            material.mesh,
            material.regions,
            material.rest,
            symmetry=material.symmetry,
        )
        self.deformer = Deformer(material.mesh, material.rig, material.shapes)
        self._parts = SkinParts(self.skin, {})
        self._looked_at = looked_at(self.skin)
        self._deformers: dict[tuple[int, ...], tuple[Integers, Deformer]] = {}
        self._gauges: dict[int, _Prepared[SkinGauge] | UnmeasurableError] = {}
        self._pair_gauges: dict[int, _Prepared[PairGauge] | UnmeasurableError] = {}

    def __reduce__(self) -> tuple[type[Measurer], tuple[Material]]:
        return Measurer, (self._material,)

    def answer(self, unit: WorkUnit) -> WorkAnswer:
        """The figures of a unit."""
        found: list[dict[int, MeasuredFigure]] = [{} for _ in unit.stretches]
        for asked in self._groups(unit.asked):
            self._let_go_but_for(asked)
            paired = [index for index in asked if is_paired(self._material.rig.expectations[index].kind)]
            single = [index for index in asked if index not in paired]
            for figures, more in zip(found, self._in_poses(single, unit.stretches), strict=True):
                figures.update(more)
            for figures, motion, mirrored in zip(found, unit.stretches, unit.mirrored, strict=True):
                figures.update({index: self._in_pairs(index, motion, mirrored) for index in paired})
        return WorkAnswer(unit.number, tuple(tuple(figures[index] for index in unit.asked) for figures in found))

    def _groups(self, asked: Sequence[int]) -> Iterator[list[int]]:
        """Those asked for, as many at a time as may be prepared for together, but at least one."""
        group: list[int] = []
        for index in asked:
            if group and sum(self._looked_at[one] for one in (*group, index)) > PREPARED_VERTICES:
                yield group
                group = []
            group.append(index)
        yield group

    def _let_go_but_for(self, asked: Sequence[int]) -> None:
        """Where parts of the skin have grown large, forgets them and the measures that a unit does not ask for."""
        if sum(len(part.vertices) for part in self._parts.known.values()) <= PREPARED_VERTICES:
            return
        kept = set[int]()
        for gauges in (self._gauges, self._pair_gauges):
            for index in set(gauges).difference(asked):
                del gauges[index]
            kept.update(id(one.part.skin) for one in gauges.values() if isinstance(one, _Prepared))
        known = self._parts.known
        for names in [names for names, part in known.items() if id(part.skin) not in kept]:
            del known[names]
        self._deformers = {skins: one for skins, one in self._deformers.items() if kept.issuperset(skins)}

    def _in_poses(self, asked: Sequence[int], stretches: Sequence[Motion]) -> list[dict[int, MeasuredFigure]]:
        """The figures of each stretch, with the shapes and without."""
        shaped = self._stretches(asked, stretches)
        moved = [number for number, motion in enumerate(stretches) if motion.strengths.any()]
        bare = list(shaped)
        off = [stretches[number].without_shapes() for number in moved]
        for number, result in zip(moved, self._stretches(asked, off), strict=True):
            bare[number] = result
        pairs = (zip(one, other, strict=True) for one, other in zip(shaped, bare, strict=True))
        return [dict(zip(asked, (_figure(one, other) for one, other in pair), strict=True)) for pair in pairs]

    def _in_pairs(self, index: int, motion: Motion, mirrored: Motion | None) -> MeasuredFigure:
        """The figure of an expectation in a stretch and its mirror image, of what shapes add and of the bare skin."""
        if index not in self._pair_gauges:
            self._pair_gauges[index] = self._prepared(index, Skin.pair_gauge)
        prepared = self._pair_gauges[index]
        if isinstance(prepared, UnmeasurableError):
            return MeasuredFigure(None, None, str(prepared))
        if mirrored is None:
            return MeasuredFigure(None, None, NO_MIRROR)
        four = (motion, motion.without_shapes(), mirrored, mirrored.without_shapes())
        _, deformer = self._posing([prepared.part])
        size = self._material.block_bytes // len(four)  # as all four are held at once
        blocks = (deformer.positions(one, block_bytes=size) for one in four)
        first, worse = np.zeros(1, np.int64), worse_of(self._material.rig.expectations[index])
        pieces: tuple[list[tuple[slice, WorstValues]], list[tuple[slice, WorstValues]]] = ([], [])
        for parts in zip(*blocks, strict=True):
            piece = slice(parts[0].start, parts[0].start + len(parts[0].positions))
            figures = prepared.gauge(PairBlock(*(part.positions for part in parts)))
            for known, values in zip(pieces, figures, strict=True):
                known.append((piece, prepared.named(worst_of(values, first, worse))))
        added, bare = (_worst(joined(known, first, worse), 0, first) for known in pieces)
        return _figure(added, bare)

    def _stretches(self, asked: Sequence[int], stretches: Sequence[Motion]) -> list[list[Worst | str]]:
        """The worst of each expectation in each stretch, or why there is none."""
        gauges = {index: self._gauge(index) for index in asked}
        able = {index: one for index, one in gauges.items() if not isinstance(one, UnmeasurableError)}
        starts = np.cumsum([0, *(len(motion.strengths) for motion in stretches[:-1])])
        measured = self._measured(able, stretches, starts) if able and stretches else {}
        return [
            [_worst(measured[index], number, starts) if index in measured else str(gauges[index]) for index in asked]
            for number in range(len(stretches))
        ]

    def _measured(
        self, gauges: Mapping[int, _Prepared[SkinGauge]], stretches: Sequence[Motion], starts: Integers
    ) -> dict[int, WorstValues]:
        """The worst of each stretch: all frames of all stretches, one after the other, a block at a time.

        Only what the measures look at is posed, and each is given its part of that.
        """
        motion = one_after_the_other(stretches)
        vertices, deformer = self._posing([one.part for one in gauges.values()])
        looking: dict[int, list[int]] = {}
        for index, one in gauges.items():
            looking.setdefault(id(one.part.skin), []).append(index)
        found: dict[int, list[tuple[slice, WorstValues]]] = {index: [] for index in gauges}
        for block in deformer.positions(motion, block_bytes=self._material.block_bytes):
            piece = slice(block.start, block.start + len(block.positions))
            for alike in looking.values():
                own = _rows(block.positions, vertices, gauges[alike[0]].part.vertices)
                figures = together([gauges[index].gauge for index in alike])(own, starts_in(piece, starts))
                for index, values in zip(alike, figures, strict=True):
                    found[index].append((piece, gauges[index].named(values)))
        return {
            index: joined(blocks, starts, worse_of(self._material.rig.expectations[index]))
            for index, blocks in found.items()
        }

    def _gauge(self, index: int) -> _Prepared[SkinGauge] | UnmeasurableError:
        if index not in self._gauges:
            self._gauges[index] = self._prepared(index, Skin.gauge)
        return self._gauges[index]

    def _prepared(
        self, index: int, prepare: Callable[[Skin, Expectation], Gauge]
    ) -> _Prepared[Gauge] | UnmeasurableError:
        """A measure on its part of the skin, or why there is none."""
        expectation = self._material.rig.expectations[index]
        try:
            part = self._parts.of(expectation)
            return _Prepared(part, prepare(part.skin, expectation))
        except UnmeasurableError as why:
            return why

    def _posing(self, parts: Sequence[SkinPart]) -> tuple[Integers, Deformer]:
        """The vertices, rising, that are in any of the parts, and what poses these alone."""
        key = tuple(sorted({id(part.skin) for part in parts}))
        if key not in self._deformers:
            held = [part.vertices for part in {id(part.skin): part for part in parts}.values()]
            vertices = held[0] if len(held) == 1 else np.unique(np.concatenate(held))
            whole = len(vertices) == self._material.mesh.vertex_count
            if len(self._deformers) == POSED_PARTS:
                del self._deformers[next(iter(self._deformers))]
            self._deformers[key] = (vertices, self.deformer if whole else self.deformer.part(vertices))
        return self._deformers[key]


def _rows(positions: Floats, vertices: Integers, wanted: Integers) -> Floats:
    """Positions (frames, n, 3) of some of the `vertices`, laid out as they are."""
    if len(wanted) == len(vertices):
        return positions
    return positions.transpose(2, 1, 0)[:, np.searchsorted(vertices, wanted)].transpose(2, 1, 0)


def _worst(measured: WorstValues, stretch: int, starts: Integers) -> Worst | str:
    value = float(measured.values[stretch])
    if np.isnan(value):
        return NO_NUMBER
    return Worst(value, int(measured.frames[stretch] - starts[stretch]), int(measured.vertices[stretch]))


def worse_of(expectation: Expectation) -> Worse:
    """Which figures of an expectation are the worse ones."""
    return expectation_kind(expectation.kind).worse


def _figure(shaped: Worst | str, bare: Worst | str) -> MeasuredFigure:
    for result in (shaped, bare):
        if isinstance(result, str):
            return MeasuredFigure(None, None, result)
    assert not isinstance(shaped, str) and not isinstance(bare, str)
    return MeasuredFigure(shaped, bare)


def prepared(material: Material) -> Callable[[WorkUnit], WorkAnswer]:
    """What a worker answers units with. Raises OtherCodeError."""
    return Measurer(material).answer

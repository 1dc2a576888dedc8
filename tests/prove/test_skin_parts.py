"""Measures are given their regions' part of the skin: the figures, frames and vertices are those of the whole skin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from plica.mesh.arrays import Floats
from plica.mesh.cut_out import cut_out
from plica.mesh.skin_mirror import SkinMirror, SkinSymmetry
from plica.mesh.weld import first_vertices
from plica.prove.execution.work import Measurer, WorkAnswer, WorkUnit
from plica.prove.skin_parts import SkinPart, SkinParts, looked_at
from tests.prove.test_workers import material
from tests.support.arms import Arms, arms
from tests.support.skins import random_poses
from tests.support.swinging import TEXT

MORE = """
expect left { area of forearm within 5 % over elbow   shear of upperarm at most 20 deg over elbow }
expect left { stretch of forearm at most 50 % on 90 % over elbow }
expect both { even of forearm within 0.1 mm over elbow }
"""


@pytest.fixture(scope="module")
def made() -> Arms:
    return arms(TEXT + MORE)


def answered(made: Arms) -> WorkAnswer:
    held = material(made)
    measurer = Measurer(held)
    symmetry = SkinSymmetry.of(made.attached.symmetry)
    assert symmetry is not None
    mirror = SkinMirror(made.rig, made.attached.mesh, symmetry)
    poses = [random_poses(made.rig, 5, seed) for seed in (1, 2)]
    motions = tuple(measurer.deformer.motion(one) for one in poses)
    mirrored = tuple(mirror.motion(measurer.deformer, one) for one in poses)
    return measurer.answer(WorkUnit(0, tuple(range(len(made.rig.expectations))), motions, mirrored))


def test_figures_of_parts_are_those_of_the_whole_skin(made: Arms, monkeypatch: pytest.MonkeyPatch) -> None:
    parted = answered(made)
    sizes: list[int] = []

    def whole(self: SkinParts, names: Sequence[str], weights: Sequence[Floats], paired: bool) -> SkinPart:
        vertices = np.arange(self.skin.mesh.vertex_count)
        sizes.append(len(cut_out(self.skin.mesh, np.maximum.reduce(weights))[1]))
        return SkinPart(vertices, self.skin)

    monkeypatch.setattr(SkinParts, "_cut", whole)
    assert answered(made) == parted
    assert max(sizes) < made.attached.mesh.vertex_count  # or nothing was tried
    figures = [figure for each in parted.figures for figure in each]
    assert all(figure.shaped is not None for figure in figures)
    assert len({figure.shaped.vertex for figure in figures if figure.shaped is not None}) > 5


def test_measures_that_are_let_go_of_in_between_find_the_same(made: Arms, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on large skins: one expectation at a time, prepared anew for each unit."""
    at_once = answered(made)
    held: list[int] = []

    def let_go(measurer: Measurer, asked: Sequence[int]) -> None:
        held.append(len(measurer._gauges) + len(measurer._pair_gauges))
        release(measurer, asked)

    release = Measurer._let_go_but_for
    monkeypatch.setattr("plica.prove.execution.work.PREPARED_VERTICES", 0)
    monkeypatch.setattr(Measurer, "_let_go_but_for", let_go)
    assert answered(made) == at_once
    assert len(held) > 5 and max(held) == 1


def test_as_much_is_posed_at_once_as_the_widest_expectation_looks_at(made: Arms) -> None:
    skin = Measurer(material(made)).skin
    counts = {name: int((weights > 0.0).sum()) for name, weights in skin.regions.items()}
    assert max(looked_at(skin)) == counts["left_forearm"] + counts["left_upperarm"] < made.attached.mesh.vertex_count


def test_a_part_has_the_first_copies_of_its_points_and_the_partners_asked_for(made: Arms) -> None:
    mesh = made.attached.mesh
    count = mesh.vertex_count
    copies = np.concatenate([mesh.points, mesh.points])  # the second half are copies, and the triangles use these
    doubled = replace(
        mesh,
        **{name: np.concatenate([getattr(mesh, name)] * 2) for name in ("positions", "joints", "weights")},
        points=copies,
        triangles=mesh.triangles + count,
        uvs={"skin": np.zeros((2 * count, 2))},
    )
    weights = np.zeros(2 * count)
    weights[count + mesh.triangles[0, 0]] = 1.0
    partners = np.full(2 * count, -1)
    partners[mesh.triangles[0, 0]] = 2 * count - 1
    part, vertices = cut_out(doubled, weights, partners)
    corners = np.unique(mesh.triangles[(mesh.triangles == mesh.triangles[0, 0]).any(axis=1)])
    assert vertices.tolist() == sorted({*corners, *(corners + count), count - 1, 2 * count - 1})
    assert (doubled.points[vertices[first_vertices(part.points)]] == np.unique(doubled.points[vertices])).all()
    assert (part.positions[part.triangles] == doubled.positions[vertices[part.triangles]]).all()
    assert (vertices[part.triangles] >= count).all()
    assert part.uvs["skin"].shape == (len(vertices), 2)

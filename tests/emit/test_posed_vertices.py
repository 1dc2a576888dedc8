"""Which vertices and vectors are chosen for the proof of the skin: the rule that the page of the vectors states."""

from __future__ import annotations

import numpy as np

from plica.emit.posed_vertices import chosen_vectors, chosen_vertices
from plica.evaluate.poses import SparsePose
from plica.evaluate.vectors import Example
from plica.mesh.arrays import Offsets
from plica.mesh.inbetweens import Inbetweens


def moving(distances: dict[int, float]) -> Offsets:
    indices = np.array(sorted(distances))
    return Offsets(indices, np.array([[0.0, distances[index], 0.0] for index in indices.tolist()]))


def examples(*strengths: float) -> list[Example]:
    return [Example(SparsePose(), {"elbow": strength}) for strength in strengths]


def test_a_small_mesh_has_all_its_vertices() -> None:
    assert chosen_vertices(256, {}).tolist() == list(range(256))


def test_without_shapes_vertices_lie_evenly() -> None:
    assert chosen_vertices(1024, {}).tolist() == list(range(0, 1024, 4))


def test_every_shape_and_inbetween_has_its_furthest_vertex() -> None:
    """Of equals the lowest number, and of more than 256 shapes all."""
    between = Inbetweens(moving({901: 1.0, 903: 1.0}), (0.5,), (moving({5: 1.0, 907: 2.0}),))
    chosen = set(chosen_vertices(1024, {"between": between}).tolist())
    assert {901, 903, 5, 907} <= chosen
    assert len(chosen) == 256
    many = {f"shape_{n}": Inbetweens(moving({n: 1.0, 999: 0.5})) for n in range(300)}
    assert chosen_vertices(1000, many).tolist() == list(range(300))


def test_half_of_the_vertices_are_those_that_shapes_move_most() -> None:
    wide = Inbetweens(moving({index: 1.0 + index for index in range(2000)}))
    chosen = chosen_vertices(4096, {"wide": wide})
    assert len(chosen) == 256
    assert set(range(2000 - 128, 2000)) <= set(chosen.tolist())
    assert chosen.max() > 3900


def test_poses_show_every_strength_that_is_followed() -> None:
    """The rest pose, the first of the greatest strength, then evenly; fewer vectors are all taken."""
    strengths = [0.0] * 160
    strengths[77] = strengths[99] = 1.0
    chosen = chosen_vectors(examples(*strengths), ["elbow"])
    assert len(chosen) == 16
    assert {0, 77} <= set(chosen)
    assert 99 not in chosen
    assert chosen_vectors(examples(0.0, 0.6, 1.0), ["elbow"]) == [0, 1, 2]

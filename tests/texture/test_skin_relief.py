"""Details on posed skin, on a square that is laid out in all ways."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.arrays import Floats, Mesh
from plica.rig.surfaces import Detail
from plica.texture.normal_maps import NormalMap
from plica.texture.skin_relief import DetailSkin, Reliefs
from tests.support.meshes import bare_mesh

SQUARE = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
"""As seen from +z, the first corner at the lower left."""
TRIANGLES = np.array([[0, 1, 2], [0, 2, 3]])
LEFT_UP = np.array([[0.0, 1], [1, 1], [1, 0], [0, 0]])
"""u to the right, v down: the map as it is seen."""
FLAT, RIGHT, UP = (128, 128, 255), (218, 128, 218), (128, 218, 218)
PLACES = np.array([[0.2, 0.3, 0.5], [1.0, 0.0, 0.0]])
ROOT = np.sqrt(0.5)


def plain_map(colour: tuple[int, int, int]) -> NormalMap:
    return NormalMap(np.full((2, 2, 3), colour, np.uint8), 8)


def skin(uv: Floats, relaxed: tuple[int, int, int], contracted: tuple[int, int, int] = FLAT) -> DetailSkin:
    mesh = bare_mesh(SQUARE, TRIANGLES)
    laid = Mesh(**{**vars(mesh), "uvs": {"skin": uv}})
    detail = Detail("fur", "a.png", "b.png", None, None, "plain")
    return DetailSkin(detail, plain_map(relaxed), plain_map(contracted), {"line": np.array([1.0, 1, 0, 0])}, laid)


def normals(made: DetailSkin, positions: Floats = SQUARE, strength: float = 0.0) -> Floats:
    own = np.cross(positions[1] - positions[0], positions[3] - positions[0])
    own = np.broadcast_to(own / np.linalg.norm(own), (2, 3))
    return made.posed(positions, {"line": strength}).normals(np.array([0, 1]), PLACES, own)


@pytest.mark.parametrize(
    ("uv", "right", "up"),
    [
        (LEFT_UP, (1, 0), (0, 1)),
        (LEFT_UP * (-1, 1) + (1, 0), (-1, 0), (0, 1)),  # laid out mirrored
        (LEFT_UP[[1, 2, 3, 0]], (0, -1), (1, 0)),  # turned by a quarter
    ],
)
def test_red_leans_along_u_and_green_against_v(uv: Floats, right: tuple[int, int], up: tuple[int, int]) -> None:
    """glTF 2.0, section 3.9.3: green points up in the picture, and v goes down."""
    for colour, way in ((RIGHT, right), (UP, up)):
        expected = np.array([*way, 1.0]) * ROOT
        assert normals(skin(uv, colour)) == pytest.approx(np.broadcast_to(expected, (2, 3)), abs=0.01)


def test_a_flat_map_leaves_the_skin_as_it_is_and_the_skin_carries_the_map_along() -> None:
    turned = SQUARE[:, [2, 0, 1]]  # seen from +x now
    assert normals(skin(LEFT_UP, FLAT), turned) == pytest.approx(np.broadcast_to([1.0, 0, 0], (2, 3)), abs=0.01)
    assert normals(skin(LEFT_UP, RIGHT), turned) == pytest.approx(np.broadcast_to([ROOT, ROOT, 0], (2, 3)), abs=0.01)


def test_a_fold_is_on_where_its_area_is_and_as_far_as_its_strength() -> None:
    made = skin(LEFT_UP, FLAT, RIGHT)
    half, first = normals(made, strength=1.0)
    assert first == pytest.approx([ROOT, 0.0, ROOT], abs=0.01)  # all of the area is at the first corner
    assert 0.3 < half[0] < 0.5
    assert normals(made, strength=0.0)[1] == pytest.approx([0.0, 0.0, 1.0], abs=0.01)


def test_skin_without_texture_coordinates_stays_as_it_is() -> None:
    uv = LEFT_UP.copy()
    uv[3] = np.nan
    result = normals(skin(uv, RIGHT))
    assert result[0] == pytest.approx([ROOT, 0.0, ROOT], abs=0.01) and result[1].tolist() == [0.0, 0.0, 1.0]


def test_several_details_lie_over_each_other() -> None:
    both = Reliefs(tuple(skin(LEFT_UP, colour).posed(SQUARE, {}) for colour in (RIGHT, FLAT)))
    own = np.broadcast_to([0.0, 0.0, 1.0], (2, 3))
    assert both.normals(np.array([0, 1]), PLACES, own) == pytest.approx(normals(skin(LEFT_UP, RIGHT)), abs=0.02)

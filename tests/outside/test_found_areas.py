"""Areas that the skin finds, against what others compute and on real skin.

The strain of affine maps is held against `scipy.linalg.logm` and `expm` (closed form: the logarithm of the right
stretch). On the open face (../shared/data/face, MIT, (c) 2020 USC Institute for Creative Technologies) areas must stay
where they are when the shape is disturbed, the mesh has four times the vertices, or the other side is looked at; on a
full body the fold of an elbow must lie on the side toward which it bends.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm, logm, polar

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.attach import Attached, attach
from plica.mesh.found_areas import FoundAreas
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.neutral_skin import NeutralSkin
from plica.mesh.surface_strain import RestSurface
from plica.pipeline import compile_file
from plica.rig.rig import Character, Rig
from plica.rig.surfaces import DeformedSkin, Region
from plica.workspace import Workspace
from tests.support.data import shared_data
from tests.support.face_model import CENTIMETRE, face_arrays
from tests.support.meshes import bare_mesh

AGREE = 0.9
DISTURBED = 1e-4  # metres


# ---- strain


@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1))
def test_the_strain_of_an_affine_map_is_the_logarithm_of_its_stretch(seed: int) -> None:
    """In a triangle's plane: 1/2 log(F^T F) with F restricted to the plane (closed form)."""
    random = np.random.default_rng(seed)
    positions = random.normal(size=(3, 3))
    linear = expm(random.normal(scale=0.25, size=(3, 3)))
    surface = RestSurface.of(positions, np.array([[0, 1, 2]]))
    (found,) = surface.strain(positions @ linear.T + random.normal(size=3))
    basis = surface.bases[0]
    gradient = linear @ basis
    expected = basis @ (0.5 * logm(gradient.T @ gradient)).real @ basis.T
    np.testing.assert_allclose(found, expected, atol=1e-9)
    # The stretch of the polar decomposition has the same logarithm.
    _, stretch = polar(gradient)
    np.testing.assert_allclose(basis.T @ found @ basis, logm(stretch).real, atol=1e-9)


def test_a_known_stretch_comes_out_at_every_point_and_turns_do_not_count() -> None:
    """exp of a symmetric tensor stretches by that tensor's eigenvalues; smoothing leaves what is even as it is."""
    positions, triangles = _flat(12)
    tensor = np.array([[-0.3, 0.1, 0.0], [0.1, 0.2, 0.0], [0.0, 0.0, 0.0]])
    turn = expm(np.array([[0.0, -0.4, 0.2], [0.4, 0.0, -0.7], [-0.2, 0.7, 0.0]]))
    surface = RestSurface.of(positions, triangles)
    found = surface.smoothed_strain(positions @ (turn @ expm(tensor)).T, 0.05)
    np.testing.assert_allclose(found, np.broadcast_to(tensor, found.shape), atol=1e-9)


def test_smoothing_spreads_a_bump_by_its_width() -> None:
    """The kernel of one implicit step with t = h^2 / 2 has the variance h^2 along each direction."""
    positions, triangles = _flat(81)
    surface, width = RestSurface.of(positions, triangles), 0.06
    bump = np.zeros((len(positions), 1))
    middle = int(np.argmin(np.linalg.norm(positions - positions.mean(axis=0), axis=1)))
    bump[middle] = 1.0
    mass = surface.areas * surface.smoothed(bump, width)[:, 0]
    assert mass.sum() == pytest.approx(surface.areas[middle])
    for axis in (0, 1):
        away = positions[:, axis] - positions[middle, axis]
        assert (mass * away * away).sum() / mass.sum() == pytest.approx(width * width, rel=0.02)


def _flat(count: int) -> tuple[Floats, Integers]:
    """A square of 1 m with so many points along each edge."""
    across, up = np.meshgrid(np.linspace(0.0, 1.0, count), np.linspace(0.0, 1.0, count))
    positions = np.stack([across.ravel(), up.ravel(), np.zeros(count * count)], axis=1)
    corner = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    one, other = (
        np.stack([corner, corner + 1, corner + count + 1], 1),
        np.stack([corner, corner + count + 1, corner + count], 1),
    )
    return positions, np.concatenate([one, other])


# ---- a face


@cache
def face() -> tuple[Floats, Integers]:
    arrays = face_arrays()
    return arrays["neutral"] * CENTIMETRE, arrays["tri_v"].astype(np.int64)


def moves(name: str) -> Floats:
    """What a shape moves, metres (v, 3); both sides of one that has two."""
    arrays = face_arrays()
    result = np.zeros_like(face()[0])
    for one in (name, f"{name}_L", f"{name}_R"):
        if f"idx_{one}" in arrays:
            result[arrays[f"idx_{one}"]] += arrays[f"off_{one}"] * CENTIMETRE
    return result


def area_of(mesh: Mesh, offsets: Floats, how: str = "shortened") -> tuple[Floats, FoundAreas]:
    """The weights (v,) of the area that a shape makes, with everything as it is when nothing is said."""
    shape = Inbetweens(Offsets(np.arange(len(offsets)), offsets))
    source = DeformedSkin(how, ("shape",), (), (), (0.25, 0.75), "peak", 0.5e-4, 0.003, 1e-4)
    region = Region("area", "none", "area", source, 0.002)
    rig = Rig(Character("face", "", None, 1e-3), (), None, (), (), (), (region,), (), (), (), (), ())
    diagnostics = Diagnostics()
    finder = FoundAreas(rig, mesh, NeutralSkin(mesh), {"shape": shape}, diagnostics, lambda region: None)
    weights = finder.of(region, source).weights
    assert not diagnostics.all
    return weights, finder


def overlap(one: Floats, other: Floats, areas: Floats) -> float:
    """How much two areas have in common (Dice 1945): twice what both have, of what each has, by area and weight."""
    return float(2.0 * (areas * np.minimum(one, other)).sum() / (areas * (one + other)).sum())


@cache
def plain(name: str) -> tuple[Floats, Floats]:
    """An area's weights, and the skin of each vertex."""
    weights, finder = area_of(bare_mesh(*face()), moves(name))
    return weights, finder.surface.areas


@pytest.mark.parametrize("name", ("browDown", "mouthSmile", "cheekRaiser"))
def test_areas_stay_where_they_are_under_noise(name: str) -> None:
    weights, areas = plain(name)
    positions, triangles = face()
    noise = np.random.default_rng(7).normal(scale=DISTURBED, size=positions.shape)
    disturbed, _ = area_of(bare_mesh(positions, triangles), moves(name) + noise)
    assert overlap(weights, disturbed, areas) >= AGREE


def test_areas_stay_where_they_are_with_four_times_the_vertices() -> None:
    name = "mouthSmile"
    weights, areas = plain(name)
    positions, triangles = face()
    finer, split, corners = _quartered(positions, triangles)
    denser, _ = area_of(bare_mesh(finer, split), np.concatenate([moves(name), moves(name)[corners].mean(axis=1)]))
    assert overlap(weights, denser[: len(positions)], areas) >= AGREE


def _quartered(positions: Floats, triangles: Integers) -> tuple[Floats, Integers, Integers]:
    """Each triangle as four; the ends (e, 2) of the edges whose middles were added."""
    edges = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2), axis=2)
    known, numbers = np.unique(edges.reshape(-1, 2), axis=0, return_inverse=True)
    middle = len(positions) + numbers.reshape(-1, 3)
    a, b, c = triangles.T
    ab, bc, ca = middle.T
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    split = np.concatenate([np.stack(part, axis=1) for part in parts])
    return np.concatenate([positions, positions[known].mean(axis=1)]), split, known


@pytest.mark.parametrize("name", ("browDown", "noseSneer", "mouthSmile", "cheekRaiser"))
def test_the_sides_of_an_even_face_have_the_same_area(name: str) -> None:
    """The face is even to 0.3 mm; each point's area is compared with that of the point nearest to its mirror image."""
    from scipy.spatial import cKDTree

    weights, areas = plain(name)
    positions, _ = face()
    _, partners = cKDTree(positions).query(positions * (-1.0, 1.0, 1.0))
    assert overlap(weights, weights[partners], areas) >= AGREE


@pytest.mark.parametrize(("name", "upward", "forward"), [("browInnerUp", True, True), ("mouthSmile", False, True)])
def test_areas_lie_where_wrinkles_form(name: str, upward: bool, forward: bool) -> None:
    """Raised brows fold the forehead, above the eyes' middle; a smile the skin beside the mouth, below it (anatomy)."""
    weights, areas = plain(name)
    positions, _ = face()
    shares = areas * weights / (areas * weights).sum()
    blink = np.flatnonzero(np.linalg.norm(moves("eyeBlink"), axis=1) > 2e-3)
    eyes = positions[blink].mean(axis=0)
    middle = shares @ positions
    assert (middle[1] > eyes[1]) == upward
    assert (middle[2] > positions[:, 2].mean()) == forward


# ---- a body


@pytest.fixture(scope="module")
def body(tmp_path_factory: pytest.TempPathFactory) -> tuple[Attached, Rig]:
    model = shared_data("characters", "full_body", "full_body.gltf")
    spec = tmp_path_factory.mktemp("body") / "body.plica"
    spec.write_text(
        f"""plica 1
character body {{ geometry "{model.as_posix()}"   symmetry across x   left "*_l"   right "*_r" }}
driver elbow both {{ reads bend of lowerarm   span 0 deg .. 120 deg }}
region fold both {{ shortened posed at elbow 1   along bone of lowerarm }}
region tip both {{ lengthened posed at elbow 1   along bone of lowerarm }}
""",
        "utf-8",
    )
    compiled = compile_file(spec, [model.parent])
    assert compiled.rig is not None
    attached = attach(compiled.rig, Workspace(spec.parent, [model.parent]).locate, Diagnostics())
    assert attached is not None
    return attached, compiled.rig


@pytest.mark.parametrize("side", ("left", "right"))
def test_an_elbow_folds_on_the_side_toward_which_it_bends(body: tuple[Attached, Rig], side: str) -> None:
    """The forearm of the posed skin lies on the side of the fold, and the tip of the elbow on the other."""
    from plica.mesh.deform import Deformer
    from plica.mesh.pose_solver import PoseSolver
    from plica.rig.surfaces import StrengthPose

    attached, rig = body
    places = attached.mesh.positions
    posed = PoseSolver(rig).pose((StrengthPose(f"{side}_elbow", 1.0),)).poses
    moved = next(iter(Deformer(attached.mesh, rig, {}).positions(posed))).positions[0]
    forearm = np.linalg.norm(moved - places, axis=1) > 0.1
    toward = (moved - places)[forearm].mean(axis=0)
    bone = places[forearm].mean(axis=0) - _middle(attached.regions[f"{side}_tip"], places)
    toward -= (toward @ bone) / (bone @ bone) * bone
    middles = {name: _middle(attached.regions[f"{side}_{name}"], places) for name in ("fold", "tip")}
    assert (middles["fold"] - middles["tip"]) @ toward > 0.02 * np.linalg.norm(toward)
    other = attached.regions[f"{'right' if side == 'left' else 'left'}_fold"]
    assert not ((attached.regions[f"{side}_fold"] > 0.0) & (other > 0.0)).any()


def _middle(weights: Floats, places: Floats) -> Floats:
    return np.asarray(weights @ places / weights.sum())

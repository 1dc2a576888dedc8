"""Regions on Wren's mesh: partition, sets, sides, feather, and what is reported."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.npz import written
from plica.mesh.painting import read_painting
from plica.mesh.region_sets import SET_OPERATIONS
from plica.mesh.region_sources import agreed
from plica.mesh.regions import region_weights
from plica.mesh.side_weights import SideWeights, halves_of, side_weights
from plica.rig.rig import Rig
from plica.rig.surfaces import Painted, Region, RegionSource, SkinOf, Stored
from plica.specs.wren.model import wren
from plica.workspace import Refused
from tests.support.wren import Skinned, skinned

DECLARATIONS = """
region forearm both { skin of lowerarm   feather 12 mm }
region arm     both { skin of upperarm and below }
region nape    both { skin of neck       feather 15 mm }
region flank   both { skin of spine_3, collar }
region armpit  both { intersection of arm, flank }
region rest_of_flank both { difference of flank, arm }
region muzzle  both { painted "masks/muzzle.png" }
region whole_muzzle { painted "masks/muzzle.png" }
region lips    both { difference of muzzle, nape }
region whole_nape   { skin of neck       feather 15 mm }
region skull   both { skin of head }
region whole_skull  { skin of head }
region thin    both { difference of skull, skull }
region face         { union of whole_muzzle, whole_nape }
"""


@pytest.fixture(scope="module")
def character(tmp_path_factory: pytest.TempPathFactory) -> Skinned:
    return skinned(DECLARATIONS, tmp_path_factory.mktemp("wren"))


def sides_of(rig: Rig, mesh: Mesh) -> SideWeights:
    halves = halves_of(rig)
    assert halves is not None
    return side_weights(mesh, halves, tolerance=rig.character.tolerance)


@pytest.fixture(scope="module")
def weights(character: Skinned) -> Mapping[str, Floats]:
    diagnostics = Diagnostics()
    result = region_weights(
        character.rig, character.mesh, sides_of(character.rig, character.mesh), character.read, diagnostics
    )
    assert diagnostics.all == ()
    return result


def partners(mesh: Mesh) -> np.ndarray:
    """Wren's vertices' partners: she is mirrored by construction, and her file keeps the order of her arrays."""
    model = wren()
    assert np.array_equal(mesh.positions, model.positions)
    return model.partner


def test_every_region_has_a_weight_from_0_to_1_for_each_vertex(
    character: Skinned, weights: Mapping[str, Floats]
) -> None:
    assert list(weights) == [region.name for region in character.rig.regions]
    for name, values in weights.items():
        assert values.shape == (character.mesh.vertex_count,)
        assert ((values >= 0.0) & (values <= 1.0)).all()
        assert values.any(), name


def test_copies_of_a_point_agree_bit_for_bit(character: Skinned, weights: Mapping[str, Floats]) -> None:
    points = character.mesh.points
    assert character.mesh.point_count < character.mesh.vertex_count
    first = np.unique(points, return_index=True)[1]
    for values in weights.values():
        assert np.array_equal(values, values[first][points])


def test_sides_mirror_each_other_bit_for_bit(character: Skinned, weights: Mapping[str, Floats]) -> None:
    partner = partners(character.mesh)
    for name in ("forearm", "arm", "nape", "flank", "armpit", "rest_of_flank", "muzzle", "lips"):
        assert np.array_equal(weights[f"left_{name}"], weights[f"right_{name}"][partner]), name


def test_left_and_right_of_what_covers_both_sides_add_up_to_the_whole(weights: Mapping[str, Floats]) -> None:
    for name in ("muzzle", "nape", "skull"):
        whole = weights[f"whole_{name}"]
        assert np.array_equal(weights[f"left_{name}"] + weights[f"right_{name}"], whole)


def test_the_seam_of_a_region_over_both_sides_carries_half_on_each_side(
    character: Skinned, weights: Mapping[str, Floats]
) -> None:
    """Common practice, no source: points on the midline carry 0.5 for each side."""
    seam = character.mesh.positions[:, 0] == 0.0
    for name in ("skull", "muzzle"):
        whole = weights[f"whole_{name}"]
        assert np.array_equal(weights[f"left_{name}"][seam], 0.5 * whole[seam])
        assert np.array_equal(weights[f"right_{name}"][seam], 0.5 * whole[seam])
    assert weights["left_skull"][seam].max() == 0.5


def skin_of(mesh: Mesh, rig: Rig, *names: str) -> Floats:
    """The joints' skin weights, summed the plain way."""
    numbers = [index for index, joint in enumerate(rig.skeleton) if joint.name in names]
    total = np.zeros(mesh.vertex_count)
    for column in range(mesh.joints.shape[1]):
        counted = np.isin(mesh.bind_joints[mesh.joints[:, column]], numbers)
        total += np.where(counted, mesh.weights[:, column], 0.0)
    return total


def test_a_sides_own_joints_are_not_cut_at_the_seam(character: Skinned, weights: Mapping[str, Floats]) -> None:
    mesh, rig = character.mesh, character.rig
    left = [joint.name for joint in rig.skeleton if joint.side == "left"]
    region = next(region for region in rig.regions if region.name == "left_arm")
    assert isinstance(region.source, SkinOf)
    assert set(region.source.joints) <= set(left)
    assert np.allclose(weights["left_arm"], skin_of(mesh, rig, *region.source.joints), atol=1e-12)


def test_a_middle_joint_is_split_and_a_sides_own_joint_beside_it_is_not(
    character: Skinned, weights: Mapping[str, Floats]
) -> None:
    mesh, rig = character.mesh, character.rig
    spine = skin_of(mesh, rig, "spine_3")
    left, right = skin_of(mesh, rig, "collar_lf"), skin_of(mesh, rig, "collar_rt")
    assert (spine > 0.0).any() and (left > 0.0).any()
    total = weights["left_flank"] + weights["right_flank"]
    assert np.allclose(total, left + right + spine, atol=1e-12)
    on_left = mesh.positions[:, 0] > 1e-5
    assert np.allclose(weights["left_flank"][on_left], (left + spine)[on_left], atol=1e-12)


def test_sets_take_the_greatest_the_least_and_what_is_left(weights: Mapping[str, Floats]) -> None:
    assert np.array_equal(weights["face"], np.maximum(weights["whole_muzzle"], weights["whole_nape"]))
    assert np.array_equal(weights["left_lips"] + weights["right_lips"],
                          weights["whole_muzzle"] * (1.0 - weights["whole_nape"]))  # fmt: skip
    left_half = weights["left_arm"] <= weights["left_flank"]
    assert np.array_equal(weights["left_armpit"][left_half], weights["left_arm"][left_half])


def test_the_difference_of_a_region_with_itself_is_nothing_on_the_seam_too(
    character: Skinned, weights: Mapping[str, Floats]
) -> None:
    seam = character.mesh.positions[:, 0] == 0.0
    inside = seam & (weights["whole_skull"] == 1.0)
    assert inside.any()
    assert not weights["left_thin"][inside].any()


def test_skin_softer_than_the_feather_stays_as_it_is(character: Skinned, weights: Mapping[str, Floats]) -> None:
    hard = skin_of(character.mesh, character.rig, "lowerarm_lf")
    assert np.allclose(weights["left_forearm"], hard, atol=1e-12)


# ---- the algebra of sets ------------------------------------------------------------------------------

# Multiples of 1/64 add, subtract and multiply without rounding.
exact = st.lists(st.integers(0, 64).map(lambda value: value / 64), min_size=5, max_size=5).map(np.array)


def union(*parts: Floats) -> Floats:
    return SET_OPERATIONS["union"].weights(parts)


def intersection(*parts: Floats) -> Floats:
    return SET_OPERATIONS["intersection"].weights(parts)


def difference(*parts: Floats) -> Floats:
    return SET_OPERATIONS["difference"].weights(parts)


@given(exact, exact, exact)
def test_sets_obey_the_laws_of_sets(a: Floats, b: Floats, c: Floats) -> None:
    same = np.array_equal
    everything, nothing = np.ones(5), np.zeros(5)
    for both in (union, intersection):
        assert same(both(a, b), both(b, a))
        assert same(both(a, b, c), both(both(a, b), c))
        assert same(both(a, a), a)
    assert same(union(a, intersection(a, b)), a)
    assert same(intersection(a, union(a, b)), a)
    assert same(intersection(a, union(b, c)), union(intersection(a, b), intersection(a, c)))
    assert same(difference(everything, union(a, b)), intersection(difference(everything, a), difference(everything, b)))
    assert same(difference(a, nothing), a)
    assert same(difference(a, everything), nothing)
    assert same(difference(a), a)
    assert same(difference(a, b, c), difference(a, union(b, c)))
    # What a difference leaves and what it takes make up the first again.
    assert same(difference(a, b) + a * b, a)


# ---- what is reported ---------------------------------------------------------------------------------


def with_source(character: Skinned, source: RegionSource, feather: float = 0.0, side: str = "none") -> Rig:
    region = Region("area", "left" if side == "left" else "none", "area", source, feather)
    return character.rig._replace(regions=(region,))


def png(mode: str, colour: object, size: tuple[int, int] = (4, 4)) -> bytes:
    content = io.BytesIO()
    Image.new(mode, size, colour).save(content, "PNG")  # type: ignore[arg-type]
    return content.getvalue()


def found_by(
    character: Skinned, rig: Rig, read: Callable[[str], bytes | Refused], mesh: Mesh | None = None, halved: bool = True
) -> tuple[list[str], Floats]:
    mesh = mesh or character.mesh
    diagnostics = Diagnostics()
    sides = sides_of(rig, mesh) if halved else None
    result = region_weights(rig, mesh, sides, read, diagnostics)
    return [one.name for one in diagnostics.all], result["area"]


def test_an_image_in_colour_or_with_alpha_is_said(character: Skinned) -> None:
    rig = with_source(character, Painted("area.png", None))
    names, values = found_by(character, rig, lambda file: png("RGB", (255, 0, 0)))
    assert names == ["painted-in-colour"]
    assert np.allclose(values, 0.2126)
    names, values = found_by(character, rig, lambda file: png("LA", (255, 51)))
    assert names == ["painted-transparent"]
    assert np.allclose(values, 0.2)


def test_files_that_cannot_be_used_weigh_nothing_and_are_reported_once(character: Skinned) -> None:
    painted = with_source(character, Painted("area.png", None))
    stored = with_source(character, Stored("area.npz"))
    cut = png("L", 255)[:-30]
    refused = Refused("missing-file", {"file": "area.png", "reason": "not there"})
    for rig, answer, expected in (
        (painted, b"no image", "unreadable-painting"),
        (painted, cut, "unreadable-painting"),
        (painted, b"", "unreadable-painting"),
        (painted, refused, "missing-file"),
        (stored, b"no archive", "unreadable-vertices"),
        (stored, written({"indices": np.array([0, 10**6])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([3, 3])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([-1, 3])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([0.5])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([1]), "weights": np.array([np.nan])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([1]), "weights": np.array([0.1, 0.2])}), "unreadable-vertices"),
        (stored, written({"indices": np.array([1]), "vertex_count": np.array(7)}), "unreadable-vertices"),
        (stored, written({"other": np.array([1])}), "unreadable-vertices"),
    ):
        names, values = found_by(character, rig, lambda file, answer=answer: answer)  # type: ignore[misc]
        assert names == [expected]
        assert not values.any()


def test_stored_vertices_weigh_what_the_file_says_on_all_copies(character: Skinned) -> None:
    rig = with_source(character, Stored("area.npz"))
    points = character.mesh.points
    copied = int(np.flatnonzero(np.bincount(points) > 1)[-1])
    chosen = np.flatnonzero(points == copied)
    archive = written({"indices": np.array([chosen[-1], 0]), "weights": np.array([0.75, 1.0])})
    names, values = found_by(character, rig, lambda file: archive)
    assert names == []
    assert np.array_equal(values[chosen], np.full(len(chosen), 0.75))
    assert values[0] == 1.0
    assert np.count_nonzero(values) == len(chosen) + int((points == points[0]).sum())


def test_what_a_painting_needs_of_the_mesh(character: Skinned) -> None:
    white = png("L", 255)
    mesh = character.mesh
    rig = with_source(character, Painted("area.png", "second"))
    assert found_by(character, rig, lambda file: white)[0] == ["painted-without-uv"]
    rig = with_source(character, Painted("area.png", None))
    bare = replace(mesh, uvs={})
    assert found_by(character, rig, lambda file: white, bare)[0] == ["painted-without-uv"]
    name, uv = next(iter(mesh.uvs.items()))
    moved = replace(mesh, uvs={name: uv + np.array([1.0, 0.0])})
    assert found_by(character, rig, lambda file: white, moved)[0] == ["painted-outside"]
    lacking = uv.copy()
    lacking[:5] = np.nan
    names, values = found_by(character, rig, lambda file: white, replace(mesh, uvs={name: lacking}))
    assert names == []
    alone = ~np.isin(mesh.points, mesh.points[5:])
    assert np.array_equal(values, np.where(alone, 0.0, 1.0))


def test_copies_that_are_painted_apart_are_said_and_get_the_mean(character: Skinned) -> None:
    rig = with_source(character, Painted("area.png", None))
    stripes = np.zeros((1, 512), np.uint8)
    stripes[:, ::2] = 255
    content = io.BytesIO()
    Image.fromarray(stripes).save(content, "PNG")
    names, _ = found_by(character, rig, lambda file: content.getvalue())
    assert names == ["painted-apart"]
    points = np.array([0, 1, 1, 0, 2])
    assert agreed(points, np.array([0.1, 1.0, 0.0, 0.1, 0.3])).tolist() == [0.1, 0.5, 0.3]


@pytest.mark.parametrize("painted", ["left", "right"])
def test_what_covers_one_side_alone_is_mirrored_and_said(character: Skinned, painted: str) -> None:
    """Both halves of what is painted on one side are mirror images, vertex by vertex."""
    mesh, model = character.mesh, wren()
    uv = mesh.uvs["TEXCOORD_0"]
    left = sides_of(character.rig, mesh).left == 1.0
    beyond = (uv[left][:, 0].mean() > 0.5) == (painted == "left")
    image = np.rint(np.asarray(read_painting(demo_files()["masks/muzzle.png"]).values) * 255.0).astype(np.uint8)
    half = image.shape[1] // 2
    image[:, slice(half) if beyond else slice(half, None)] = 0
    content = io.BytesIO()
    Image.fromarray(image).save(content, "PNG")
    source = Painted("area.png", None)
    regions = tuple(Region(f"{side}_area", side, "area", source, 0.0) for side in ("left", "right"))
    assert np.array_equal(mesh.positions, model.positions)
    diagnostics = Diagnostics()
    first, copies = np.unique(mesh.points, return_index=True)
    partners = mesh.points[model.partner[copies]]
    assert np.array_equal(first, np.arange(len(first)))
    result = region_weights(
        character.rig._replace(regions=regions),
        mesh,
        sides_of(character.rig, mesh),
        lambda file: content.getvalue(),
        diagnostics,
        partners=partners,
    )
    assert [one.name for one in diagnostics.all] == ["region-mirrored"]
    other = "right" if painted == "left" else "left"
    assert f"its {other} half" in diagnostics.all[0].message
    ours, theirs = result[f"{painted}_area"], result[f"{other}_area"]
    assert ours.max() > 0.9
    assert np.abs(theirs - ours[model.partner]).max() < 1e-12
    alone = character.rig._replace(regions=(regions[0] if other == "left" else regions[1],))
    sides, told = sides_of(character.rig, mesh), Diagnostics()
    result = region_weights(alone, mesh, sides, lambda file: content.getvalue(), told, partners=partners)
    assert told.all == ()
    assert not result[f"{other}_area"][sides.of(other) == 1.0].any(), "declared for this side, so nothing is mirrored"


def test_empty_regions_useless_feathers_and_a_missing_plane_are_said(character: Skinned) -> None:
    rig = with_source(character, Painted("area.png", None))
    assert found_by(character, rig, lambda file: png("L", 0))[0] == ["empty-region"]
    rig = with_source(character, Painted("area.png", None), feather=0.01)
    assert found_by(character, rig, lambda file: png("L", 90))[0] == ["feather-without-edge"]
    rig = with_source(character, Painted("area.png", None), side="left")
    assert found_by(character, rig, lambda file: png("L", 90), halved=False)[0] == ["side-without-plane"]


def test_feather_softens_the_edge_of_a_stored_set_and_keeps_what_is_far_from_it(character: Skinned) -> None:
    hard = skin_of(character.mesh, character.rig, "lowerarm_lf") >= 0.5
    archive = written({"indices": np.flatnonzero(hard)})
    rig = with_source(character, Stored("area.npz"), feather=0.03)
    names, soft = found_by(character, rig, lambda file: archive)
    assert names == []
    assert ((soft >= 0.5) == hard).all()
    assert ((soft > 0.0) & (soft < 1.0)).sum() > 200
    positions = character.mesh.positions
    outside = positions[~hard]
    longest = np.linalg.norm(
        positions[character.mesh.triangles] - np.roll(positions[character.mesh.triangles], 1, 1), axis=2
    ).max()
    for place in positions[hard & (soft < 1.0)]:
        assert np.linalg.norm(outside - place, axis=1).min() <= 0.015 + longest

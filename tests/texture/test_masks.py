"""Folds to packed textures on Wren's mesh: the masks' values, sides, mirror images, budgets and what is told."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from plica.demo import demo_files
from plica.diagnostics import Diagnostic, Diagnostics
from plica.emit.build import Build
from plica.emit.masks import mask_places, masks
from plica.mesh.arrays import Floats
from plica.mesh.painting import Painting, read_painting, sampled
from plica.specs.wren.model import wren
from plica.texture.atlas import atlas_of
from plica.texture.layout_mirror import layout_mirror, mirror_places, mirrored_corners
from plica.texture.mask_set import MaskOptions, MaskSet
from tests.support.masks import DETAIL, FOLDS, folded, steepness

SMALL = MaskOptions(256)


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    return folded(tmp_path_factory.mktemp("wren"))


def made(build: Build, options: MaskOptions = SMALL) -> tuple[MaskSet, tuple[Diagnostic, ...]]:
    diagnostics = Diagnostics()
    result = masks(build, diagnostics, options)
    assert result is not None, [item.message for item in diagnostics.all]
    return result, diagnostics.all


def channel(whole: MaskSet, fold: str) -> Floats:
    """A fold's mask as a reader of its texture finds it."""
    place = whole.places[fold]
    texture = next(each for each in whole.textures if each.file == place.file)
    pixels = np.asarray(Image.open(io.BytesIO(texture.content)))
    index = ("red", "green", "blue", "alpha").index(place.channel)
    return np.asarray((pixels if pixels.ndim == 2 else pixels[..., index]) / 255.0)


def full(whole: MaskSet, fold: str) -> Floats:
    images = whole.masks[fold].sized.images
    return np.asarray(images[max(images)] / 255.0)


def uv_of(build: Build) -> Floats:
    assert build.attached is not None
    return build.attached.mesh.uvs["TEXCOORD_0"]


def test_masks_in_textures_are_within_tolerance_of_the_full_size_on_the_mesh(build: Build) -> None:
    whole, told = made(build)
    assert told == ()
    uv = uv_of(build)
    for fold in build.rig.folds:
        small, large = channel(whole, fold.name), full(whole, fold.name)
        apart = np.abs(sampled(Painting(small), uv) - sampled(Painting(large), uv)).max()
        assert apart <= fold.tolerance + 0.5 / 255.0 + 1e-6, fold.name


def test_full_masks_are_the_areas_weights(build: Build) -> None:
    """At the vertices, seams of the layout included, to what a linear lookup can give.

    A lookup mixes four texels whose middles are, in the mean of its weights, t (1 - t) 2 <= 1/2 texel away to the side
    and as much up or down, so it is off by at most half the steepness there, and by half a step of 8 bits. What a
    painting holds between vertices, it holds too: there the image's own steepness counts, and its sides' on top.
    """
    assert build.attached is not None and build.attached.sides is not None
    whole, _ = made(build, MaskOptions(1024))
    uv, triangles = uv_of(build), build.attached.mesh.triangles
    image = np.asarray(read_painting(demo_files()["masks/muzzle.png"]).values)
    painted = sum(np.abs(np.diff(image, axis=axis)).max() for axis in (0, 1)) * image.shape[0] / 1024
    sides = {side: build.attached.sides.of(side) for side in ("left", "right")}
    for fold in build.rig.folds:
        weights = build.attached.regions[fold.area]
        apart = np.abs(sampled(Painting(full(whole, fold.name)), uv) - weights)
        if "muzzle" in fold.name:
            steep = painted + steepness(uv, triangles, sides[fold.side], 1024)
        else:
            steep = steepness(uv, triangles, weights, 1024)
        assert (apart <= steep / 2.0 + 0.5 / 255.0 + 1e-6).all(), fold.name
        assert np.quantile(apart, 0.99) < 0.5 / 255.0, fold.name


def test_sides_add_up_to_the_painting_and_keep_apart(build: Build) -> None:
    """Partition of unity in texture space: everywhere on the skin, to the rounding of two masks of 8 bits."""
    whole, _ = made(build)
    left, right = full(whole, "left_muzzle_lines"), full(whole, "right_muzzle_lines")
    painting = read_painting(demo_files()["masks/muzzle.png"])
    assert build.attached is not None
    sheet = atlas_of(uv_of(build), build.attached.mesh.triangles, 256)
    texels = sheet.raster.texels
    both = (left + right).reshape(-1)[texels]
    assert np.abs(both - sampled(painting, sheet.places)).max() <= 1.0 / 255.0 + 1e-6
    far = np.abs(sheet.places[:, 0] - 0.5) > 0.05  # Wren's middle lies on u = 0.5
    assert (np.minimum(left, right).reshape(-1)[texels][far] == 0.0).all()


def test_a_painting_keeps_what_is_finer_than_the_mesh(tmp_path: Path) -> None:
    """Stripes of two texels, which the vertices cannot hold."""
    stripes = np.zeros((512, 512), np.uint8)
    stripes[::8], stripes[1::8] = 255, 255
    content = io.BytesIO()
    Image.fromarray(stripes).save(content, "PNG")
    spec = DETAIL + 'region lines { painted "lines.png" }\nfold lines { in fur area lines follows turn }\n'
    build = folded(tmp_path, spec, **{"lines.png": content.getvalue()})
    whole, _ = made(build, MaskOptions(512))
    assert build.attached is not None
    sheet = atlas_of(uv_of(build), build.attached.mesh.triangles, 512)
    covered = sheet.covered
    assert (full(whole, "lines")[covered] == (stripes / 255.0)[covered]).all()


@pytest.mark.parametrize("depth", [8, 16])
def test_paintings_of_8_and_16_bits(tmp_path: Path, depth: int) -> None:
    grey = np.full((8, 8), 51 if depth == 8 else 51 * 257, np.uint8 if depth == 8 else np.uint16)
    content = io.BytesIO()
    Image.fromarray(grey).save(content, "PNG")
    spec = DETAIL + 'region grey { painted "grey.png" }\nfold grey { in fur area grey follows turn }\n'
    whole, _ = made(folded(tmp_path, spec, **{"grey.png": content.getvalue()}), MaskOptions(64))
    assert (channel(whole, "grey") == 0.2).all()
    assert whole.textures[0].size == 4


# ---- mirror images


def half_painted() -> bytes:
    """The muzzle, painted on the left alone."""
    image = np.asarray(read_painting(demo_files()["masks/muzzle.png"]).values)
    build_uv = wren().texture_coordinates
    left_is_beyond = build_uv[wren().positions[:, 0] > 0.05][:, 0].mean() > 0.5
    columns = np.arange(image.shape[1]) < image.shape[1] // 2
    kept = np.where(columns if not left_is_beyond else ~columns, image, 0.0)
    content = io.BytesIO()
    Image.fromarray(np.rint(kept * 255.0).astype(np.uint8)).save(content, "PNG")
    return content.getvalue()


HALF = (
    DETAIL + 'region muzzle both { painted "half.png" }\nfold muzzle_lines both { in fur area muzzle follows turn }\n'
)


def test_what_is_painted_on_one_side_alone_is_mirrored(tmp_path: Path) -> None:
    build = folded(tmp_path, HALF, **{"half.png": half_painted()})
    whole, told = made(build)
    assert [item.name for item in told] == []
    left, right = full(whole, "left_muzzle_lines"), full(whole, "right_muzzle_lines")
    assert left.max() > 0.9
    assert build.attached is not None
    covered = atlas_of(uv_of(build), build.attached.mesh.triangles, 256).covered
    covered &= covered[:, ::-1]  # middles on an edge fall to the left one on either side
    assert np.abs(left - right[:, ::-1])[covered].max() < 0.02
    assert whole.masks["right_muzzle_lines"].mirrored
    assert not whole.masks["left_muzzle_lines"].mirrored


def test_mirroring_in_the_layout_and_through_the_surface_agree(build: Build) -> None:
    """Wren's layout is its own mirror image; through the surface, which needs no such layout, comes the same."""
    attached = build.attached
    assert attached is not None and attached.symmetry is not None
    uv = uv_of(build)
    layout = layout_mirror(uv, attached.symmetry, 256)
    assert layout is not None
    assert (layout.axis, round(layout.total, 6)) == (0, 1.0)
    sheet = atlas_of(uv, attached.mesh.triangles, 256)
    in_layout = mirror_places(sheet, attached.mesh, uv, attached.symmetry)
    assert in_layout.known.all()
    corners = mirrored_corners(attached.mesh, sheet.raster.corners, attached.symmetry)[sheet.raster.triangles]
    known = (corners >= 0).all(axis=1)
    assert known.mean() > 0.99
    through = (sheet.raster.weights[known][:, :, None] * uv[corners[known]]).sum(axis=1)
    apart = np.abs(through - in_layout.places[known]).max(axis=1)
    assert np.quantile(apart, 0.99) < 0.01 / 256  # the rest lies on the seam, where a point has two places


def test_a_layout_without_a_mirror_is_mirrored_through_the_surface(build: Build) -> None:
    """The right half is moved and turned in the layout; every texel's mirror image is still its partner."""
    attached = build.attached
    assert attached is not None and attached.symmetry is not None
    mesh, uv = attached.mesh, uv_of(build)
    right = (mesh.positions[mesh.triangles][:, :, 0].mean(axis=1) < 0.0)[:, None] & np.ones((1, 3), bool)
    beyond = np.unique(mesh.triangles[right.all(axis=1)])
    middle = np.unique(mesh.triangles[~right.all(axis=1)])
    moved = uv * 0.5
    only = np.setdiff1d(beyond, middle)
    moved[only] = np.stack([0.5 + 0.4 * uv[only, 1], 0.5 + 0.4 * uv[only, 0]], axis=1)
    assert layout_mirror(moved, attached.symmetry, 256) is None
    keep = mesh.triangles[(np.isin(mesh.triangles, only).all(axis=1)) | (~np.isin(mesh.triangles, only).any(axis=1))]
    cut = replace(mesh, triangles=keep)
    sheet = atlas_of(moved, keep, 256)
    places, known = mirror_places(sheet, cut, moved, attached.symmetry)
    assert known.mean() > 0.9
    # Where the skin of each texel is, and where the skin is at its mirror image's place of the texture: worked out from
    # the triangle there, found again from its corners' texture coordinates.
    raster = sheet.raster
    here = (raster.weights[:, :, None] * mesh.positions[raster.corners[raster.triangles]]).sum(axis=1)[known]
    corners = mirrored_corners(cut, raster.corners, attached.symmetry)[raster.triangles[known]]
    laid = moved[corners] - places[known][:, None]
    area = np.abs(np.linalg.det(laid[:, 1:] - laid[:, :1]))
    wide = area > 0.01 / 256**2  # a hundredth of a texel: in narrower ones the equations below lose digits
    rows = np.concatenate([laid[wide].transpose(0, 2, 1), np.ones((int(wide.sum()), 1, 3))], axis=1)
    shares = np.linalg.solve(rows, np.array([0.0, 0.0, 1.0])[None, :, None])[..., 0]
    there = (shares[:, :, None] * mesh.positions[corners[wide]]).sum(axis=1)
    assert wide.mean() > 0.99
    assert np.abs(there * (-1.0, 1.0, 1.0) - here[wide]).max() < 1e-6


# ---- what is told


def names(build: Build, options: MaskOptions = SMALL) -> list[str]:
    diagnostics = Diagnostics()
    masks(build, diagnostics, options)
    return [item.name for item in diagnostics.all]


def with_uv(build: Build, uv: Floats) -> Build:
    assert build.attached is not None
    mesh = replace(build.attached.mesh, uvs={"TEXCOORD_0": uv})
    return replace(build, attached=replace(build.attached, mesh=mesh))


def test_sides_that_share_their_texels_are_told(build: Build) -> None:
    uv = uv_of(build).copy()
    uv[:, 0] = np.where(uv[:, 0] > 0.5, 1.0 - uv[:, 0], uv[:, 0])
    told = names(with_uv(build, uv))
    assert "uvs-overlap" in told
    assert told.count("mask-on-shared-texels") >= 4


def test_coordinates_out_of_range_and_unusable_ones_are_told(build: Build) -> None:
    assert names(with_uv(build, uv_of(build) + np.array([1.0, 0.0]))) == ["uvs-outside"]
    uv = uv_of(build).copy()
    uv[:100] = np.nan
    assert "uvs-unusable" in names(with_uv(build, uv))


def test_skin_without_any_room_in_the_texture_is_told(build: Build) -> None:
    assert "mask-is-black" in names(with_uv(build, uv_of(build) * 1e-6))


def test_over_budget_says_what_to_shrink_and_that_helps(build: Build) -> None:
    """Taking the advice, with the numbers as they are printed, makes the largest masks half as large."""
    tight = build.rig._replace(
        details=tuple(detail._replace(budget=1e4) for detail in build.rig.details),
        folds=tuple(fold._replace(tolerance=0.004) for fold in build.rig.folds),
    )
    diagnostics = Diagnostics()
    whole = masks(replace(build, rig=tight), diagnostics, SMALL)
    assert whole is not None
    told = [item for item in diagnostics.all if item.name == "over-budget"]
    assert len(told) == 1 and told[0].hint is not None
    advised = dict(part.strip().removeprefix("`").split("` with ") for part in told[0].hint.split(": ")[-1].split(","))
    assert advised
    largest = max(mask.size for mask in whole.masks.values())
    eased = tuple(
        fold._replace(tolerance=float(advised[fold.declared].split()[0]) / 100.0) if fold.declared in advised else fold
        for fold in tight.folds
    )
    again = masks(replace(build, rig=tight._replace(folds=eased)), Diagnostics(), SMALL)
    assert again is not None
    for mask in again.masks.values():
        assert mask.size < largest or mask.fold.declared not in advised


def test_a_tolerance_finer_than_8_bits_is_told(build: Build) -> None:
    fine = build.rig._replace(folds=tuple(fold._replace(tolerance=0.0) for fold in build.rig.folds))
    assert set(names(replace(build, rig=fine))) == {"tolerance-below-a-step"}


def test_folds_without_a_mesh_or_its_uv_set_are_told(build: Build) -> None:
    assert names(replace(build, attached=None)) == ["masks-without-mesh"]
    details = tuple(detail._replace(uv="other") for detail in build.rig.details)
    told = names(replace(build, rig=build.rig._replace(details=details)))
    assert set(told) == {"mask-without-uv"}
    assert len(told) == 3  # painted folds stay on their image's set


# ---- one making for all targets


def test_masks_are_made_once_for_all_who_ask(build: Build) -> None:
    first, _ = made(build)
    assert masks(build, Diagnostics(), SMALL) is first
    assert mask_places(build, Diagnostics(), SMALL) == first.places
    assert set(first.places) == {fold.name for fold in build.rig.folds}
    assert masks(build, Diagnostics(), MaskOptions(128)) is not first


def test_a_rig_without_folds_has_none(build: Build) -> None:
    bare = replace(build, rig=build.rig._replace(folds=()))
    assert masks(bare, Diagnostics()) is None
    assert mask_places(bare, Diagnostics()) == {}


def test_order_of_declarations_does_not_matter(tmp_path: Path, build: Build) -> None:
    lines = FOLDS.strip().split("\n")[::-1]
    turned = folded(tmp_path, DETAIL + "\n".join(lines) + "\n")
    assert made(turned)[0].textures == made(build)[0].textures

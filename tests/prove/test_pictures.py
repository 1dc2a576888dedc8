"""Pictures of worst places: what they show, checked on the numbers behind them and on the pixels."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from functools import lru_cache
from math import ceil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from plica.commands.main import run
from plica.evaluate.poses import SparsePose
from plica.mesh.arrays import Floats
from plica.picture.camera_placement import camera_for
from plica.picture.colors import linear
from plica.picture.page import INK, LINE, MARGIN, PAPER, TEXT, Page, _font
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.report import pictures
from plica.prove.report.nearest import nearest_on, nearest_places
from plica.prove.report.pictures import (
    BEYOND,
    REGION,
    SKIN,
    TINT,
    _towards,
    picture_of,
    pictures_of,
    solid_of,
    wanted_of,
)
from plica.prove.report.scenes import Stage, WorstScene
from plica.prove.results import Result
from tests.support.arms import ELBOW, SHAPE, Arms, arms
from tests.support.cloth import SPEC, cloth
from tests.support.meshes import bare_mesh

EXPECTED = """
expect left {
    volume of forearm within 2 % over elbow
    stretch of forearm at most 40 % over elbow
    shear of forearm at most 20 deg over elbow
    crossing of upperarm none over elbow
    clearance of left upperarm from right upperarm at least 19 cm over elbow
}
expect { rest }
"""


@lru_cache(maxsize=2)
def shown(strength: float) -> tuple[Arms, dict[str, Result]]:
    made = arms(ELBOW + SHAPE + EXPECTED, strength)
    found = Prover(ProofSubject(made.rig, made.attached)).results()
    return made, {result.expectation.kind: result for result in found}


def scene(kind: str, strength: float = 1.0) -> WorstScene:
    made, results = shown(strength)
    result = Stage(made.rig, made.attached).scene(results[kind])
    assert result is not None
    return result


def has(picture: Image.Image, colour: tuple[int, int, int], hue: float = 12.0) -> int:
    """Pixels of about this hue that are not grey."""
    wanted = Image.new("RGB", (1, 1), colour).convert("HSV").getpixel((0, 0))
    assert isinstance(wanted, tuple)
    values = np.asarray(picture.convert("HSV")).astype(np.int64)
    apart = np.abs((values[..., 0] - wanted[0] + 128) % 256 - 128)
    return int(((apart <= hue) & (values[..., 1] > 60)).sum())


@pytest.mark.parametrize("kind", ["volume", "clearance"])
def test_a_picture_is_a_png_that_shows_the_region(kind: str) -> None:
    _, results = shown(1.0)
    content = picture_of(scene(kind), results[kind])
    picture = Image.open(io.BytesIO(content))
    assert (picture.format, picture.mode) == ("PNG", "RGB")
    assert picture.width == 1260 and picture.height > 750
    assert has(picture.crop((20, 20, 820, 660)), REGION) > 2000
    assert has(picture.crop((840, 20, 1240, 330)), REGION) > 400
    assert content == picture_of(scene(kind), results[kind])


def test_a_hidden_place_is_shown_with_the_region_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    _, results = shown(1.0)
    open_view = Image.open(io.BytesIO(picture_of(scene("stretch"), results["stretch"]))).crop((840, 350, 1240, 660))
    monkeypatch.setattr(pictures, "is_hidden", lambda solid, wanted, camera: True)
    content = picture_of(scene("stretch"), results["stretch"])
    alone = Image.open(io.BytesIO(content)).crop((840, 350, 1240, 660))
    assert alone.tobytes() != open_view.tobytes()
    assert has(alone, BEYOND) > 100


def test_only_the_skin_has_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "picture_of", lambda scene, result: b"")
    made, results = shown(1.0)
    found = list(pictures_of(ProofSubject(made.rig, made.attached), list(results.values())))
    assert {result.expectation.kind for result, _ in found} == {"volume", "stretch", "shear", "crossing", "clearance"}
    names = [result.picture for result, _ in found]
    assert len(set(names)) == len(names)
    assert all(name.isascii() and name.endswith(".png") and "/" not in name for name in names)
    assert list(pictures_of(ProofSubject(made.rig), list(results.values()))) == []


@pytest.mark.parametrize("kind", ["stretch", "shear"])
def test_the_worst_place_is_seen_from_outside(kind: str) -> None:
    result = scene(kind)
    camera = camera_for(solid_of(result, result.with_shapes), wanted_of(result))
    place, normal = result.with_shapes.positions[result.vertex], result.with_shapes.normals[result.vertex]
    assert np.dot(camera.eye - place, normal) > 0.0
    (column, row), _ = camera.projected(place[None], 800, 640)[0][0, :2], None
    assert 40 < column < 760 and 40 < row < 600


def test_a_bending_limb_is_seen_from_its_side() -> None:
    """The elbow bends about z, so the camera looks along z."""
    result = scene("volume")
    assert abs(result.hinge[2]) == pytest.approx(1.0, abs=1e-9)
    camera = camera_for(solid_of(result, result.with_shapes), wanted_of(result))
    assert abs(camera.axes[2][2]) > 0.8


def test_the_hottest_triangle_is_the_one_that_was_measured() -> None:
    _, results = shown(1.0)
    for kind in ("stretch", "shear"):
        found, result = scene(kind), results[kind]
        assert result.worst is not None and result.limit is not None
        assert found.with_shapes.heat.max() == pytest.approx(result.worst / result.limit, rel=1e-9)
        hottest = found.mesh.triangles[found.with_shapes.heat.argmax()]
        assert found.vertex in found.mesh.points[hottest].tolist()
        # In its own worst pose the bare skin may be worse than here, never better.
        assert result.bare is not None
        assert found.without.heat.max() <= result.bare / result.limit + 1e-9


def test_heat_is_the_stretch_of_each_triangle() -> None:
    """Against numpy.linalg.svd, triangle by triangle."""
    result = scene("stretch")
    rest, posed = result.at_rest.positions, result.with_shapes.positions
    for number in np.flatnonzero(result.with_shapes.heat > 0.2)[::7].tolist():
        before, after = (points[result.mesh.triangles[number]] for points in (rest, posed))
        frame = np.linalg.qr((before[1:] - before[0]).T)[0]
        flat = frame.T @ (before[1:] - before[0]).T
        largest = np.linalg.svd((after[1:] - after[0]).T @ np.linalg.inv(flat), compute_uv=False)[0]
        assert result.with_shapes.heat[number] == pytest.approx((largest - 1.0) / 0.4, rel=1e-6)


def test_skin_that_crosses_skin_is_marked() -> None:
    _, results = shown(10.0)
    result, found = results["crossing"], scene("crossing", 10.0)
    assert result.status == "fails" and result.worst is not None
    hot = np.flatnonzero(found.with_shapes.heat)
    assert 2 <= len(hot) <= 2 * result.worst
    assert not found.without.heat.any()
    picture = Image.open(io.BytesIO(picture_of(found, result)))
    assert has(picture.crop((20, 20, 820, 660)), BEYOND, 6.0) > 20
    assert has(picture.crop((840, 20, 1240, 330)), BEYOND, 6.0) == 0


def test_the_nearest_places_are_as_far_apart_as_was_measured() -> None:
    _, results = shown(1.0)
    result = scene("clearance")
    assert result.with_shapes.link is not None
    one, other = result.with_shapes.link
    assert np.linalg.norm(one - other) == pytest.approx(results["clearance"].worst, rel=1e-6)
    assert one[0] > 0.0 > other[0]


def test_nearest_places_of_two_squares() -> None:
    """One edge of the upper square is 3 above and 4 beside an edge of the lower one: 5 apart."""
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1]])
    positions: Floats = np.concatenate([square, square + np.array([5.0, 3.0, 0.0])])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    mesh = bare_mesh(positions, np.concatenate([faces, faces + 4]))
    first = np.array([1.0] * 4 + [0.0] * 4)
    result = nearest_places(mesh, first, 1.0 - first, positions)
    assert result is not None
    assert np.linalg.norm(result[1] - result[0]) == pytest.approx(5.0)
    assert result[0][0] == pytest.approx(1.0) and result[1][0] == pytest.approx(5.0)
    assert nearest_places(mesh, first, np.zeros(8), positions) is None


def test_the_nearest_point_of_a_triangle_is_no_further_than_any_other() -> None:
    random = np.random.default_rng(4)
    shares = random.dirichlet([1.0, 1.0, 1.0], size=400)
    for triangle, place in zip(random.normal(size=(60, 3, 3)), 2.0 * random.normal(size=(60, 3)), strict=True):
        nearest = np.linalg.norm(nearest_on(triangle, place) - place)
        assert nearest <= np.linalg.norm(shares @ triangle - place, axis=1).min() + 1e-12
        assert (
            abs(np.linalg.det(np.vstack([triangle[1:] - triangle[0], nearest_on(triangle, place) - triangle[0]])))
            < 1e-9
        )


# ---- the command

CLOTH = SPEC + "expect { stretch of far at most 1 %   over lift }\n"


def test_the_command_writes_pictures_and_names_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = cloth(tmp_path, CLOTH).as_posix()
    folder = tmp_path / "pictures"
    code = run(["prove", spec, "--no-cache", "--pictures", folder.as_posix(), "--format", "json"])
    (result,) = json.loads(capsys.readouterr().out)["results"]
    assert [file.name for file in folder.iterdir()] == [result["picture"]]
    assert Image.open(folder / result["picture"]).format == "PNG"
    before = (folder / result["picture"]).read_bytes()
    assert run(["prove", spec, "--no-cache", "--pictures", folder.as_posix(), "--format", "sarif"]) == code
    (finding,) = json.loads(capsys.readouterr().out)["runs"][0]["results"]
    assert result["picture"] in finding["message"]["text"]
    assert (folder / result["picture"]).read_bytes() == before


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = cloth(tmp_path, CLOTH).as_posix()
    (tmp_path / "taken").write_text("a file", "utf-8")
    assert run(["prove", spec, "--no-cache", "--pictures", (tmp_path / "taken").as_posix()]) == 1
    assert "taken" in capsys.readouterr().out


@pytest.mark.parametrize("distance", [0.25, 0.4, 2.0, 8.0])
def test_the_target_lies_between_the_middle_and_the_spot_with_the_spot_in_view(distance: float) -> None:
    """Halfway, or so near to the spot that it is half of the view's extent from the target."""
    middle, spot, extent = np.zeros(3), np.array([0.0, distance, 0.0]), 0.5
    target = _towards(middle, spot, extent)
    assert target[1] == pytest.approx(max(distance / 2.0, distance - extent / 2.0))
    assert _towards(spot, spot, extent).tolist() == spot.tolist()


def test_words_stand_within_their_view() -> None:
    """What is outside the view stays as it was."""
    page = Page((300, 200), (140, 90))
    before = np.asarray(page.finished()).copy()
    view, corner = Image.new("RGB", (140, 90), (10, 90, 200)), page.beside
    page.view(view, corner, "the other side")
    after = np.asarray(page.finished()).copy()
    inside = np.s_[corner[1] : corner[1] + view.height, corner[0] : corner[0] + view.width]
    assert (after[inside] == INK).all(axis=2).any(), "the words are there"
    assert (after[inside][view.height // 2 :] == (10, 90, 200)).all(), "in the upper half"
    after[inside] = before[inside]
    assert (after == before).all()


def test_a_legend_keeps_to_its_column_and_its_rows() -> None:
    """Samples stand in a column of their own, words beside them, and nothing in the margin of the page."""
    page, line, colour = Page((300, 200), (140, 90)), LINE, (10, 90, 200)
    page.legend([(colour, "fur"), (None, "the worst place " * 3)])
    pixels = np.asarray(page.finished())
    (x, _), top = page.beside, 200 + 2 * MARGIN
    marked = (pixels != PAPER).any(axis=2)
    assert not marked[:top].any() and not marked[:, -MARGIN:].any() and not marked[:, :x].any()
    rows, columns = np.nonzero((pixels == colour).all(axis=2))
    assert (rows.min() - top) + (rows.max() - top) == line - 1, "the sample is in the middle of its row"
    assert (columns.min() - x) + (columns.max() - x) == line - 1, "and of its column"
    ring, words = marked[top + line : top + 2 * line, x : x + line], marked[:, x + line + 7 :]
    assert ring[line // 2].any() and ring[:, line // 2].any() and not marked[:, x + line : x + line + 7].any()
    assert words[top : top + line].any(axis=1).argmax() > 0, "words stand within their row"
    assert not words[top + line - 2 : top + line].any()
    assert words[top + 2 * line : top + 3 * line].any(), "long words are wrapped"


def test_words_of_a_legend_that_just_fit_are_not_wrapped() -> None:
    words = "the nearest places"
    width = ceil(_font(TEXT).getlength(words))
    for room, rows in ((width, 1), (width - 1, 2)):
        page = Page((300, 200), (LINE + 8 + room, 90))
        page.legend([(None, words)])
        under = (np.asarray(page.finished()) != PAPER).any(axis=2)[200 + 2 * MARGIN :]
        assert [under[row * LINE : (row + 1) * LINE].any() for row in range(3)] == [True, rows == 2, False]


def test_a_ring_leaves_free_what_it_marks() -> None:
    colour = (10, 90, 200)
    image = Image.new("RGB", (61, 61), colour)
    Page.mark(image, [(30.5, 30.5)])
    y, x = np.nonzero((np.asarray(image) != colour).any(axis=2))
    away = np.hypot(x - 30.0, y - 30.0)
    assert 9.5 < away.min() < 11.0 and 15.0 < away.max() < 17.0


def test_a_region_is_tinted_and_the_skin_shows_through() -> None:
    found = scene("volume")
    colors = solid_of(found, replace(found.with_shapes, heat=np.zeros_like(found.with_shapes.heat))).colors
    plain, region = (linear(np.array(color) / 255.0) for color in (SKIN, REGION))
    whole = (found.of == 1.0)[found.mesh.triangles]
    assert whole.any() and 0.5 < TINT < 1.0
    np.testing.assert_allclose(
        colors[whole], np.broadcast_to(TINT * region + (1.0 - TINT) * plain, colors[whole].shape)
    )
    np.testing.assert_allclose(colors[(found.of == 0.0)[found.mesh.triangles]].max(axis=0), plain)


def test_the_first_vertex_can_be_the_worst_place() -> None:
    found = replace(scene("stretch"), vertex=0)
    spot = wanted_of(found).spot
    assert spot is not None and spot.tolist() == found.with_shapes.positions[0].tolist()


@pytest.mark.parametrize("joint", ["spine", "paw_lf"])
def test_a_joint_at_an_end_of_its_chain_has_no_side(joint: str) -> None:
    made, _ = shown(1.0)
    assert Stage(made.rig, made.attached)._hinge(SparsePose(), ((joint, 1.0),)).tolist() == [0.0, 0.0, 0.0]

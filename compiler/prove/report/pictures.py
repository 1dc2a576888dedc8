"""A picture of the worst place of a geometric expectation: the skin in the worst pose, beside it without its shapes.

Colours are Okabe and Ito's, which people with any kind of colour vision tell apart (M. Okabe, K. Ito, "Color Universal
Design", 2008).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from PIL import Image

from plica.kinds.expectations import expectation_kind
from plica.picture.camera_placement import ViewRequest, camera_for, closer, is_hidden
from plica.picture.colors import linear
from plica.picture.directions import Floats
from plica.picture.files import content_of
from plica.picture.page import Color, Page
from plica.picture.raster import Camera
from plica.picture.shade import Solid
from plica.picture.studio import SKIN, Studio
from plica.prove.registry import skin_measure
from plica.prove.report import summary as report
from plica.prove.report.scenes import Skinned, Stage, WorstScene
from plica.prove.results import Result
from plica.quantities import length

if TYPE_CHECKING:
    from plica.prove.proof import ProofSubject

REGION: Final[Color] = (86, 180, 233)
OTHER: Final[Color] = (240, 228, 66)
BEYOND: Final[Color] = (213, 94, 0)
TINT: Final = 0.65
"""How much of a region's colour covers the skin's."""
LARGE: Final = (800, 640)
SMALL: Final = (400, 310)
EXTENT: Final = 1.2
"""Half the height of the view, in radii of what is measured."""
CLOSER: Final = 3.5
LEAST_OF_BODY, MOST_OF_BODY = 0.04, 0.22
"""The view shows no less and no more than these shares of the body's size to each side."""


def pictures_of(subject: ProofSubject, results: Sequence[Result]) -> Iterator[tuple[Result, bytes]]:
    """For each result that has a worst place on the skin, the result with its picture's name, and the PNG file.

    Raises ValueError where the rig refers to something that it does not have.
    """
    if subject.attached is None:
        return
    stage = None
    for result in results:
        if expectation_kind(result.expectation.kind).on_skin and result.frame is not None:
            stage = stage or Stage(subject.rig, subject.attached, subject.read)
            scene = stage.scene(result)
            if scene is not None:
                yield replace(result, picture=file_name(result)), picture_of(scene, result)


def file_name(result: Result) -> str:
    """`03_volume_of_left_forearm_over_left_elbow.png`: the expectation's number in the rig, and its words."""
    words = re.sub(r"[^A-Za-z0-9_]+", "_", result.title).strip("_")[:80]
    return f"{result.index + 1:02d}_{words}.png"


def picture_of(scene: WorstScene, result: Result) -> bytes:
    """The picture as a PNG file; the same bytes on every run with the same libraries."""
    wanted, solid = wanted_of(scene), solid_of(scene, scene.with_shapes)
    camera = camera_for(solid, wanted)
    hidden = wanted.spot is not None and is_hidden(solid, wanted, camera)
    page = Page(LARGE, SMALL)
    page.view(_view(scene, scene.with_shapes, camera, LARGE), page.large, f"{_figure(result, result.worst)}")
    words = "without shapes" if result.bare is None else f"without shapes: {_figure(result, result.bare)}"
    page.view(_view(scene, scene.without, camera, SMALL), page.beside, words)
    if wanted.spot is None:
        there = Camera(camera.eye + scene.way_to_rest, camera.target + scene.way_to_rest, camera.field)
        page.view(_view(scene, scene.at_rest, there, SMALL), page.below, "at rest")
    elif hidden:
        page.view(_region_alone(scene, wanted), page.below, "closer, the region alone")
    else:
        page.view(_view(scene, scene.with_shapes, closer(camera, wanted.spot, CLOSER), SMALL), page.below, "closer")
    page.legend(_legend(scene, result, hidden))
    below = [f"squares on the ground: {length(_studio(scene).square)}"]
    below += [f"without the detail {name}: its maps cannot be shown" for name in scene.left_out]
    page.caption(result.title, result.status == "fails", [*_lines(result), *below])
    return content_of([page.finished()], ".png")


def _figure(result: Result, value: float | None) -> str:
    return report.figure(result, value)


def _lines(result: Result) -> list[str]:
    verdict = {"holds": "holds", "fails": "does not hold"}[result.status]
    lines = [f"{verdict}: {report.figures(result)}"]
    if result.frame is not None:
        lines.append(f"in {report.pose(result.frame)}" if result.frame.kind != "rest" else "at rest")
    if result.place is not None:
        lines.append(report.place(result.place))
    return lines


def _legend(scene: WorstScene, result: Result, hidden: bool) -> list[tuple[Color | None, str]]:
    """What the colours and marks mean; None stands for the ring."""
    behind = ", behind other skin" if hidden else ""
    entries: list[tuple[Color | None, str]] = [(REGION, result.expectation.of[0])]
    if result.expectation.against:
        entries.append((OTHER, result.expectation.against))
    if legend := skin_measure(result.expectation.kind).legend:
        entries.append((BEYOND, legend.format(limit=report.limit(result))))
    if scene.with_shapes.link is not None:
        entries.append((None, f"the nearest places{behind}"))
    elif scene.vertex >= 0:
        entries.append((None, f"the worst place{behind}"))
    return entries


# ---- views


def wanted_of(scene: WorstScene) -> ViewRequest:
    """What the camera should show: the place from outside, the whole region, a bending limb from its side."""
    positions = scene.with_shapes.positions
    corners = positions[np.unique(scene.mesh.triangles[scene.parts])]
    low, high = (corners.min(axis=0), corners.max(axis=0)) if len(corners) else (positions.min(0), positions.max(0))
    body = float(np.linalg.norm(positions.max(axis=0) - positions.min(axis=0)))
    radius = float(np.linalg.norm(corners - (low + high) / 2.0, axis=1).max(initial=0.0))
    extent = float(np.clip(EXTENT * radius, LEAST_OF_BODY * body, MOST_OF_BODY * body))
    middle, nothing = (low + high) / 2.0, np.zeros(3)
    link = scene.with_shapes.link
    if link is not None:
        way = link[1] - link[0]
        size = float(np.linalg.norm(way))
        level = way / size if size > 1e-6 else nothing
        return ViewRequest(
            _towards(middle, link.mean(axis=0), extent), extent, link.mean(axis=0), scene.parts, nothing, level
        )
    if scene.vertex < 0:
        return ViewRequest(middle, extent, None, scene.parts, scene.hinge, nothing, either_way=True)
    spot = positions[scene.vertex]
    normal = scene.with_shapes.normals[scene.vertex]
    return ViewRequest(_towards(middle, spot, extent), extent, spot, scene.parts, normal, nothing)


def _towards(middle: Floats, spot: Floats, extent: float) -> Floats:
    """A target halfway from the region's middle to the spot, or nearer to the spot, so that it is well in the view."""
    way = spot - middle
    size = float(np.linalg.norm(way))
    share = max(0.5, 1.0 - 0.5 * extent / size) if size > 0 else 0.0
    return middle + share * way


def solid_of(scene: WorstScene, skin: Skinned) -> Solid:
    """The skin with its regions tinted and hot triangles coloured."""
    plain, region, other, beyond = (linear(np.array(color) / 255.0) for color in (SKIN, REGION, OTHER, BEYOND))
    of, against = (TINT * weights[:, None] for weights in (scene.of, scene.against))
    colors = plain + (region - plain) * of
    colors = (colors + (other - colors) * against)[scene.mesh.triangles]
    heat = np.clip(skin.heat, 0.0, 1.0)[:, None, None] ** 2
    return Solid(skin.positions, skin.normals, scene.mesh.triangles, colors + (beyond - colors) * heat, skin.relief)


def _studio(scene: WorstScene) -> Studio:
    """Where the neutral skin stands."""
    return Studio(scene.mesh, scene.at_rest.positions, (0.0, 0.0, 1.0))


def _region_alone(scene: WorstScene, wanted: ViewRequest) -> Image.Image:
    """A closer look at a spot that other skin hides: only the triangles that are measured, from where they show it."""
    assert wanted.spot is not None
    solid = solid_of(scene, scene.with_shapes)
    alone = replace(solid, triangles=solid.triangles[scene.parts], colors=solid.colors[scene.parts], relief=None)
    camera = camera_for(alone, replace(wanted, parts=np.ones(len(alone.triangles), dtype=np.bool_)))
    return _marked(scene, scene.with_shapes, alone, closer(camera, wanted.spot, CLOSER), SMALL)


def _view(scene: WorstScene, skin: Skinned, camera: Camera, size: tuple[int, int]) -> Image.Image:
    return _marked(scene, skin, solid_of(scene, skin), camera, size)


def _marked(scene: WorstScene, skin: Skinned, solid: Solid, camera: Camera, size: tuple[int, int]) -> Image.Image:
    image = _studio(scene).drawn(solid, camera, size, casting=solid_of(scene, skin))
    marks = skin.link if skin.link is not None else skin.positions[[scene.vertex]] if scene.vertex >= 0 else None
    if marks is not None:
        places = camera.projected(marks, *size)[0][:, :2].tolist()
        Page.mark(image, [(x, y) for x, y in places])
    return image

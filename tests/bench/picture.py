"""Benchmark: a picture of a character, against Pillow drawing the same triangles one by one, back to front.

Run `python -m tests.bench.picture [WIDTHxHEIGHT]` from the repository. It prints the seconds of processor time of a
picture of the demo character (23,713 vertices; the aim is 0.3 at 800x640) with all that follows reading its mesh:
pose, details, ground, shadow and the file. Then those of its view alone, of the search for a camera that shows a place,
and of `PIL.ImageDraw.polygon` for the outsides of the same triangles, each in one colour and without any light:
the least of three rounds, measured in the same run.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
from PIL import Image, ImageDraw

import plica
from plica.api.picture_figures import FigureMaker, neutral_view, studio_of
from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.mesh.normals import Normals
from plica.picture.camera_placement import ViewRequest, camera_for
from plica.picture.files import content_of
from plica.picture.raster import Camera
from plica.picture.shade import FaceTurns, Solid
from plica.picture.standpoints import STANDPOINTS, Standpoint
from tests.bench.goals import judge


def least(call: Callable[[], object], rounds: int = 3) -> float:
    """Seconds of processor time."""
    times = []
    for _ in range(rounds):
        begun = time.process_time()
        call()
        times.append(time.process_time() - begun)
    return min(times)


def polygons(solid: Solid, camera: Camera, size: tuple[int, int]) -> Image.Image:
    """The painter's way: triangles that turn to the camera, the furthest first."""
    image = Image.new("RGB", size)
    draw = ImageDraw.Draw(image)
    places, distances = camera.projected(solid.positions, *size)
    shown = np.flatnonzero(FaceTurns(solid).towards(camera))
    shown = shown[np.argsort(-distances[solid.triangles[shown]].mean(axis=1))]
    for corners, grey in zip(places[solid.triangles[shown], :2].tolist(), (shown % 255).tolist(), strict=True):
        draw.polygon([tuple(corner) for corner in corners], (grey, grey, grey))
    return image


def picture(mesh: plica.AttachedMesh, size: tuple[int, int]) -> bytes:
    """The whole figure in its neutral stance as a file."""
    return content_of([neutral_view(mesh, size)], ".png")


def main(size: tuple[int, int]) -> None:
    """Print seconds and ratios."""
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        write(demo_files(), Path(folder), Diagnostics())
        character = plica.compile_file(Path(folder) / "wren.plica")
        mesh = plica.attach_mesh(character)
        poses = plica.pose(character, strengths={"left_elbow_bend": 1.0})
        [figure], _ = FigureMaker(mesh, Diagnostics()).of(poses, shapes=True, tinted=False)
        studio = studio_of(mesh)
        camera = studio.camera(figure.positions, Standpoint(*STANDPOINTS["front-left"]), size)
        drawn = least(lambda: studio.view(figure, camera, size))
        whole = least(lambda: picture(mesh, size))
        colors = np.full((len(mesh.triangles), 3, 3), 0.4)
        solid = Solid(figure.positions, Normals(mesh.mesh).of(figure.positions), mesh.triangles, colors)
        spot = figure.positions[int(mesh.regions["left_forearm"].argmax())]
        parts = mesh.regions["left_forearm"][mesh.triangles].min(axis=1) > 0.5
        wanted = ViewRequest(spot, 0.2, spot, parts, np.array([1.0, 0.0, 0.0]), np.zeros(3))
        searched = least(lambda: camera_for(solid, wanted))
        reference = least(lambda: polygons(solid, camera, size))
    print(f"{len(figure.positions)} vertices, {size[0]} x {size[1]} pixels")
    print(f"all of a picture {whole:.3f} s")
    print(f"view {drawn:.3f} s, Pillow's polygons {reference:.3f} s, ratio {drawn / reference:.2f}")
    judge("picture of 24,000 vertices, processor", whole, 0.3, "s")
    print(f"search for a camera {searched:.3f} s, ratio {searched / reference:.2f}")


if __name__ == "__main__":
    columns, _, rows = (sys.argv[1] if len(sys.argv) > 1 else "800x640").partition("x")
    main((int(columns), int(rows)))

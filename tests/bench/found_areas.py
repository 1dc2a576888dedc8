"""Areas that the skin finds on the open face: seconds, sizes, and pictures if a folder is given.

python -m tests.bench.found_areas [FOLDER]
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Final

import numpy as np
from PIL import Image

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.attach import attach
from plica.mesh.found_areas import FoundAreas
from plica.mesh.neutral_skin import neutral_skin
from plica.mesh.normals import Normals
from plica.picture.camera_placement import FIELD
from plica.picture.colors import linear, shown
from plica.picture.raster import Camera
from plica.picture.shade import Solid, shaded
from plica.pipeline import compile_file
from plica.rig.surfaces import DeformedSkin
from plica.workspace import Workspace
from tests.support.face_model import HEAD, face_model, shapes_text

SHAPES: Final = {
    "brow_down": "browDown",
    "brow_inner_up": "browInnerUp",
    "brow_outer_up": "browOuterUp",
    "sneer": "noseSneer",
    "smile": "mouthSmile",
    "cheek_raise": "cheekRaiser",
}
MIDDLE: Final = {"pucker": "mouthPucker"}
SPEC: Final = (
    HEAD
    + shapes_text(SHAPES)
    + """
control pucker { range 0 .. 1 }
driver pucker { reads control pucker   span 0 .. 1 }
shape pucker { morph "mouthPucker"   follows pucker }

region frown      both { shortened by brow_down }
region forehead   both { shortened by brow_inner_up, brow_outer_up }
region bridge     both { shortened by sneer }
region laugh      both { shortened by smile }
region crows_feet both { shortened by cheek_raise }
region lips            { shortened by pucker }
region chin_pull  both { lengthened by smile }
"""
)
SKIN: Final = linear(np.array([0.86, 0.72, 0.62]))
MARK: Final = linear(np.array([0.75, 0.10, 0.15]))


def picture(mesh: Mesh, positions: Floats, weights: Floats, target: Floats, extent: float) -> Image.Image:
    """The skin from the front, the area tinted."""
    colors = SKIN + weights[:, None] * (MARK - SKIN)
    solid = Solid(positions, Normals(mesh).of(positions), mesh.triangles, colors[mesh.triangles])
    eye = target + np.array([0.25, 0.05, 1.0]) * extent / np.tan(FIELD / 2.0)
    light = shaded(solid, Camera(eye, target, FIELD), 420, 480)
    return Image.fromarray((np.clip(shown(light), 0.0, 1.0) * 255.0).astype(np.uint8))


def main(folder: Path | None) -> None:
    """Prints figures; writes a picture of each area at rest and deformed."""
    with TemporaryDirectory() as name:
        there = Path(name)
        face_model(there, [f"{shape}_{side}" for shape in SHAPES.values() for side in "LR"] + [*MIDDLE.values()])
        spec = there / "face.plica"
        spec.write_text(SPEC, "utf-8")
        compiled = compile_file(spec)
        rig, diagnostics = compiled.rig, Diagnostics()
        assert rig is not None, compiled.diagnostics
        start = perf_counter()
        attached = attach(rig, Workspace(there).locate, diagnostics)
        assert attached is not None
        print(f"{attached.mesh.vertex_count} vertices, attached in {perf_counter() - start:.2f} s")
        for found in diagnostics.all:
            print(found.code, found.message)
        neutral = neutral_skin(rig, attached.mesh)
        finder = FoundAreas(rig, attached.mesh, neutral, attached.shapes, diagnostics, lambda region: None)
        surface = finder.surface
        for region in rig.regions:
            assert isinstance(region.source, DeformedSkin)
            start = perf_counter()
            finder.of(region, region.source)
            seconds = perf_counter() - start
            weights = attached.regions[region.name]
            points = np.zeros(attached.mesh.point_count)
            points[attached.mesh.points] = weights
            print(f"{region.name}: {seconds:.2f} s, {(surface.areas * points).sum() * 1e4:.2f} cm2")
            if folder is not None and region.side != "right":
                draw(
                    folder, region.declared, attached.mesh, finder._shaped(region.source), attached.regions, region.side
                )


def draw(folder: Path, name: str, mesh: Mesh, moved: Floats, regions: dict[str, Floats], side: str) -> None:
    """At rest and deformed, side by side; both sides."""
    weights = regions[name] if side == "none" else regions[f"left_{name}"] + regions[f"right_{name}"]
    low, high = mesh.positions.min(axis=0), mesh.positions.max(axis=0)
    target = np.array([0.0, (low[1] + high[1]) / 2.0 + 0.02, high[2] - 0.05])
    views = [picture(mesh, places, weights, target, 0.12) for places in (mesh.positions, moved)]
    whole = Image.new("RGB", (840, 480))
    for number, view in enumerate(views):
        whole.paste(view, (420 * number, 0))
    whole.save(folder / f"area_{name}.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)

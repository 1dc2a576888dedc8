"""Sculpts made by code over real characters, and what programs do to them on the way back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import plica
from plica.api.sculpting import PosedModel
from plica.mesh.arrays import Floats, Integers
from plica.mesh.recognition.pose_path import PosePath
from plica.mesh.symmetry import size_of
from plica.mesh.weld import first_vertices, point_triangles
from tests.support.data import shared_data
from tests.support.wren import CHARACTER as WREN
from tests.support.wren import skinned

ELBOW = "driver elbow both {{ reads rotation about {axis} of {joint}   span 0 deg .. 120 deg }}\n"
SHAPE = "shape crease both { follows elbow }\n"


@dataclass(frozen=True, eq=False)
class SculptGround:
    """A character with its left elbow at 120 degrees: what is handed out, and the way there from rest."""

    character: plica.Character
    posed: PosedModel
    path: PosePath
    size: float

    @property
    def triangles(self) -> Integers:
        """The mesh's triangles (t, 3)."""
        return self.posed.mesh.triangles

    def at(self, share: float) -> Floats:
        """The skin (v, 3) at a share of the way from rest to the pose."""
        return self.path.positions(np.array([share]))[0]

    def sculpted(self, share: float = 1.0) -> Floats:
        """The skin (v, 3) at a share of the way, with a bump on the forearm."""
        return bumped(self.at(share), self._middle, 0.04 * self.size, self.size / 300)

    @property
    def _middle(self) -> int:
        """A vertex in the midst of what the pose moves."""
        moved = np.linalg.norm(self.at(1.0) - self.at(0.0), axis=1)
        return int(np.argmin(np.abs(moved - moved.max() / 3) + (moved < moved.max() / 10)))


def bumped(places: Floats, middle: int, radius: float, height: float) -> Floats:
    """Places (v, 3) with a smooth bump around one of them, exactly as they were beyond the radius."""
    distances = np.linalg.norm(places - places[middle], axis=1)
    share = np.clip(1.0 - (distances / radius) ** 2, 0.0, 1.0) ** 2
    return places + np.array([0.3, 0.5, 0.8]) * height * share[:, None]


def ground_of(name: str, folder: Path) -> SculptGround:
    """Wren, or a character of the shared data by its folder; skips the test where that is absent."""
    if name == "wren":
        skinned("", folder)
        text = WREN + ELBOW.format(axis="x", joint="lowerarm")
    elif name == "full_body":
        model = shared_data("characters", name, "full_body.gltf")
        text = _character(model, "*_l", "*_r") + ELBOW.format(axis="x", joint="lowerarm")
    else:
        model = shared_data("characters", name, "base_mesh.glb")
        text = _character(model, "*.L", "*.R") + ELBOW.format(axis="(0.8923, 0, 0.4514)", joint="forearm")
    allow = [] if name == "wren" else [model.parent]
    spec = folder / "spec.plica"
    spec.write_text(text + SHAPE, "utf-8")
    character = plica.compile_file(spec, allow=allow)
    assert character.ok, character.diagnostics
    posed = plica.pose_skin(character, "crease")
    assert character.rig is not None
    return SculptGround(
        character, posed, PosePath(posed.mesh.mesh, character.rig, {}, posed.poses), size_of(posed.mesh.positions)
    )


def _character(model: Path, left: str, right: str) -> str:
    facts = (f'geometry "{model.as_posix()}"', f'left "{left}"', f'right "{right}"')
    return 'plica 1\ncharacter runner "A runner" {\n' + "".join(f"    {fact}\n" for fact in facts) + "}\n"


def obj(points: Floats, triangles: Integers) -> bytes:
    """An OBJ file as programs write it, with nine digits."""
    lines = [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in points.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (triangles + 1).tolist()]
    return ("\n".join(lines) + "\n").encode()


def _z_up(places: Floats) -> Floats:
    x, y, z = places.T
    return np.stack([x, -z, y], axis=1)


def _as_is(ground: SculptGround) -> bytes:
    return obj(ground.sculpted(), ground.triangles)


def _shuffled(points: Floats, triangles: Integers) -> bytes:
    order = np.random.default_rng(3).permutation(len(points))
    return obj(points[order], np.argsort(order)[triangles])


def _welded(ground: SculptGround, points: Floats) -> tuple[Floats, Integers]:
    mesh = ground.posed.mesh.mesh
    return points[first_vertices(mesh.points)], point_triangles(mesh)


FILES: Mapping[str, Callable[[SculptGround], bytes]] = {
    "as it is": _as_is,
    "in centimetres": lambda ground: obj(100 * ground.sculpted(), ground.triangles),
    "in millimetres": lambda ground: obj(1000 * ground.sculpted(), ground.triangles),
    "z up": lambda ground: obj(_z_up(ground.sculpted()), ground.triangles),
    "at rest": lambda ground: obj(ground.sculpted(0.0), ground.triangles),
    "at 90 degrees": lambda ground: obj(ground.sculpted(0.75), ground.triangles),
    "moved as a whole": lambda ground: obj(ground.sculpted() + np.array([0.3, -0.1, 0.2]), ground.triangles),
    "mirrored": lambda ground: obj(ground.sculpted() * np.array([-1, 1, 1]), ground.triangles),
    "renumbered": lambda ground: _shuffled(ground.sculpted(), ground.triangles),
    "welded": lambda ground: obj(*_welded(ground, ground.sculpted())),
    "welded and renumbered, in centimetres": lambda ground: _shuffled(*_welded(ground, 100 * ground.sculpted())),
    "rounded to four digits": lambda ground: obj(np.round(ground.sculpted(), 4), ground.triangles),
}
"""Files that came back, by what happened to them."""

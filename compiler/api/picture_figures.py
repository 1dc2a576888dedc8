"""The skin of a character as figures of pictures: posed, with its details, and what a camera has to look at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from PIL import Image

from plica.api.character import posed_rig, rig_of
from plica.api.posing import check_names
from plica.api.skin import AttachedMesh
from plica.diagnostics import Diagnostics
from plica.errors import PlicaError
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Poses, rest_poses
from plica.mesh.arrays import Floats
from plica.picture.directions import round_length
from plica.picture.page import Color
from plica.picture.standpoints import front_of
from plica.picture.studio import Figure, Studio, tint_scale
from plica.texture.skin_details import SkinDetails
from plica.workspace import Refused, Workspace, located_bytes


def studio_of(mesh: AttachedMesh) -> Studio:
    """A studio for a character's skin."""
    rest = rest_poses(posed_rig(mesh.character))
    neutral = np.asarray(next(iter(mesh.deformer_with({}).positions(rest))).positions[0])
    return Studio(mesh.mesh, neutral, front_of(rig_of(mesh.character)))


def neutral_view(mesh: AttachedMesh, size: tuple[int, int]) -> Image.Image:
    """The whole figure in its neutral stance, of a size in pixels; a detail whose maps cannot be read is left out."""
    rest = rest_poses(posed_rig(mesh.character))
    [figure], _ = FigureMaker(mesh, Diagnostics()).of(rest, shapes=True, tinted=False)
    return studio_of(mesh).whole_view(figure, size)


def looked_at(mesh: AttachedMesh, studio: Studio, figures: Sequence[Figure], name: str | None, whole: bool) -> Floats:
    """Where the skin is (n, 3) that the views have to hold."""
    if name is None:
        return studio.places(figures, np.ones(mesh.mesh.vertex_count, dtype=bool)) if whole else studio.moved(figures)
    weights = mesh.regions.get(name)
    if weights is None:
        regions = {one.declared: one.name for one in reversed(rig_of(mesh.character).regions)}
        joints = mesh.character.joints
        check_names("region or joint", [name], [*mesh.regions, *regions, *joints])
        weights = mesh.regions[regions[name]] if name in regions else _of_joint(mesh, joints.index(name))
    if not weights.any():
        raise PlicaError(f"no skin belongs to `{name}`")
    return studio.places(figures, weights > 0.5 * weights.max())


def _of_joint(mesh: AttachedMesh, joint: int) -> Floats:
    """How much of each vertex (v,) follows a joint and those below it."""
    skeleton, below = skeleton_of(rig_of(mesh.character)), [joint]
    for one in below:
        below += skeleton.children(one)
    mine = np.isin(mesh.mesh.joints, np.flatnonzero(np.isin(mesh.mesh.bind_joints, below)))
    return np.asarray(np.where(mine, mesh.mesh.weights, 0.0).sum(axis=1))


class FigureMaker:
    """The skin in poses, with its details."""

    def __init__(self, mesh: AttachedMesh, diagnostics: Diagnostics) -> None:
        self._mesh = mesh
        character = mesh.character
        locate, origins = Workspace(character.folder, character.allow).locate, character.origins
        self._details = SkinDetails(
            rig_of(character),
            mesh.mesh,
            mesh.regions,
            partial(_read, locate),
            diagnostics,
            lambda name: origins.get(("detail", name)),
        )

    def of(self, poses: Poses, shapes: bool, tinted: bool) -> tuple[list[Figure], list[tuple[Color, str]]]:
        """A figure for each frame, and what the tint means, if there is any."""
        deformer, evaluator = self._mesh.deformer, self._mesh.character.evaluator
        motion = deformer.motion(poses)
        shaped, bare = (
            np.concatenate([block.positions for block in deformer.positions(one)])
            for one in (motion, motion.without_shapes())
        )
        strengths = dict(zip(evaluator.names, evaluator.strengths(poses).T, strict=True))
        moved = np.linalg.norm(shaped - bare, axis=2)
        full = round_length(float(moved.max(initial=0.0)))
        result = []
        for frame, places in enumerate(shaped if shapes else bare):
            relief = self._details.posed(places, {name: float(values[frame]) for name, values in strengths.items()})
            result.append(Figure(places, moved[frame] / full if tinted and full else None, relief))
        return result, tint_scale(full, "moved by shapes:") if tinted and full else []


def _read(locate: Callable[[str], Path | Refused], file: str) -> bytes | Refused:
    return located_bytes(locate, file, "image_bytes")

"""Wren at moments of his clip, with the strengths that Plica computes and the shapes that follow them."""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from plica.demo import SPEC, demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.retarget import poses_from_clip
from plica.picture.directions import Floats
from plica.pipeline import compile_file
from plica.readers.gltf_clip import read_gltf_clips
from plica.rig.rig import Rig
from plica.rig.surfaces import Sculpt, Shape
from plica.specs.wren import sculpts
from plica.specs.wren.clip import pose_at
from plica.specs.wren.model import DemoModel, wren
from plica.specs.wren.skinning import Move, WrenPose, blended
from plica.specs.wren.subdivide import neighbour_means
from plica.specs.wren.vectors import MIRROR

CLIP: Final = "clips/rounds.glb"
_POSES: Final[Mapping[str, WrenPose]] = {
    "upperarm_swell": sculpts.elbow_pose(),
    "wrist_tendons": sculpts.wrist_pose(),
    "brow_raise": {},
    "whisker_lift": {},
}
"""The pose that each sculpt was made in; the files of drafts say theirs."""
_EVENING: Final = 8
"""Rounds of evening out how far the skin moved."""


@dataclass(frozen=True)
class Moment:
    """The posed skin: positions and normals (n, 3) in metres, and about how far the shapes moved each vertex
    (n,).
    """

    positions: Floats
    normals: Floats
    moved: Floats


@dataclass(frozen=True)
class Story:
    """The demo character's rig, the bytes of its files, and its strengths over the clip.

    times (frames,) in seconds; strengths by name, (frames,) each.
    """

    rig: Rig
    files: Mapping[str, bytes]
    times: Floats
    strengths: Mapping[str, Floats]

    def strength_at(self, name: str, time: float) -> float:
        """A strength at a time in seconds, linear between the clip's frames."""
        return float(np.interp(time, self.times, self.strengths[name]))


@lru_cache(maxsize=1)
def story() -> Story:
    """Writes the demo to a temporary folder, compiles its spec and evaluates its clip.

    Raises ValueError where the spec has errors.
    """
    files, result = demo_files(), Diagnostics()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(files, folder, result)
        compiled = compile_file(folder / SPEC)
        result.extend(compiled.diagnostics)
        if compiled.rig is None or result.has_errors:
            raise ValueError(f"the demo's spec does not compile: {[problem.message for problem in result.all]}")
        clip = read_gltf_clips(folder / CLIP)[0]
        evaluator = Evaluator(compiled.rig)
        table = evaluator.strengths(poses_from_clip(compiled.rig, clip, result))
    return Story(compiled.rig, files, clip.times, dict(zip(evaluator.names, table.T, strict=True)))


def moment(told: Story, time: float) -> Moment:
    """The skin at a time in seconds, shapes first, then linear blend skinning (glTF 2.0, sections 3.7.2 and
    3.7.3).
    """
    model = wren()
    matrices = blended(model, pose_at(time, model.skeleton))
    linear = matrices[:, :3, :3]
    offsets = np.zeros_like(model.positions)
    for shape in told.rig.shapes:
        if isinstance(shape.source, Sculpt) and shape.follows is not None:
            offsets += _faded(told, model, shape, told.strength_at(shape.follows, time))
    positions = np.einsum("nij,nj->ni", linear, model.positions + offsets) + matrices[:, :3, 3]
    moved = np.linalg.norm(np.einsum("nij,nj->ni", linear, offsets), axis=1)
    return Moment(positions, sculpts.welded_normals(model, positions), _spread(model, moved))


def _spread(model: DemoModel, values: Floats) -> Floats:
    """Values (n,) evened out a little between neighbours, so that a picture of them shows no single
    vertices.
    """
    by_place = np.zeros((int(model.welded.max()) + 1, 1))
    by_place[model.welded, 0] = values
    for _ in range(_EVENING):
        by_place = (by_place + neighbour_means(by_place, model.welded[model.triangles])) / 2.0
    even: Floats = by_place[model.welded, 0]
    return even


def _faded(told: Story, model: DemoModel, shape: Shape, strength: float) -> Floats:
    """A shape's offsets (n, 3) of the rest mesh at a strength, straight lines through its inbetweens.

    The sculpts keep well inside the regions that the spec confines them to, so these are not applied again.
    """
    assert isinstance(shape.source, Sculpt)
    stops = [(0.0, np.zeros_like(model.positions))]
    stops += [(inbetween.at, _at_rest(told, model, inbetween.sculpt, shape.side)) for inbetween in shape.inbetweens]
    stops += [(1.0, _at_rest(told, model, shape.source, shape.side))]
    amounts = [amount for amount, _ in stops]
    hats = np.interp(strength, amounts, np.arange(len(stops), dtype=np.float64))
    return sum((max(0.0, 1.0 - abs(hats - k)) * offsets for k, (_, offsets) in enumerate(stops)), stops[0][1])


def _at_rest(told: Story, model: DemoModel, sculpt: Sculpt, side: str) -> Floats:
    """A sculpt's offsets (n, 3) brought back from the pose it was made in to the rest mesh.

    Each vertex's blended matrix is inverted; the right side is the reflection of the left.
    """
    stored = np.load(io.BytesIO(told.files[sculpt.file]))
    indices, made = stored["indices"], stored["offsets"].astype(np.float64)
    pose = stated_pose(model, str(stored["posed"])) if "posed" in stored else _POSES[Path(sculpt.file).stem]
    matrices = blended(model, pose)[indices, :3, :3]
    offsets = np.zeros_like(model.positions)
    offsets[indices] = np.linalg.solve(matrices, made[:, :, None])[:, :, 0]
    return offsets[model.partner] @ MIRROR if side == "right" else offsets


def stated_pose(model: DemoModel, posed: str) -> WrenPose:
    """The pose that a sculpt's file says: JSON with the rotation of each joint that moves in its parent."""
    skeleton, pose = model.skeleton, {}
    for name, parts in json.loads(posed)["joints"].items():
        rest = skeleton.local_rest[skeleton.number[name], :3, :3]
        pose[name] = Move(rest.T @ Rotation.from_quat(parts["rotation"]).as_matrix())
    return pose

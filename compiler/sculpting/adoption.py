"""A sculpt that came back, taken in: told what it is, put right where that is certain, and kept as offsets."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer
from plica.mesh.draft_layer import DraftLayer, draft_arrays
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.npz import written
from plica.mesh.offsets import chosen, largest_of, lengths
from plica.mesh.recognition.pose_path import PosePath
from plica.mesh.recognition.pose_record import KEY, PoseRecord, plain_pose
from plica.mesh.recognition.recognise import Recognised, Unrecognised, recognise
from plica.mesh.recognition.stated import too_far, unverified
from plica.mesh.recognition.strays import Stray, strays_of, without
from plica.mesh.recognition.wording import form_of, pose_of
from plica.mesh.sculpt_reader import Sculpted
from plica.mesh.symmetry import size_of
from plica.mesh.unpose import FOLDED, Unposer
from plica.prove.pose_rows import sparse_poses
from plica.quantities import length
from plica.rig.rig import Rig

STEP: Final = 1e-9  # metres; offsets are rounded to it, so that the same sculpt gives the same bytes everywhere


@dataclass(frozen=True, eq=False)
class Ground:
    """What a sculpt was made over: the character in a pose, `pose` (one frame, all joints and controls), with the
    shapes that were on."""

    rig: Rig
    attached: Attached
    pose: Poses
    shapes: Mapping[str, Inbetweens]

    @property
    def mesh(self) -> Mesh:
        """The undeformed mesh."""
        return self.attached.mesh


@dataclass(frozen=True, eq=False)
class AdoptedOffsets:
    """A sculpt taken in.

    neutral: its offsets on the undeformed mesh. recognised: what the file was, `corrected` in words where something had
    to be put right. strays: marks far from the sculpt; they are in the offsets unless they were dropped. followers: how
    many vertices lie over the skin and only follow it.
    """

    neutral: Offsets
    recognised: Recognised
    corrected: tuple[str, ...]
    strays: tuple[Stray, ...]
    followers: int = 0


def adopted(
    sculpt: Sculpted, shown: str, ground: Ground, region: Floats | None, drop_strays: bool, diagnostics: Diagnostics
) -> AdoptedOffsets | None:
    """The offsets of a whole mesh made over `ground`; None, after diagnostics, where it is not certain what it is.

    region: weights (v,) of the region that its shape is kept to, if any.
    """
    assert sculpt.positions is not None
    size = size_of(ground.mesh.positions)
    path = PosePath(ground.mesh, ground.rig, ground.shapes, ground.pose)
    result = recognise(sculpt.positions, sculpt.edges, ground.mesh, size, path.positions)
    if isinstance(result, Unrecognised):
        _refuse(result, shown, ground.mesh, diagnostics)
        return None
    stands = path.poses(np.array([result.share]))
    expected = path.positions(np.array([result.share]))[0]
    moves = np.linalg.norm(result.positions - expected, axis=1)
    if not (moves > result.tolerance).any():
        diagnostics.add("sculpt-without-change", None, file=shown)
        return None
    doubt = too_far(moves, shown, size) or unverified(result, shown)
    if doubt is not None:
        diagnostics.add_filled(doubt.rule, None, doubt.values)
        if doubt.refused:
            return None
    touched = np.where((moves > result.tolerance)[:, None], result.positions, expected)
    offsets = rounded(unposed(touched, ground, stands, diagnostics))
    strays = strays_of(offsets, ground.mesh, region, tuple(joint.name for joint in ground.rig.skeleton))
    corrected = [f"is {form}" for form in form_of(result.similarity, size)]
    pose = pose_of(result, 1.0, ground.rig, ground.pose)
    corrected += [] if pose is None else [f"stands {pose}, and not in the pose that was asked for"]
    corrected += ["has its vertices in another order"] if result.renumbered else []
    kept = without(offsets, strays) if drop_strays else offsets
    return AdoptedOffsets(kept, result, tuple(corrected), strays)


def in_pose(offsets: Offsets, ground: Ground) -> Offsets:
    """Offsets of the undeformed mesh as they are in a pose, by the skin matrices of its vertices."""
    deformer = Deformer(ground.mesh, ground.rig, {})
    matrices = deformer.skinning.matrices(deformer.motion(ground.pose).skins, deformer.method)[0, offsets.indices]
    turned = np.matmul(matrices[:, :, :3], offsets.offsets[:, :, None])[..., 0]
    return rounded(Offsets(offsets.indices, turned))


def off_pose(offsets: Offsets, ground: Ground) -> Offsets:
    """The inverse of `in_pose`, not rounded."""
    deformer = Deformer(ground.mesh, ground.rig, {})
    skins = deformer.motion(ground.pose).skins[0]
    return Unposer(deformer.skinning, ground.mesh.positions, skins, None, deformer.method).sparse(offsets).offsets


def offsets_bytes(
    offsets: Offsets, ground: Ground, record: PoseRecord, history: tuple[str, ...], draft: DraftLayer | None = None
) -> bytes:
    """The sculpt as a small NPZ file: `grammar/sculpts.md` describes it.

    ground: with the pose that the offsets are in; draft: their computed layer, if any.
    """
    posed = next(sparse_poses(ground.rig, ground.pose))
    arrays: dict[str, NDArray[Any]] = {
        "indices": offsets.indices.astype("<i4"),
        "offsets": offsets.offsets.astype("<f8"),
        "vertex_count": np.array(ground.mesh.vertex_count, "<i4"),
        "fingerprint": np.array(ground.attached.fingerprint, np.str_),
        KEY: np.array(record.text(), np.str_),
        "posed": np.array(json.dumps(plain_pose(posed)), np.str_),
        "history": np.array(json.dumps(list(history), ensure_ascii=True), np.str_),
    }
    return written(arrays if draft is None else arrays | draft_arrays(draft, offsets))


def unposed(positions: Floats, ground: Ground, stands: Poses, diagnostics: Diagnostics) -> Offsets:
    """The offsets on the undeformed mesh of a skin (v, 3) that stands in a pose, one frame, with the ground's
    shapes."""
    deformer = Deformer(ground.mesh, ground.rig, ground.shapes)
    motion = deformer.motion(stands)
    earlier = deformer.added(motion)
    method = ground.rig.character.skinning
    result = Unposer(deformer.skinning, ground.mesh.positions, motion.skins[0], earlier, method).sculpt(positions)
    if result.ill.count:
        diagnostics.add_filled(FOLDED, None, result.ill.texts("the sculpt"))
    return result.offsets


def rounded(offsets: Offsets, step: float = STEP) -> Offsets:
    """Offsets rounded to whole steps (metres), without those that are 0 then."""
    steps = Offsets(offsets.indices, np.rint(offsets.offsets / step) * step + 0.0)
    return chosen(steps, lengths(steps.offsets) > 0.0)


def _refuse(result: Unrecognised, shown: str, mesh: Mesh, diagnostics: Diagnostics) -> None:
    if result.kind == "count":
        count, points = mesh.vertex_count, mesh.point_count
        diagnostics.add("sculpt-of-other-size", None, file=shown, count=result.vertices, vertices=count, points=points)
    elif result.kind == "order":
        diagnostics.add("sculpt-not-matched", None, file=shown, matched=result.matched, points=mesh.point_count)
    else:
        diagnostics.add("sculpt-not-recognised", None, file=shown, share=f"{100 * result.agreeing:.0f} %")


def told(adopted_offsets: AdoptedOffsets, vertex_count: int) -> tuple[str, ...]:
    """What was taken in, in sentences."""
    result, offsets = adopted_offsets.recognised, adopted_offsets.neutral
    own, largest = offsets.count - adopted_offsets.followers, length(largest_of(offsets.offsets))
    lines = [f"{own} of {vertex_count} vertices are sculpted, by at most {largest}"]
    if adopted_offsets.followers:
        lines.append(f"{adopted_offsets.followers} vertices that lie over the skin follow it")
    lines += [f"the file {what}: put right" for what in adopted_offsets.corrected]
    if result.telling:
        lines.append(f"its pose is confirmed by {result.confirming} of the {result.telling} vertices that it moves")
    for stray in adopted_offsets.strays:
        near = f" near `{stray.joint}`" if stray.joint else ""
        lines.append(f"a stray mark: {len(stray.vertices)} vertices{near}, by at most {length(stray.largest)}")
    return tuple(lines)

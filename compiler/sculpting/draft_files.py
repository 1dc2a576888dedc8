"""A drafted shape as files, and as what its spec is to say of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import NamedTuple

from plica import __version__
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Offsets
from plica.mesh.attach import Attached
from plica.mesh.draft_layer import DraftInputs, DraftLayer
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.offsets import at_strength, summed
from plica.mesh.pose_solver import PoseSolver
from plica.mesh.recognition.pose_record import PoseRecord
from plica.mesh.sculpt_strength import NEAR
from plica.prove.pose_rows import sparse_poses
from plica.rig.rig import Rig
from plica.rig.surfaces import Inbetween, JointPose, Sculpt, Shape, StrengthPose
from plica.sculpting.adoption import Ground, in_pose, offsets_bytes, rounded
from plica.sculpting.draft_layers import strengths_of_both

Items = tuple[StrengthPose | JointPose, ...]


class LayeredShape(NamedTuple):
    """What is to be written of a shape: the computed layer, the hand's, what the first hangs on, the strengths of the
    shapes that were on, and what became of it in sentences."""

    draft: Inbetweens
    hand: Inbetweens | None
    inputs: DraftInputs
    shapes: Mapping[str, float]
    sentences: tuple[str, ...]


class DraftFiles(NamedTuple):
    """files: contents by the name that the spec gives them; shape: as the spec has to say it."""

    files: Mapping[str, bytes]
    shape: Shape


def draft_files(rig: Rig, attached: Attached, shape: Shape, items: Items, layered: LayeredShape) -> DraftFiles:
    """The files of a shape, one for each strength that it has a sculpt at.

    items: the pose of the whole shape. Inbetweens are in the pose that their strength gives, where it gives one, else
    as they are on the undeformed mesh.
    """
    solver, evaluator = PoseSolver(rig), Evaluator(rig)
    after = tuple(name for name in layered.shapes if name != shape.name)
    name = _name(shape)
    whole = Sculpt(name, items, after)
    files = {name: _content(rig, attached, shape, solver.pose(items).poses, layered, 1.0)}
    between = []
    for at in strengths_of_both(layered.draft, layered.hand):
        own, poses = _pose_at(shape, items, at, solver, evaluator)
        named = next((one.sculpt.file for one in shape.inbetweens if one.at == at), None)
        named = named or PurePosixPath(name).with_name(f"{PurePosixPath(name).stem}_{100 * at:.0f}.npz").as_posix()
        files[named] = _content(rig, attached, shape, poses, layered, at)
        between.append(Inbetween(at, Sculpt(named, own, after if own else ())))
    sided = shape.sided or (None if shape.side == "none" else "one-sided")
    return DraftFiles(files, shape._replace(source=whole, inbetweens=tuple(between), sided=sided))


def layered_content(
    drafted: Offsets,
    hand: Offsets | None,
    inputs: DraftInputs,
    ground: Ground,
    record: PoseRecord,
    history: tuple[str, ...],
) -> bytes:
    """The file of a computed layer and what was made over it by hand, both given on the undeformed mesh.

    ground: with the pose that the file is in.
    """
    own = in_pose(drafted, ground)
    both = own
    if hand is not None:
        both = rounded(summed([(own, 1.0), (in_pose(hand, ground), 1.0)], ground.mesh.vertex_count))
    return offsets_bytes(both, ground, record, history, DraftLayer(own, inputs))


def _name(shape: Shape) -> str:
    source = shape.source
    if isinstance(source, Sculpt) and source.file.lower().endswith(".npz"):
        return source.file
    return f"sculpts/{shape.declared}.npz"


def _pose_at(shape: Shape, items: Items, at: float, solver: PoseSolver, evaluator: Evaluator) -> tuple[Items, Poses]:
    """The pose in which an inbetween is written: the shape's own strength at its amount, or rest."""
    still: Items = ()
    own = tuple(StrengthPose(item.strength, at) for item in items if isinstance(item, StrengthPose))
    if shape.follows is None or len(own) != len(items) or shape.follows not in {item.strength for item in own}:
        return still, solver.pose(still).poses
    solved = solver.pose(own)
    given = float(evaluator.strengths(solved.poses)[0, evaluator.names.index(shape.follows)])
    if solved.problems or abs(given - at) > NEAR:
        return still, solver.pose(still).poses
    return own, solved.poses


def _content(rig: Rig, attached: Attached, shape: Shape, pose: Poses, layered: LayeredShape, at: float) -> bytes:
    count = attached.mesh.vertex_count
    record = PoseRecord(
        character=rig.character.name,
        shape=shape.name,
        said="as the spec says",
        pose=next(sparse_poses(rig, pose)),
        shapes=layered.shapes,
        neutral=attached.fingerprint,
        vertices=count,
        tool=__version__,
    )
    history = ("drafted", *layered.sentences, f"plica {__version__}")
    drafted, hand = at_strength(layered.draft, at, count), _hand_at(layered.hand, at)
    return layered_content(drafted, hand, layered.inputs, Ground(rig, attached, pose, {}), record, history)


def _hand_at(hand: Inbetweens | None, at: float) -> Offsets | None:
    """The hand's work on the sculpt at a strength; between those that it worked on it fades in by itself."""
    if hand is None:
        return None
    return {1.0: hand.primary, **dict(zip(hand.at, hand.offsets, strict=True))}.get(at)

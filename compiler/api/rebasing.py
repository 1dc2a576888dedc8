"""Sculpts of a character whose model has changed, carried over to it as it is now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from plica import __version__
from plica.api.character import Character, FilePath, compile_text, counted_errors, rig_of
from plica.api.skin import AttachedMesh, attach_mesh
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Severity
from plica.errors import NoMeshError, PlicaError
from plica.mesh.arrays import Offsets
from plica.mesh.draft_layer import DraftInputs
from plica.mesh.pose_solver import PoseSolver
from plica.mesh.recognition.pose_record import PoseRecord
from plica.prove.pose_rows import sparse_poses
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, StrengthPose
from plica.sculpting.adoption import Ground, in_pose, offsets_bytes
from plica.sculpting.draft_files import layered_content
from plica.sculpting.rebase import CarriedSculpt, Rebasing, sentence_of


@dataclass(frozen=True, eq=False, repr=False)
class RebasedSculpts:
    """Sculpts carried over to a character's model as it is now.

    files: the contents by the name that the spec is to give them, its folder's; renamed: names of the spec that are
    others now (a sculpt that was a mesh becomes an NPZ file). sentences: what changed and what became of each sculpt.
    diagnostics: why they cannot be carried over; then there are no files.
    """

    files: Mapping[str, bytes]
    renamed: Mapping[str, str]
    sentences: tuple[str, ...]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether everything was carried over."""
        return bool(self.files)

    def write(self, folder: FilePath) -> tuple[Diagnostic, ...]:
        """Write the files into the spec's folder, all or none; what stands in the way is given as diagnostics."""
        return write_whole(self.files, Path(folder))

    def __repr__(self) -> str:
        return f"<RebasedSculpts: {len(self.files)} files, {counted_errors(self.diagnostics)}>"


def rebase_sculpts(character: Character, old_model: FilePath) -> RebasedSculpts:
    """Carry all sculpts over from the model as it was when they were made.

    Each is taken off its pose on the old mesh, carried to the new one (by numbers where the mesh has the same, else by
    the nearest place on the skin in the neutral stance), turned with the skin, and written as it is in its pose now.
    old_model: the model's file as it was. Sculpts that do not fit the old model are diagnostics of the result.

    Raises NoRigError, NoMeshError, and PlicaError for a character that names no model, or has no sculpts.
    """
    rig, new = rig_of(character), attach_mesh(character)
    old = attach_mesh(_with_model(character, rig, Path(old_model)))
    errors = [one for one in old.diagnostics if one.severity is Severity.ERROR]
    if old.attached is None or errors:
        return RebasedSculpts({}, {}, (), tuple(errors))
    if new.attached is None:
        raise NoMeshError(next((one.message for one in new.diagnostics), "the mesh could not be read"))
    if not old.attached.sculpts:
        raise PlicaError(f"{character.file} has no sculpts to carry over")
    rebasing = Rebasing(old.attached, new.attached, tuple(joint.name for joint in rig.skeleton))
    files, renamed, sentences = {}, {}, [rebasing.change()]
    for (shape, strength), sculpt in old.attached.sculpts.items():
        taken = rebasing.carry(shape, strength, sculpt.offsets)
        name = PurePosixPath(sculpt.pose.file).with_suffix(".npz").as_posix()
        history = (f"{sculpt.pose.file}, carried over", sentences[0])
        layers = None
        if sculpt.draft is not None:
            parts = (sculpt.draft.offsets, sculpt.draft.by_hand)
            drafted, hand = (rebasing.carry(shape, strength, part).offsets for part in parts)
            layers = CarriedLayers(drafted, hand, sculpt.draft.then)
        files[name] = carried_content(rig, new, sculpt.pose.pose, taken, history, layers)
        sentences.append(sentence_of(taken))
        if name != sculpt.pose.file:
            renamed[sculpt.pose.file] = name
    return RebasedSculpts(files, renamed, tuple(sentences), ())


class CarriedLayers(NamedTuple):
    """The layers of a computed sculpt on the new mesh: what was computed, what was made over it by hand, and what the
    first was computed from."""

    drafted: Offsets
    hand: Offsets
    inputs: DraftInputs


def carried_content(
    rig: Rig,
    new: AttachedMesh,
    items: tuple[StrengthPose | JointPose, ...],
    taken: CarriedSculpt,
    told: tuple[str, ...],
    layers: CarriedLayers | None = None,
) -> bytes:
    """The NPZ file of a sculpt that was carried over, in the pose that `items` say; told: where it came from; layers:
    of one that was computed."""
    assert new.attached is not None
    pose = PoseSolver(rig).pose(items).poses
    ground = Ground(rig, new.attached, pose, {})
    record = PoseRecord(
        character=rig.character.name,
        shape=taken.shape,
        said="as the spec says",
        pose=next(sparse_poses(rig, pose)),
        shapes={},
        neutral=new.attached.fingerprint,
        vertices=new.mesh.vertex_count,
        tool=__version__,
    )
    history = (*told, sentence_of(taken), f"plica {__version__}")
    if layers is not None:
        return layered_content(*layers, ground, record, history)
    return offsets_bytes(in_pose(taken.offsets, ground), ground, record, history)


def _with_model(character: Character, rig: Rig, model: Path) -> Character:
    """The same spec with another model's file."""
    compiled, geometry = character.compiled, rig.character.geometry
    if compiled is None or not compiled.documents or geometry is None:
        raise PlicaError(f"{character.file} names no model in a spec, so there is no other state of it")
    text, named = compiled.documents[0].source.text, f'"{geometry.file}"'
    if named not in text:
        raise PlicaError(
            f"{character.file}: the model's file is not named in the spec itself, so it cannot be replaced"
        )
    place = model.resolve()
    other = compile_text(
        text.replace(named, f'"{place.as_posix()}"', 1),
        name=character.file,
        folder=character.folder,
        allow=(*character.allow, place.parent),
    )
    if other.rig is None:
        first = next(one.message for one in other.diagnostics if one.severity is Severity.ERROR)
        raise PlicaError(f"with {model.as_posix()} the spec does not compile: {first}")
    return other

"""Sculpts that come back, taken in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from plica import __version__
from plica.api.character import Character, FilePath, counted_errors, rig_of
from plica.api.posing import check_names
from plica.api.sculpting import PosedModel, item_words, pose_skin, shape_of
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.evaluate.poses import Poses, poses_from
from plica.mesh.arrays import Offsets
from plica.mesh.drafted_shapes import layers_of
from plica.mesh.mirror import Handing, handing
from plica.mesh.npz_offsets import parse_npz_offsets
from plica.mesh.offsets import at_strength, summed
from plica.mesh.pose_solver import PoseSolver
from plica.mesh.recognition.pose_record import PoseRecord, companion_of, read_record
from plica.mesh.sculpt_reader import read_sculpt
from plica.mesh.sculpt_strength import NEAR
from plica.quantities import number
from plica.readers.gltf_document import content
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_or_told
from plica.rig.rig import Rig
from plica.rig.surfaces import Sculpt, Shape, StrengthPose
from plica.sculpting.adoption import AdoptedOffsets, Ground, adopted, in_pose, offsets_bytes, told
from plica.sculpting.draft_files import layered_content
from plica.sculpting.overlying import following, joined, names_of_parts, vertices_of
from plica.sculpting.posed_mesh import sculpt_of

SAME_STRENGTH = 1e-6
OVER_DRAFT = "it was made over the draft: kept as a layer of its own, also when the shape is drafted again"
WITHOUT_DRAFT = "the draft of the shape was not on while it was made: the sculpt takes its place"


@dataclass(frozen=True, eq=False, repr=False)
class AdoptedSculpt:
    """A sculpt taken in, or why it was not.

    shape, declared: its output name and its name in the spec; strength: what the sculpt stands for, 1 or that of an
    inbetween. offsets: as they are in the pose that the spec's `sculpt`
    line says, what `content` holds; None where errors stood in the way. neutral: the same on the undeformed mesh. line:
    the `sculpt` fact that goes with the file, without the file's name. sentences: what was found out about the file,
    and put right.
    """

    shape: str
    declared: str
    offsets: Offsets | None
    neutral: Offsets | None
    content: bytes
    line: str
    sentences: tuple[str, ...]
    diagnostics: tuple[Diagnostic, ...]
    strength: float = 1.0

    @property
    def file(self) -> str:
        """What its file is usually called, from the spec's folder."""
        part = "" if self.strength == 1.0 else f"_{100 * self.strength:.0f}"
        return f"sculpts/{self.declared}{part}.npz"

    @property
    def ok(self) -> bool:
        """Whether the sculpt was taken in."""
        return self.offsets is not None

    def write(self, file: FilePath) -> tuple[Diagnostic, ...]:
        """Write the file that the spec names; what stands in the way is given as diagnostics."""
        path = Path(file)
        return write_whole({path.name: self.content}, path.parent)

    def __repr__(self) -> str:
        state = counted_errors(self.diagnostics) if self.offsets is None else f"{self.offsets.count} vertices"
        return f"<AdoptedSculpt of {self.shape!r}: {state}>"


def adopt_sculpt(
    character: Character,
    shape: str,
    file: FilePath,
    *,
    record: FilePath | None = None,
    at: str | None = None,
    strength: float | None = None,
    both_sides: bool = False,
    drop_strays: bool = False,
    also: Sequence[str] = (),
) -> AdoptedSculpt:
    """Take a sculpted mesh (OBJ, glTF, OpenUSD, NPZ) in as a shape's sculpt.

    shape: its output name, or its declared name, which means the left side's. record: what `plica pose` wrote beside
    the mesh; default: the file of that name beside `file`, if there is one. Without a record the pose is the one that
    the spec says of the shape, or `at`, and the shapes that were on are those of its `after`. The unit, axes, place,
    order and pose of the file are told by the vertices that nobody touched, and put right. strength: below 1 for an
    inbetween; default: 1, or where the shape itself was on, as drafted ones are, that at which it was. drop_strays:
    leave out marks far from the sculpt. also: names of meshes or nodes of the character that lie over the skin and
    follow it where the sculpt leaves them where they were.

    What stands in the way is a diagnostic of the result. Raises NoRigError, NoMeshError, UnknownNameError,
    UnreachablePoseError.
    """
    rig, diagnostics, path = rig_of(character), Diagnostics(), Path(file)
    shown = path.as_posix()
    target = shape_of(rig, shape)
    stated = _record(path, record, diagnostics)
    if diagnostics.has_errors:
        return _failed(target, diagnostics)
    if stated is not None and at is None:
        poses = poses_from(rig, [stated.pose])
        posed = pose_skin(character, target.name, poses=poses, on=_known(stated, rig, shown, diagnostics))
        _check_record(stated, posed, shown, diagnostics)
    else:
        on = None if isinstance(target.source, Sculpt) else ()
        share = 1.0 if strength is None else strength
        posed = pose_skin(character, target.name, at=at, strength=share, both_sides=both_sides, on=on)
    assert posed.mesh.attached is not None
    check_names("mesh", also, names_of_parts(posed.mesh.mesh))
    meshes = rig.character.geometry.meshes if rig.character.geometry else ()
    sculpt = read_or_told(lambda: read_sculpt(path, meshes), "unreadable-sculpt", shown, None, diagnostics)
    if sculpt is not None and sculpt.positions is None:
        diagnostics.add("sculpt-is-offsets", None, file=shown)
    if sculpt is None or diagnostics.has_errors:
        return _failed(target, diagnostics)
    shapes = {name: posed.mesh.attached.shapes[name] for name in posed.record.shapes}
    ground = Ground(rig, posed.mesh.attached, posed.poses, shapes)
    region = None if target.within is None else posed.mesh.attached.regions.get(target.within)
    result = adopted(sculpt, shown, ground, region, drop_strays, diagnostics)
    if result is not None and also:
        result = _followed(result, ground, also, shown, diagnostics)
    if result is None:
        return _failed(target, diagnostics)
    return _kept(target, _stood_for(target, posed, strength), path, ground, posed, result, diagnostics)


def _stood_for(target: Shape, posed: PosedModel, strength: float | None) -> float:
    """The strength that the sculpt stands for: of an inbetween that is there, its own."""
    given = posed.record.shapes.get(target.name, 1.0) if strength is None else strength
    known = (1.0, *(one.at for one in target.inbetweens))
    return next((at for at in known if abs(at - given) <= NEAR), round(given, 3))


def _followed(
    result: AdoptedOffsets, ground: Ground, also: Sequence[str], shown: str, diagnostics: Diagnostics
) -> AdoptedOffsets | None:
    """With what these meshes take of the sculpt; None, after diagnostics, where they take nothing."""
    taken = following(result.neutral, ground.attached, vertices_of(ground.mesh, also))
    if not taken.count:
        diagnostics.add("nothing-follows", None, file=shown, meshes=", ".join(also))
        return None
    return replace(result, neutral=joined(result.neutral, taken), followers=taken.count)


def _kept(
    target: Shape,
    strength: float,
    path: Path,
    ground: Ground,
    posed: PosedModel,
    result: AdoptedOffsets,
    diagnostics: Diagnostics,
) -> AdoptedSculpt:
    rig, mesh = ground.rig, ground.mesh
    pose, words = _pose_to_write(rig, target, posed, strength)
    target_ground = Ground(rig, ground.attached, pose, {})
    was_on = target.name in posed.record.shapes
    layers = layers_of(target.declared, ground.attached.sculpts)
    sentences = told(result, mesh.vertex_count)
    sentences += () if layers is None else (OVER_DRAFT if was_on else WITHOUT_DRAFT,)
    digest = sha256(content(path)).hexdigest()[:16]
    history = (f"{path.name} ({digest})", *sentences, f"plica {__version__}")
    if layers is not None and was_on:
        drafted = at_strength(layers.draft, strength, mesh.vertex_count)
        before = at_strength(layers.hand, strength, mesh.vertex_count)
        hand = summed([(before, 1.0), (result.neutral, 1.0)], mesh.vertex_count)
        neutral = summed([(drafted, 1.0), (hand, 1.0)], mesh.vertex_count)
        inputs = ground.attached.sculpts[target.declared, 1.0].draft
        assert inputs is not None
        made = layered_content(drafted, hand, inputs.then, target_ground, posed.record, history)
    else:
        known = ground.attached.sculpts.get((target.declared, strength)) if was_on else None
        parts = [(result.neutral, 1.0)] if known is None else [(known.offsets, 1.0), (result.neutral, 1.0)]
        neutral = result.neutral if known is None else summed(parts, mesh.vertex_count)
        made = offsets_bytes(in_pose(neutral, target_ground), target_ground, posed.record, history)
    after = [one.declared for one in rig.shapes if one.name in posed.record.shapes and one.declared != target.declared]
    line = words + (f"  after {', '.join(dict.fromkeys(after))}" if after else "")
    sided = _sided(target, ground, neutral) if strength == 1.0 else None
    if sided is not None:
        sentences += (sided.sentence,)
        line += (
            f"   {sided.sided}" if sided.plain else "   and `one-sided` or `two-sided`, which it does not show plainly"
        )
    return AdoptedSculpt(
        target.name,
        target.declared,
        parse_npz_offsets(made).offsets,
        neutral,
        made,
        line.strip(),
        sentences,
        diagnostics.all,
        strength,
    )


def _sided(target: Shape, ground: Ground, offsets: Offsets) -> Handing | None:
    """Whether the sculpt shows one side or both; None for a shape that has no sides."""
    sides = ground.attached.sides
    if target.side == "none" or sides is None:
        return None
    return handing(offsets, sides, target.threshold, target.sided)


def _pose_to_write(rig: Rig, target: Shape, posed: PosedModel, strength: float) -> tuple[Poses, str]:
    """The pose that the spec's `sculpt` fact says or is to say, and the words for it; at rest for one that it cannot
    say."""
    solver = PoseSolver(rig)
    sculpt = sculpt_of(target, strength)
    if sculpt is not None:
        items = sculpt.pose
    elif target.follows is not None:
        items = (StrengthPose(target.follows, strength),)
        if not _same(solver.pose(items).poses, posed.poses):
            items = ()
    else:
        items = ()
    declared = {strength.name: strength.declared for strength in rig.strengths}
    words = ", ".join(item_words(item, declared) for item in items)
    return solver.pose(items).poses, f"posed at {words}" if words else ""


def _same(one: Poses, other: Poses) -> bool:
    import numpy as np

    turns = np.abs((one.rotations * other.rotations).sum(axis=2))
    return bool((turns > 1 - 1e-12).all() and np.allclose(one.translations, other.translations, atol=1e-9))


def _record(path: Path, given: FilePath | None, diagnostics: Diagnostics) -> PoseRecord | None:
    """The record that was given, or that stands beside the file; None for none."""
    beside = companion_of(path)
    place = Path(given) if given is not None else beside if beside.exists() else None
    if place is None:
        return None
    try:
        return read_record(place)
    except UnreadableModel as error:
        diagnostics.add("unreadable-sculpt", None, file=place.as_posix(), reason=str(error))
        return None


def _known(record: PoseRecord, rig: Rig, shown: str, diagnostics: Diagnostics) -> list[str]:
    """The shapes that were on; an error for those that the character has no more."""
    names = {one.name for one in rig.shapes}
    for name in record.shapes:
        if name not in names:
            diagnostics.add("sculpt-over-lost-shape", None, file=shown, shape=name)
    return [name for name in record.shapes if name in names]


def _check_record(record: PoseRecord, posed: PosedModel, shown: str, diagnostics: Diagnostics) -> None:
    """Whether what the mesh was handed out with is still so."""
    now = posed.record
    if record.character != now.character:
        diagnostics.add("sculpt-of-other-character", None, file=shown, other=record.character, own=now.character)
    elif record.neutral != now.neutral:
        diagnostics.add("sculpt-of-edited-skin", None, file=shown)
    for name, strength in record.shapes.items():
        if abs(now.shapes.get(name, 0.0) - strength) > SAME_STRENGTH:
            diagnostics.add(
                "sculpt-over-changed-shape",
                None,
                file=shown,
                shape=name,
                then=number(strength, 4),
                now=number(now.shapes.get(name, 0.0), 4),
            )


def _failed(target: Shape, diagnostics: Diagnostics) -> AdoptedSculpt:
    assert any(one.severity is Severity.ERROR for one in diagnostics.all)
    return AdoptedSculpt(target.name, target.declared, None, None, b"", "", (), diagnostics.all)

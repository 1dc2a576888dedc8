"""Sculpts of one character carried over to another of like build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import PurePosixPath

import numpy as np

from plica.api.character import Character, rig_of
from plica.api.posing import check_names, listed
from plica.api.rebasing import RebasedSculpts, carried_content
from plica.api.skin import AttachedMesh, attach_mesh
from plica.diagnostics import Diagnostic, Diagnostics, Severity
from plica.errors import NoMeshError
from plica.mesh.arrays import Integers
from plica.mesh.attach import Attached
from plica.mesh.sculpt_offsets import UnposedSculpt, together
from plica.quantities import number
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, Sculpt, Shape, StrengthPose
from plica.sculpting.fitting import BodyInStance, MatchedJoints, fitted, match_joints
from plica.sculpting.posed_mesh import sculpt_of
from plica.sculpting.rebase import Rebasing, sentence_of

Items = tuple[StrengthPose | JointPose, ...]


def transfer_sculpts(character: Character, other: Character, shapes: Iterable[str] = ()) -> RebasedSculpts:
    """Carry the sculpts of another character of like build over to this one's shapes of the same declared names.

    The other's skin is fitted to this one joint by joint, both in their neutral stance; each vertex takes the offset
    of the nearest place on it, turned and scaled with it. Joints are matched by name, then by side and by what their
    names say. shapes: declared names; all that both have by default.

    What stands in the way (no shape in common, joints that do not match) is a diagnostic of the result. Raises
        NoRigError, NoMeshError and UnknownNameError.
    """
    rig, other_rig, diagnostics = rig_of(character), rig_of(other), Diagnostics()
    named = list(dict.fromkeys(shapes))
    check_names("shape", named, list(dict.fromkeys(one.declared for one in rig.shapes)))
    theirs, ours = attach_mesh(other), attach_mesh(character)
    errors = tuple(one for one in theirs.diagnostics if one.severity is Severity.ERROR)
    if theirs.attached is not None and errors:
        return RebasedSculpts({}, {}, (), errors)
    there, here = _attached(theirs), _attached(ours)
    wanted = _common(rig, there, named)
    missing = [name for name in named if name not in {shape for shape, _ in wanted}]
    if missing or not wanted:
        have = listed(list(dict.fromkeys(shape for shape, _ in there.sculpts))) if there.sculpts else "none"
        what = listed(missing) if missing else "any shape of the spec"
        diagnostics.add("no-sculpt-to-carry", None, file=other.file, shapes=what, have=have)
        return RebasedSculpts({}, {}, (), diagnostics.all)
    bodies = _body(other_rig, there), _body(rig, here)
    matched = match_joints(*bodies)
    sculpted = np.unique(np.concatenate([sculpt.offsets.indices for sculpt in wanted.values()]))
    if not matched.enough(sculpted):
        count, joints = len(matched.partners), len(other_rig.skeleton)
        share = f"{100 * matched.share(sculpted):.3g} %"
        diagnostics.add("bodies-not-matched", None, file=other.file, count=count, joints=joints, share=share)
        return RebasedSculpts({}, {}, (), diagnostics.all)
    names = tuple(joint.name for joint in rig.skeleton)
    rebasing = Rebasing(there, here, names, fitted(*bodies, matched))
    return _carried(rig, other_rig, ours, rebasing, wanted, (other.file, _sentence(matched, other_rig, sculpted)))


def _carried(
    rig: Rig,
    other: Rig,
    mesh: AttachedMesh,
    rebasing: Rebasing,
    wanted: Mapping[tuple[str, float], UnposedSculpt],
    told: tuple[str, str],
) -> RebasedSculpts:
    """told: what the other character's file is called, and how its body was matched."""
    files, renamed, sentences = {}, {}, [told[1]]
    for (shape, strength), sculpt in wanted.items():
        taken = rebasing.carry(shape, strength, sculpt.offsets)
        sentences.append(sentence_of(taken))
        sides, items = _sides(rig, shape), _pose(rig, other, shape, strength, sculpt.pose)
        own = sculpt_of(sides[0], strength)
        at = "" if strength == 1.0 else f"_{number(strength)}"
        name = f"sculpts/{shape}{at}.npz" if own is None else PurePosixPath(own.file).with_suffix(".npz").as_posix()
        history = (f"{sculpt.pose.file} of {told[0]}, carried over", told[1])
        files[name] = carried_content(rig, mesh, items, taken, history)
        if own is None:
            sentences.append(_line(rig, shape, name, items, _sides(other, shape)[0]))
        elif own.file != name:
            renamed[own.file] = name
    return RebasedSculpts(files, renamed, tuple(sentences), ())


def _common(rig: Rig, there: Attached, named: list[str]) -> dict[tuple[str, float], UnposedSculpt]:
    """The other's sculpts, by shape and strength, that this character has a place for."""
    result = {}
    for (name, strength), sculpt in there.sculpts.items():
        sides = _sides(rig, name) if not named or name in named else []
        if sides and (strength == 1.0 or sculpt_of(sides[0], strength) is not None):
            result[name, strength] = sculpt
    return result


def _sides(rig: Rig, declared: str) -> list[Shape]:
    """A shape's sides, the left first."""
    return sorted((one for one in rig.shapes if one.declared == declared), key=lambda one: one.side)


def _pose(rig: Rig, other: Rig, shape: str, strength: float, made: Sculpt) -> Items:
    """The pose that this character's sculpt is written in: of the same side, or both, that the other was made in."""
    own = [_stated(one, strength) for one in _sides(rig, shape)]
    theirs = [sculpt_of(one, strength) for one in _sides(other, shape)]
    if len(own) == 1 or made == theirs[0]:
        return own[0].pose
    return own[1].pose if made == theirs[-1] else together(own[0], own[1]).pose


def _stated(shape: Shape, strength: float) -> Sculpt:
    """The sculpt that the spec says of a shape; without one, what it is to say: made with the shape fully on."""
    items = () if shape.follows is None else (StrengthPose(shape.follows, strength),)
    return sculpt_of(shape, strength) or Sculpt("", items)


def _line(rig: Rig, shape: str, file: str, items: Items, other: Shape) -> str:
    """What the spec is to say of a sculpt that it does not name yet; poses here have been made from `follows`."""
    declared = {strength.name: strength.declared for strength in rig.strengths}
    words = dict.fromkeys(
        f"{declared[one.strength]} {number(one.amount)}" for one in items if isinstance(one, StrengthPose)
    )
    pose = f"  posed at {', '.join(words)}" if words else ""
    sided = f"  {other.sided}" if other.sided and len(_sides(rig, shape)) == 2 else ""
    return f'the spec is to say in shape {shape}:  sculpt "{file}"{pose}{sided}'


def _sentence(matched: MatchedJoints, other: Rig, sculpted: Integers) -> str:
    count = len(matched.partners)
    ways = f"{matched.named} by name" + (
        "" if matched.named == count else f", {count - matched.named} by what they are"
    )
    share = f"{100 * matched.share(sculpted):.3g} %"
    return f"{count} of {len(other.skeleton)} joints are matched ({ways}), which hold {share} of the sculpted skin"


def _body(rig: Rig, attached: Attached) -> BodyInStance:
    return BodyInStance(rig, attached.mesh if attached.neutral is None else attached.neutral.mesh)


def _attached(mesh: AttachedMesh) -> Attached:
    if mesh.attached is None:
        first: Diagnostic | None = next(iter(mesh.diagnostics), None)
        raise NoMeshError(first.message if first else f"{mesh.character.file} names no model")
    return mesh.attached

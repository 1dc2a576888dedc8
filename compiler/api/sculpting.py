"""The mesh in a pose, for somebody to sculpt over."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np

from plica import __version__
from plica.api.character import Character, FilePath, compile_text, rig_of
from plica.api.posing import as_poses, check_names, listed, read_clips, solved_pose
from plica.api.skin import AttachedMesh, attach_mesh
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Severity
from plica.diagnostics.place import counted
from plica.errors import NoMeshError, PlicaError, UnknownNameError, UnreachablePoseError
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats
from plica.mesh.drafted_shapes import Sculpts, is_drafted
from plica.mesh.recognition.pose_record import PoseRecord, UpAxis, companion_of
from plica.prove.pose_rows import sparse_poses
from plica.quantities import number
from plica.rig.expectations import title_of
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, Shape, StrengthPose
from plica.sculpting.posed_files import FIXED, WRITERS, file_mesh
from plica.sculpting.posed_mesh import posed_mesh, sculpt_of, shapes_before

ENDINGS: Final = tuple(WRITERS)
"""Endings of the files that `PosedModel.files` makes."""


class UnusableFormError(PlicaError, ValueError):
    """A file form that cannot hold what is asked for."""


@dataclass(frozen=True, eq=False, repr=False)
class PosedModel:
    """A character's skin in one pose, shapes on. positions (v, 3): metres of model space, y up.

    poses: the pose, one frame. record: what travels along with a file of it.
    """

    mesh: AttachedMesh
    positions: Floats
    poses: Poses
    record: PoseRecord

    def files(self, name: str, *, metres: float = 1.0, up: UpAxis = "y", welded: bool = False) -> dict[str, bytes]:
        """The mesh as a file, and its record as another, by name; the form goes by the ending of `name`.

        metres: what one length of the file is to be (0.01 for centimetres). up: the axis that points up. welded: one
        vertex for each welded point, where uv seams split the mesh. Raises UnusableFormError.
        """
        path = Path(name)
        ending = path.suffix.lower()
        if ending not in WRITERS:
            raise UnusableFormError(f"`{name}`: posed meshes are written as {listed(ENDINGS)}")
        if ending in FIXED and (metres != 1.0 or up != "y"):
            raise UnusableFormError(f"`{name}`: {ending} files are in metres with y up; other units need .obj or .usda")
        if not (np.isfinite(metres) and metres > 0.0):
            raise UnusableFormError(f"a length of the file must be a number of metres above 0, not {metres!r}")
        mesh = self.mesh.mesh
        count = mesh.point_count if welded else mesh.vertex_count
        record = replace(self.record, metres=metres, up=up, welded=welded, vertices=count)
        content = WRITERS[ending](file_mesh(mesh, self.positions, record), record)
        return {path.name: content, companion_of(path).name: (record.text() + "\n").encode()}

    def write(
        self, file: FilePath, *, metres: float = 1.0, up: UpAxis = "y", welded: bool = False
    ) -> tuple[Diagnostic, ...]:
        """Write both files, all or none; what stands in the way is given as diagnostics. Raises UnusableFormError."""
        path = Path(file)
        return write_whole(self.files(path.name, metres=metres, up=up, welded=welded), path.parent)

    def __repr__(self) -> str:
        on = counted(len(self.record.shapes), "shape")
        return f"<PosedModel of {self.record.character!r}: {self.record.said}, {on} on>"


def pose_skin(
    character: Character,
    shape: str | None = None,
    *,
    at: str | None = None,
    pose: str | None = None,
    clip: FilePath | None = None,
    time: float = 0.0,
    worst: str | None = None,
    poses: Poses | None = None,
    strength: float = 1.0,
    both_sides: bool = False,
    on: Collection[str] | None = None,
) -> PosedModel:
    """The skin in the pose that a shape is sculpted in, or in any other pose.

    shape: its output name, or its declared name, which means the left side's; its pose is the one that its sculpt says,
    without a sculpt the one in which it is fully on. strength: below 1 for an inbetween. both_sides: both sides in
    their pose. Instead, or besides to say another pose than the shape's: at, as in a `posed at` fact (`elbow 1, about x
    of wrist 20 deg`; names of both sides mean the left); pose, a declared one's output name; clip, a file of motion,
    with a time in seconds; worst, words that one expectation's title holds, whose worst pose is measured; or poses, one
    frame. on: output names of the shapes that are on; default: for a shape that has a sculpt those that its `after`
    says and of a drafted one itself, else all that come before it.

    Raises NoRigError, NoMeshError, UnknownNameError, UnreachablePoseError, ArrayError, and PlicaError for more than one
    pose.
    """
    rig, attached = rig_of(character), attach_mesh(character)
    if attached.attached is None:
        raise NoMeshError(next((one.message for one in attached.diagnostics), "the mesh could not be read"))
    asked = Asked(character, rig, both_sides, strength)
    target = None if shape is None else shape_of(rig, shape)
    ways: list[tuple[object, Callable[[], tuple[Poses, str]]]] = [
        (at, lambda: asked.at(at or "")),
        (pose, lambda: asked.declared(pose or "")),
        (clip, lambda: asked.moment(clip or "", time)),
        (worst, lambda: asked.worst(worst or "")),
        (poses, lambda: (as_poses(character, poses or {}), "a pose given as numbers")),
        (shape, lambda: asked.of_shape(target or shape_of(rig, ""))),
    ]
    given = [made for said, made in ways if said is not None]
    if len(given) > (1 if shape is None else 2):
        raise PlicaError("one pose can be asked for at a time: `at`, `pose`, `clip`, `worst` or `poses`")
    made, said = given[0]() if given else asked.rest()
    if on is not None:
        check_names("shape", on, [one.name for one in rig.shapes])
    chosen = asked.shapes_on(target, attached.attached.sculpts) if on is None else on
    posed = posed_mesh(attached.mesh, rig, attached.attached.shapes, made, chosen)
    record = PoseRecord(
        character=rig.character.name,
        shape=None if target is None else target.name,
        said=said,
        pose=next(sparse_poses(rig, made[0])),
        shapes=posed.shapes,
        neutral=attached.attached.fingerprint,
        vertices=attached.mesh.vertex_count,
        tool=__version__,
    )
    return PosedModel(attached, posed.positions, made[0], record)


def shape_of(rig: Rig, name: str) -> Shape:
    """A shape by its output name, or by its declared name: then the left side's. Raises UnknownNameError."""
    named = [one for one in rig.shapes if one.name == name]
    declared = sorted((one for one in rig.shapes if one.declared == name), key=lambda one: one.side)
    if not named and not declared:
        known = dict.fromkeys(each for one in rig.shapes for each in (one.declared, one.name))
        check_names("shape", [name], list(known))
    return (named or declared)[0]


class Asked:
    """Poses as they are asked for, each with the words for it."""

    def __init__(self, character: Character, rig: Rig, both_sides: bool = False, strength: float = 1.0) -> None:
        self.character, self.rig, self.both_sides, self.strength = character, rig, both_sides, strength

    def of_shape(self, shape: Shape) -> tuple[Poses, str]:
        """The pose that a shape's sculpt says; without one, the shape fully on."""
        sides = [one for one in self.rig.shapes if one.declared == shape.declared] if self.both_sides else [shape]
        items = [item for side in sides for item in self._items(side)]
        return solved_pose(self.rig, items), _words(items)

    def _items(self, shape: Shape) -> Iterable[StrengthPose | JointPose]:
        sculpt = sculpt_of(shape, self.strength)
        if sculpt is not None:
            return sculpt.pose
        return [] if shape.follows is None else [StrengthPose(shape.follows, self.strength)]

    def at(self, text: str) -> tuple[Poses, str]:
        """The pose that the words of a `posed at` fact say, compiled as a declaration of the character's own spec."""
        name = "asked"
        while any(one.declared == name for one in self.rig.poses):
            name += "_"
        compiled = self.character.compiled
        if compiled is None or not compiled.documents:
            raise PlicaError("`at` needs the character's spec; a rig that was read back has no text")
        side = "left " if any(joint.side != "none" for joint in self.rig.skeleton) else ""
        source = compiled.documents[0].source.text
        asking = f"{source}\npose {name} {side}{{\n    at  {text}\n}}\n"
        again = compile_text(asking, name=self.character.file, folder=self.character.folder, allow=self.character.allow)
        mistakes = [one.message for one in again.diagnostics if one.severity is Severity.ERROR]
        if again.rig is None:
            raise UnknownNameError(f"`{text}` is no pose: {'; '.join(mistakes)}")
        [items] = [one.items for one in again.rig.poses if one.declared == name]
        return solved_pose(self.rig, items), _words(items)

    def rest(self) -> tuple[Poses, str]:
        """The neutral stance."""
        return solved_pose(self.rig, ()), "rest"

    def declared(self, name: str) -> tuple[Poses, str]:
        """A declared pose."""
        declared = {one.name: one for one in self.rig.poses}
        check_names("pose", [name], list(declared))
        return solved_pose(self.rig, declared[name].items), f"pose {name}"

    def moment(self, clip: FilePath, time: float) -> tuple[Poses, str]:
        """The moment of a clip that is nearest to a time."""
        read = read_clips(self.character, clip)
        if not read.ok:
            raise PlicaError(next((one.message for one in read.diagnostics), f"{read.file} holds no motion"))
        motion = read.clips[0]
        frame = int(np.argmin(np.abs(motion.times - time)))
        return motion.poses[frame], f"{read.file} at {number(float(motion.times[frame]), 4)} s"

    def worst(self, words: str) -> tuple[Poses, str]:
        """The worst pose of the one expectation whose title holds these words."""
        from plica.api.proving import prove_expectations
        from plica.evaluate.poses import poses_from

        titles = [title_of(one) for one in self.rig.expectations]
        chosen = self.rig.expectations[titles.index(_only(words, titles))]
        alone = self.character.__replace__(rig=self.rig._replace(expectations=(chosen,)))
        report = prove_expectations(alone)
        if not report.results:
            raise PlicaError(next((one.message for one in report.diagnostics), "nothing could be measured"))
        result = report.results[0]
        if result.frame is None:
            raise UnreachablePoseError(f"`{result.title}` has no worst pose: {result.about or result.status}")
        return poses_from(self.rig, [result.frame.pose]), f"worst of {result.title}"

    def shapes_on(self, shape: Shape | None, sculpts: Sculpts) -> Collection[str]:
        """What is on while this shape is sculpted: a computed one itself, too; without one, everything."""
        if shape is None:
            return frozenset(one.name for one in self.rig.shapes)
        sculpt = sculpt_of(shape, self.strength)
        if sculpt is None and not is_drafted(shape, sculpts):
            return shapes_before(self.rig, shape)
        if sculpt is not None and not is_drafted(shape, sculpts):
            return frozenset(sculpt.after)
        sides = [one for one in self.rig.shapes if one.declared == shape.declared] if self.both_sides else [shape]
        return frozenset(name for one in sides for name in (one.name, *one.earlier))


def _only(words: str, titles: Sequence[str]) -> str:
    """The one title that is these words, or holds them. Raises UnknownNameError."""
    fitting = [title for title in titles if title == words] or [title for title in titles if words in title]
    if len(fitting) == 1:
        return fitting[0]
    what = "no expectation" if not fitting else f"{len(fitting)} expectations"
    raise UnknownNameError(f"{what} fit `{words}`; there are: {listed(fitting or titles)}")


def _words(items: Iterable[StrengthPose | JointPose]) -> str:
    """The pose in the words of the language, with output names."""
    return ", ".join(map(item_words, items)) or "rest"


def item_words(item: StrengthPose | JointPose, names: Mapping[str, str] = MappingProxyType({})) -> str:
    """A part of a pose in the words of the language; names: of strengths that are called otherwise."""
    if isinstance(item, StrengthPose):
        return f"{names.get(item.strength, item.strength)} {number(item.amount)}"
    axis = ", ".join(number(part, 6) for part in item.axis)
    return f"about ({axis}) of {item.joint} {number(float(np.degrees(item.angle)), 6)} deg"

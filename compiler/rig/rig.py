"""The Rig: a spec with both sides written out, as plain frozen data that can be written as JSON and read back.

Names are output names (`left_elbow`). Lengths are metres, angles radians, quaternions (x, y, z, w),
vectors in the frame that the field's description names. Everything is sorted, so that two specs that say the
same thing in another order give the same Rig.

These are named tuples and not pydantic models or dataclasses because `plica check` builds a Rig on every save, and
defining so many classes of those kinds takes longer than the check itself; `plica.rig.rig_json` gives pydantic
classes like them where text comes in or schemas go out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.named_tuples import NamedTuple
from plica.rig.offsets_table import OffsetsTable
from plica.rig.strengths import Control, Field, Strength
from plica.rig.surfaces import Detail, Fold, JointPose, Region, Shape, StrengthPose
from plica.skeleton.algebra import Vector
from plica.skeleton.planes import Plane
from plica.skeleton.skeleton import LocalTransform
from plica.values import NOTHING_SAID, About, Alias, Geometry, Side, SkinningMethod, Stance

if TYPE_CHECKING:
    ExpectationName = str
else:
    ExpectationName = Literal[tuple(EXPECTATION_KINDS)]  # so that what is read, and the schema, know the names

FORMAT = "plica-rig"
FORMAT_VERSION = 2
FORMAT_MINOR = 2


class RigJoint(NamedTuple):
    """A joint in its parent; `partner` is the joint on the other side.

    `neutral`: where it stands in the neutral stance, in which every reading is 0. `rest`: where the model's file has it
    before anything moves; the same where the character's stance is the file's rest.
    """

    name: str
    parent: str | None
    neutral: LocalTransform
    rest: LocalTransform
    side: Side
    partner: str | None
    skinned: bool


class Symmetry(NamedTuple):
    """The mirror plane: the points p with normal . p = offset (metres); `found` if it was not stated.

    `axis` is the axis that the unit vector `normal` is, None where it is none of the three.
    """

    axis: Literal["x", "y", "z"] | None
    normal: Vector
    offset: float
    found: bool

    @classmethod
    def of(cls, plane: Plane, found: bool) -> Symmetry:
        """The symmetry about a plane."""
        return cls(plane.axis, plane.normal, plane.offset, found)

    @property
    def plane(self) -> Plane:
        """The plane, to mirror with."""
        return Plane(self.normal, self.offset)


class Character(NamedTuple):
    """Whose rig it is.

    `tolerance` (metres) is how far two vertices may be from mirroring exactly; over `band` metres around the mirror
    plane the sides pass into each other, 0 for a clean cut with 0.5 on the seam. `skinning` is how the skin follows the
    joints; sculpts are taken off their poses by it. `stance`: which pose of the model
    is the neutral stance, the one in which its skin was bound or its file's rest; `rest` where both are the same.
    """

    name: str
    title: str
    geometry: Geometry | None
    tolerance: float
    about: About = NOTHING_SAID
    band: float = 0.0
    skinning: SkinningMethod = "linear"
    stance: Stance = "rest"


class Pose(NamedTuple):
    """A pose with a name, for expectations: what strengths have, and by how much joints are turned since the neutral
    stance."""

    name: str
    side: Side
    declared: str
    items: tuple[StrengthPose | JointPose, ...]
    about: About = NOTHING_SAID


class Expectation(NamedTuple):
    """Something that must hold over poses.

    `kind` names the measure, `of` what is measured, `against` the other region of a clearance, `limit` the bound in
    the measure's unit (share, radians, metres, a count or a strength), `over` the strengths or clips to sweep, `uv` the
    texture layout that a stretch, squeeze or shear is measured against (None: the surface at rest). `border`: the mean
    weight above which a triangle counts wholly (None: that of the kind). `share`: of the area, that has to keep to the
    limit (None: every triangle).
    """

    kind: ExpectationName
    side: Side
    of: tuple[str, ...] = ()
    against: str | None = None
    uv: str | None = None
    limit: float | None = None
    border: float | None = None
    share: float | None = None
    over: tuple[str, ...] = ()
    over_clips: tuple[str, ...] = ()
    over_poses: tuple[str, ...] = ()
    over_everything: bool = False
    about: About = NOTHING_SAID


class SourceFile(NamedTuple):
    """A file that outputs are computed from (relative to the spec's folder), and the SHA-256 of what it held."""

    file: str
    sha256: str


class MadeFrom(NamedTuple):
    """What the files of a build were made from.

    `plica`: the version of Plica. `spec_sha256`: of the canonical text of the rig as the spec says it, before anything
    was computed on a mesh, so comments and layout have no part in it. `sources`: the files that the spec names.
    """

    plica: str
    spec_sha256: str
    sources: tuple[SourceFile, ...]


class Rig(NamedTuple):
    """Everything, both sides written out. Strengths stand after those that they are made of.

    `offsets` is None until shapes are computed on a mesh, which happens when the rig is built; `build` is the id that
    all files of one build carry, None before there is one, and `made_from` what these are made from.
    """

    character: Character
    skeleton: tuple[RigJoint, ...]
    symmetry: Symmetry | None = None
    controls: tuple[Control, ...] = ()
    fields: tuple[Field, ...] = ()
    strengths: tuple[Strength, ...] = ()
    regions: tuple[Region, ...] = ()
    shapes: tuple[Shape, ...] = ()
    details: tuple[Detail, ...] = ()
    folds: tuple[Fold, ...] = ()
    poses: tuple[Pose, ...] = ()
    expectations: tuple[Expectation, ...] = ()
    aliases: tuple[Alias, ...] = ()
    offsets: OffsetsTable | None = None
    build: str | None = None
    format: Literal["plica-rig"] = "plica-rig"
    version: int = FORMAT_VERSION
    minor: int = FORMAT_MINOR
    made_from: MadeFrom | None = None


OF_THE_BUILD: Final = ("build", "made_from", "minor")
"""What a rig says of the build that wrote it; none of it says what the rig does."""


def unbuilt(rig: Rig) -> Rig:
    """The rig without what says which build it is of."""
    return rig._replace(build=None, made_from=None)

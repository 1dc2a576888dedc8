"""The Rig: a spec with both sides written out, as plain frozen data that can be written as JSON and read back.

Names are output names (`left_elbow`). Lengths are metres, angles radians, quaternions (x, y, z, w),
vectors in the frame that the field's description names. Everything is sorted, so that two specs that say the
same thing in another order give the same Rig.

These are named tuples and not pydantic models or dataclasses because `plica check` builds a Rig on every save, and
defining so many classes of those kinds takes longer than the check itself; `plica.rig.rig_json` gives pydantic
classes like them where text comes in or schemas go out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from plica.kinds.combinations import CombinationName
from plica.kinds.expectations import EXPECTATION_KINDS
from plica.kinds.kernels import KernelName
from plica.kinds.region_sets import RegionSetName
from plica.values import NOTHING_SAID, About, Alias, Curve, Geometry

if TYPE_CHECKING:
    ExpectationName = str
else:
    ExpectationName = Literal[tuple(EXPECTATION_KINDS)]  # so that what is read, and the schema, know the names

Side = Literal["left", "right", "none"]
Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]

FORMAT = "plica-rig"
FORMAT_VERSION = 1


class RigJoint(NamedTuple):
    """A joint at rest, in its parent; `partner` is the joint on the other side."""

    name: str
    parent: str | None
    translation: Vector
    rotation: Quaternion
    scale: Vector
    side: Side
    partner: str | None
    skinned: bool


class Symmetry(NamedTuple):
    """The mirror plane: the points whose coordinate `axis` equals `offset`; `found` if it was not stated."""

    axis: Literal["x", "y", "z"]
    offset: float
    found: bool


class Control(NamedTuple):
    """A number that the animator sets, in `range`; `rest` is its value in the rest pose."""

    name: str
    side: Side
    declared: str
    range: tuple[float, float]
    rest: float
    about: About = NOTHING_SAID


# ---- readings: numbers read off a pose, all 0 in the rest pose -------------------------------------


class Rotation(NamedTuple):
    """The signed angle about `axis` (a unit vector in the joint's rest frame) of the twist since rest."""

    joint: str
    axis: Vector
    kind: Literal["rotation"] = "rotation"


class Bend(NamedTuple):
    """The whole angle, 0 to pi, that the joint has turned since rest."""

    joint: str
    kind: Literal["bend"] = "bend"


class Swing(NamedTuple):
    """How far the axis `along` has swung toward `toward`: two unit vectors at right angles, in the rest frame."""

    joint: str
    along: Vector
    toward: Vector
    kind: Literal["swing"] = "swing"


class Euler(NamedTuple):
    """One Euler angle of the turn since rest, taken in the frame that `frame` turns the joint's rest frame into.

    `order` lists the axes in the order in which the turns are made about axes that stay put; `channel` is one of them.
    """

    joint: str
    order: str
    channel: Literal["x", "y", "z"]
    frame: Quaternion
    kind: Literal["euler"] = "euler"


class Offset(NamedTuple):
    """The joint's translation since rest (in its parent's frame) dotted with `weights`: metres of model space."""

    joint: str
    weights: Vector
    kind: Literal["offset"] = "offset"


class Gap(NamedTuple):
    """The distance between two joints' origins less their distance at rest, in metres."""

    joint: str
    other: str
    rest: float
    kind: Literal["gap"] = "gap"


class ControlValue(NamedTuple):
    """A control's value less its rest value."""

    control: str
    kind: Literal["control"] = "control"


Reading = Rotation | Bend | Swing | Euler | Offset | Gap | ControlValue


# ---- strengths --------------------------------------------------------------------------------------


class Driver(NamedTuple):
    """curve((reading - span[0]) / (span[1] - span[0])), the share and the result clamped to 0..1 if `clamped`."""

    name: str
    side: Side
    declared: str
    reading: Reading
    span: tuple[float, float]
    clamped: bool
    curve: Curve
    about: About = NOTHING_SAID
    kind: Literal["driver"] = "driver"


class StrengthOf(NamedTuple):
    """The strength of another entry, as part of a combination."""

    strength: str


class Combination(NamedTuple):
    """A strength made of others: their product, least, greatest, or sum (at most 1)."""

    how: CombinationName
    parts: tuple[Combination | StrengthOf, ...]


class Combine(NamedTuple):
    """A combination with a name."""

    name: str
    side: Side
    declared: str
    combination: Combination
    about: About = NOTHING_SAID
    kind: Literal["combine"] = "combine"


class Sample(NamedTuple):
    """The strength of one sample of a field."""

    name: str
    side: Side
    declared: str
    field: str
    sample: str
    about: About = NOTHING_SAID
    kind: Literal["sample"] = "sample"


Strength = Driver | Combine | Sample


class FieldSample(NamedTuple):
    """A sample pose: the turn since rest (a unit quaternion in the joint's rest frame)."""

    name: str
    rotation: Quaternion


class Field(NamedTuple):
    """Strengths of several sample poses of one joint, interpolated between them.

    With d_i the distance from the pose to sample i, the strength of sample k is
    constants[k] + sum over i of coefficients[i][k] * kernel(d_i), clamped to 0..1, and exactly 0 or 1 where it is
    within 1e-9 of that. The rest pose is sample 0 and has no strength of its own (no column).

    Distance, `metric` "rotation": 2 sin(a / 2), where a is the angle between the two rotations;
    "direction": the distance between the two directions into which `axis` (a unit vector) is turned.
    Kernel: "gaussian" exp(-(d / width)^2), "linear" d.
    """

    name: str
    side: Side
    declared: str
    joint: str
    metric: Literal["rotation", "direction"]
    axis: Vector | None
    kernel: KernelName
    width: float | None
    samples: tuple[FieldSample, ...]
    coefficients: tuple[tuple[float, ...], ...]
    constants: tuple[float, ...]
    about: About = NOTHING_SAID


# ---- regions, shapes, details, folds ------------------------------------------------------------------


class SkinOf(NamedTuple):
    """The sum of the skin weights of joints."""

    joints: tuple[str, ...]
    kind: Literal["skin"] = "skin"


class Painted(NamedTuple):
    """A greyscale image over a uv set (None: the mesh's first)."""

    file: str
    uv: str | None
    kind: Literal["painted"] = "painted"


class Stored(NamedTuple):
    """A file that lists vertices."""

    file: str
    kind: Literal["vertices"] = "vertices"


class RegionSet(NamedTuple):
    """Other regions, put together: greatest weight, least weight, or the first without the others."""

    how: RegionSetName
    regions: tuple[str, ...]
    kind: Literal["set"] = "set"


RegionSource = SkinOf | Painted | Stored | RegionSet


class Region(NamedTuple):
    """A weight from 0 to 1 for each vertex; `side` keeps that side's half, `feather` (metres) softens its edge."""

    name: str
    side: Side
    declared: str
    source: RegionSource
    feather: float
    about: About = NOTHING_SAID


class StrengthPose(NamedTuple):
    """A pose in which a strength has this amount."""

    strength: str
    amount: float


class JointPose(NamedTuple):
    """A pose in which a joint is turned by `angle` about `axis` of its rest frame."""

    joint: str
    axis: Vector
    angle: float


class Sculpt(NamedTuple):
    """A sculpted mesh or its offsets, made over the mesh in `pose` (empty: at rest).

    `after` are the shapes that were on, at their strengths in that pose, while it was sculpted.
    """

    file: str
    pose: tuple[StrengthPose | JointPose, ...] = ()
    after: tuple[str, ...] = ()
    kind: Literal["sculpt"] = "sculpt"


class Morph(NamedTuple):
    """A morph target that the geometry already holds."""

    name: str
    kind: Literal["morph"] = "morph"


class Inbetween(NamedTuple):
    """What the shape is at strength `at` (UsdSkel's rule for inbetweens)."""

    at: float
    sculpt: Sculpt


class Shape(NamedTuple):
    """Vertex offsets that the strength `follows` fades in, kept to the region `within`.

    `threshold` (metres): shorter offsets are dropped. `source` is None while nothing is sculpted yet. `mirrored`: what
    was sculpted was meant for the left side and is mirrored for this one (poses here are mirrored already).
    """

    name: str
    side: Side
    declared: str
    source: Sculpt | Morph | None
    within: str | None
    follows: str | None
    inbetweens: tuple[Inbetween, ...]
    threshold: float
    mirrored: bool = False
    about: About = NOTHING_SAID

    @property
    def sculpts(self) -> list[Sculpt]:
        """The sculpts of the shape itself and of its inbetweens."""
        sources = [self.source, *(item.sculpt for item in self.inbetweens)]
        return [source for source in sources if isinstance(source, Sculpt)]

    @property
    def earlier(self) -> list[str]:
        """The shapes that must be computed before this one: those that were on while it was sculpted."""
        return [name for sculpt in self.sculpts for name in sculpt.after]


class Detail(NamedTuple):
    """A pair of normal maps of the same skin; `budget` is bytes of texture memory for its folds' masks."""

    name: str
    relaxed: str
    contracted: str
    uv: str | None
    budget: float | None
    mixing: Literal["plain", "reoriented"]
    about: About = NOTHING_SAID


class MaskPlace(NamedTuple):
    """Where a fold's mask stands: a texture file in the output folder, the channel in it (a file of one channel has
    red), and the mesh's uv set that it is over.
    """

    file: str
    channel: Literal["red", "green", "blue", "alpha"]
    uv: str


class Fold(NamedTuple):
    """The region `area`, where the strength `follows` fades `detail` from relaxed to contracted.

    `mask`: where its mask was written; None where masks were not.
    """

    name: str
    side: Side
    declared: str
    detail: str
    area: str
    follows: str | None
    tolerance: float
    about: About = NOTHING_SAID
    mask: MaskPlace | None = None


class Pose(NamedTuple):
    """A pose with a name, for expectations: what strengths have, and by how much joints are turned since rest."""

    name: str
    side: Side
    declared: str
    items: tuple[StrengthPose | JointPose, ...]
    about: About = NOTHING_SAID


class Expectation(NamedTuple):
    """Something that must hold over poses.

    `kind` names the measure, `of` what is measured, `against` the other region of a clearance, `limit` the bound in
    the measure's unit (share, radians, metres, a count or a strength), `over` the strengths or clips to sweep, `uv` the
    texture layout that a stretch, squeeze or shear is measured against (None: the surface at rest).
    """

    kind: ExpectationName
    side: Side
    of: tuple[str, ...] = ()
    against: str | None = None
    uv: str | None = None
    limit: float | None = None
    over: tuple[str, ...] = ()
    over_clips: tuple[str, ...] = ()
    over_poses: tuple[str, ...] = ()
    over_everything: bool = False
    about: About = NOTHING_SAID


class ListedOffsets(NamedTuple):
    """A small shape's offsets as lists: the vertices that move, and by how much each (metres, neutral space)."""

    indices: tuple[int, ...]
    offsets: tuple[Vector, ...]
    normals: tuple[Vector, ...] | None = None


class ListedInbetween(NamedTuple):
    """The offsets of an inbetween at strength `at`."""

    at: float
    listed: ListedOffsets


class ShapeOffsets(NamedTuple):
    """What a shape weighs: the vertices that move, bytes, the largest move (metres) and the joint it is nearest to.

    `listed` and `inbetweens` hold the offsets themselves where the shape is small enough to stand in the text.
    """

    shape: str
    vertices: int
    bytes: int
    largest: float
    joint: str | None
    listed: ListedOffsets | None = None
    inbetweens: tuple[ListedInbetween, ...] = ()


class OffsetsTable(NamedTuple):
    """The computed offsets: the binary file beside the text, the mesh they are about, and what each shape weighs."""

    file: str
    vertex_count: int
    fingerprint: str
    shapes: tuple[ShapeOffsets, ...]


class Character(NamedTuple):
    """Whose rig it is.

    `tolerance` (metres) is how far two vertices may be from mirroring exactly; over `band` metres around the mirror
    plane the sides pass into each other, 0 for a clean cut with 0.5 on the seam.
    """

    name: str
    title: str
    geometry: Geometry | None
    tolerance: float
    about: About = NOTHING_SAID
    band: float = 0.0


class Rig(NamedTuple):
    """Everything, both sides written out. Strengths stand after those that they are made of.

    `offsets` is None until shapes are computed on a mesh, which happens when the rig is built; `build` is the id that
    all files of one build carry, None before there is one.
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

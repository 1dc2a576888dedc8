"""The Rig: a spec with both sides written out, as plain frozen data that can be written as JSON and read back.

Names are output names (`left_elbow`). Lengths are metres, angles radians, quaternions (x, y, z, w),
vectors in the frame that the field's description names. Everything is sorted, so that two specs that say the
same thing in another order give the same Rig.

These are standard dataclasses and not pydantic models because `plica check` builds a Rig on every save and pydantic
takes longer to import than the check takes; `plica.rig.json` gives them to pydantic where text comes in or
schemas go out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from plica.values import (
    NOTHING_SAID,
    About,
    Alias,
    Curve,
    Geometry,
)

Side = Literal["left", "right", "none"]
Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]

FORMAT = "plica-rig"
FORMAT_VERSION = 1


@dataclass(frozen=True)
class RigJoint:
    """A joint at rest, in its parent; `partner` is the joint on the other side."""

    name: str
    parent: str | None
    translation: Vector
    rotation: Quaternion
    scale: Vector
    side: Side
    partner: str | None
    skinned: bool


@dataclass(frozen=True)
class Symmetry:
    """The mirror plane: the points whose coordinate `axis` equals `offset`; `found` if it was not stated."""

    axis: Literal["x", "y", "z"]
    offset: float
    found: bool


@dataclass(frozen=True)
class Control:
    """A number that the animator sets, in `range`; `rest` is its value in the rest pose."""

    name: str
    side: Side
    declared: str
    range: tuple[float, float]
    rest: float
    about: About = NOTHING_SAID


# ---- readings: numbers read off a pose, all 0 in the rest pose -------------------------------------


@dataclass(frozen=True)
class Rotation:
    """The signed angle about `axis` (a unit vector in the joint's rest frame) of the twist since rest."""

    joint: str
    axis: Vector
    kind: Literal["rotation"] = "rotation"


@dataclass(frozen=True)
class Bend:
    """The whole angle, 0 to pi, that the joint has turned since rest."""

    joint: str
    kind: Literal["bend"] = "bend"


@dataclass(frozen=True)
class Swing:
    """How far the axis `along` has swung toward `toward`: two unit vectors at right angles, in the rest frame."""

    joint: str
    along: Vector
    toward: Vector
    kind: Literal["swing"] = "swing"


@dataclass(frozen=True)
class Euler:
    """One Euler angle of the turn since rest, taken in the frame that `frame` turns the joint's rest frame into.

    `order` lists the axes in the order in which the turns are made about axes that stay put; `channel` is one of them.
    """

    joint: str
    order: str
    channel: Literal["x", "y", "z"]
    frame: Quaternion
    kind: Literal["euler"] = "euler"


@dataclass(frozen=True)
class Offset:
    """The joint's translation since rest (in its parent's frame) dotted with `weights`: metres of model space."""

    joint: str
    weights: Vector
    kind: Literal["offset"] = "offset"


@dataclass(frozen=True)
class Gap:
    """The distance between two joints' origins less their distance at rest, in metres."""

    joint: str
    other: str
    rest: float
    kind: Literal["gap"] = "gap"


@dataclass(frozen=True)
class ControlValue:
    """A control's value less its rest value."""

    control: str
    kind: Literal["control"] = "control"


Reading = Rotation | Bend | Swing | Euler | Offset | Gap | ControlValue


# ---- strengths --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Driver:
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


@dataclass(frozen=True)
class StrengthOf:
    """The strength of another entry, as part of a combination."""

    strength: str


@dataclass(frozen=True)
class Combination:
    """A strength made of others: their product, least, greatest, or sum (at most 1)."""

    how: Literal["product", "least", "greatest", "sum"]
    parts: tuple[Combination | StrengthOf, ...]


@dataclass(frozen=True)
class Combine:
    """A combination with a name."""

    name: str
    side: Side
    declared: str
    combination: Combination
    about: About = NOTHING_SAID
    kind: Literal["combine"] = "combine"


@dataclass(frozen=True)
class Sample:
    """The strength of one sample of a field."""

    name: str
    side: Side
    declared: str
    field: str
    sample: str
    about: About = NOTHING_SAID
    kind: Literal["sample"] = "sample"


Strength = Driver | Combine | Sample


@dataclass(frozen=True)
class FieldSample:
    """A sample pose: the turn since rest (a unit quaternion in the joint's rest frame)."""

    name: str
    rotation: Quaternion


@dataclass(frozen=True)
class Field:
    """Strengths of several sample poses of one joint, interpolated between them.

    With d_i the distance from the pose to sample i, the strength of sample k is
    constants[k] + sum over i of coefficients[i][k] * kernel(d_i), clamped to 0..1, and exactly 0 or 1 where it is
    within 1e-12 of that. The rest pose is sample 0 and has no strength of its own (no column).

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
    kernel: Literal["gaussian", "linear"]
    width: float | None
    samples: tuple[FieldSample, ...]
    coefficients: tuple[tuple[float, ...], ...]
    constants: tuple[float, ...]
    about: About = NOTHING_SAID


# ---- regions, shapes, details, folds ------------------------------------------------------------------


@dataclass(frozen=True)
class SkinOf:
    """The sum of the skin weights of joints."""

    joints: tuple[str, ...]
    kind: Literal["skin"] = "skin"


@dataclass(frozen=True)
class Painted:
    """A greyscale image over a uv set (None: the mesh's first)."""

    file: str
    uv: str | None
    kind: Literal["painted"] = "painted"


@dataclass(frozen=True)
class Stored:
    """A file that lists vertices."""

    file: str
    kind: Literal["vertices"] = "vertices"


@dataclass(frozen=True)
class RegionSet:
    """Other regions, put together: greatest weight, least weight, or the first without the others."""

    how: Literal["union", "intersection", "difference"]
    regions: tuple[str, ...]
    kind: Literal["set"] = "set"


RegionSource = SkinOf | Painted | Stored | RegionSet


@dataclass(frozen=True)
class Region:
    """A weight from 0 to 1 for each vertex; `side` keeps that side's half, `feather` (metres) softens its edge."""

    name: str
    side: Side
    declared: str
    source: RegionSource
    feather: float
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class StrengthPose:
    """A pose in which a strength has this amount."""

    strength: str
    amount: float


@dataclass(frozen=True)
class JointPose:
    """A pose in which a joint is turned by `angle` about `axis` of its rest frame."""

    joint: str
    axis: Vector
    angle: float


@dataclass(frozen=True)
class Sculpt:
    """A sculpted mesh or its offsets, made over the mesh in `pose` (empty: at rest)."""

    file: str
    pose: tuple[StrengthPose | JointPose, ...] = ()
    kind: Literal["sculpt"] = "sculpt"


@dataclass(frozen=True)
class Morph:
    """A morph target that the geometry already holds."""

    name: str
    kind: Literal["morph"] = "morph"


@dataclass(frozen=True)
class Inbetween:
    """What the shape is at strength `at` (UsdSkel's rule for inbetweens)."""

    at: float
    sculpt: Sculpt


@dataclass(frozen=True)
class Shape:
    """Vertex offsets that the strength `follows` fades in, kept to the region `within`.

    `threshold` (metres): shorter offsets are dropped. `source` is None while nothing is sculpted yet.
    """

    name: str
    side: Side
    declared: str
    source: Sculpt | Morph | None
    within: str | None
    follows: str | None
    inbetweens: tuple[Inbetween, ...]
    threshold: float
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class Detail:
    """A pair of normal maps of the same skin; `budget` is bytes of texture memory for its folds' masks."""

    name: str
    relaxed: str
    contracted: str
    uv: str | None
    budget: float | None
    mixing: Literal["plain", "reoriented"]
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class Fold:
    """The region `area`, where the strength `follows` fades `detail` from relaxed to contracted."""

    name: str
    side: Side
    declared: str
    detail: str
    area: str
    follows: str | None
    tolerance: float
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class Expectation:
    """Something that must hold over poses.

    `kind` names the measure, `of` what is measured, `against` the other region of a clearance, `limit` the bound in
    the measure's unit (share, radians, metres, a count or a strength), `over` the strengths or clips to sweep.
    """

    kind: Literal[
        "volume",
        "girth",
        "stretch",
        "shear",
        "clearance",
        "crossing",
        "smooth",
        "reach",
        "overlap",
        "moved",
        "even",
        "rest",
        "partition",
        "budget",
    ]
    side: Side
    of: tuple[str, ...] = ()
    against: str | None = None
    limit: float | None = None
    over: tuple[str, ...] = ()
    over_clips: tuple[str, ...] = ()
    over_everything: bool = False
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class Character:
    """Whose rig it is. `tolerance` (metres) is how far two vertices may be from mirroring exactly."""

    name: str
    title: str
    geometry: Geometry | None
    tolerance: float
    about: About = NOTHING_SAID


@dataclass(frozen=True)
class Rig:
    """Everything, both sides written out. Strengths stand after those that they are made of."""

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
    expectations: tuple[Expectation, ...] = ()
    aliases: tuple[Alias, ...] = ()
    format: Literal["plica-rig"] = field(default="plica-rig")
    version: int = FORMAT_VERSION

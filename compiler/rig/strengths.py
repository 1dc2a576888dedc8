"""What a Rig computes from a pose: controls, drivers, fields and combinations, and how they are named."""

from __future__ import annotations

from typing import Literal, get_args

from plica.distinct import distinct
from plica.kinds.combinations import CombinationName
from plica.kinds.kernels import KernelName
from plica.kinds.readings import Reading
from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Quaternion, Vector
from plica.values import NOTHING_SAID, About, Curve, Side


class Control(NamedTuple):
    """A number that the animator sets, in `range`; `rest` is its value in the rest pose.

    Where there is a `morph`, the number is the weight of that morph target of the model: its animation sets it, and
    nobody declared it.
    """

    name: str
    side: Side
    declared: str
    range: tuple[float, float]
    rest: float
    morph: str | None = None
    about: About = NOTHING_SAID


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
    """A sample pose: the turn since rest (a unit quaternion in the joint's rest frame), and the width of its kernel.

    `width`: in radians for "ramp", of all samples but rest; else a distance, null where the field's is meant.
    """

    name: str
    rotation: Quaternion
    width: float | None = None


class Field(NamedTuple):
    """Strengths of several sample poses of one joint, in its parent or as `relative_to` sees it, interpolated.

    The rest pose is sample 0 and has no strength of its own. All strengths are clamped to 0..1, and exactly 0 or 1
    where they are within 1e-9 of that.

    Kernel "ramp", with a_i the angle from the pose to sample i (of the turn between them, or between the directions
    into which `axis` is turned) and A_jk that between two samples: the strength of sample k is the least of
    (1 + (a_j^2 - a_k^2) / A_jk^2) / 2 over all other j and of (width_k - a_k) / (0.75 width_k). Where the strengths
    then add up to more than 1, what each lacks of 1 is multiplied by one factor, and what is below 0 then is 0, so that
    they add up to 1.

    Kernels "gaussian" exp(-(d / width)^2) and "linear" d: with d_i the distance from the pose to sample i, the strength
    of sample k is constants[k] + sum over i of coefficients[i][k] * kernel(d_i); rest has no column. Distance, `metric`
    "rotation": 2 sin(a / 2), where a is the angle between the two rotations; "direction": the distance between the two
    directions into which `axis` (a unit vector) is turned. "ramp" has neither coefficients nor constants.
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
    relative_to: str | None = None
    about: About = NOTHING_SAID


distinct(*get_args(Strength), Combination, StrengthOf)

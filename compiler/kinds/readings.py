"""The kinds of readings: numbers read off a pose, all 0 in the rest pose.

A reading of one joint is that of the joint in its parent, or, with `relative_to`, as seen from any other joint.

Of each kind, this module holds the record that stands in a Rig, and a `ReadingKind` with what is known of the kind.
What cannot be said in such a record is registered where it is done, and each of these registers is refused at loading
where a kind is missing (`complete`): `plica.rig.expand_readings` (what mirroring cannot derive),
`plica.evaluate.readings` (many frames at a time), `plica.evaluate.inverse_readings` (a pose with a given value),
`plica.targets.python.readings`, `plica.targets.gltf.live.readings`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import pi
from typing import Any, Final, Literal, TypeVar, get_args

from plica.distinct import distinct
from plica.kinds.reading_kind import AxisShown, Needs, Part, Reach, ReadingKind, checked, of_all
from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Quaternion, Vector, matrix_of, times
from plica.units import Dimension

Row = TypeVar("Row")

AXES: Final[Mapping[str, Vector]] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


class Rotation(NamedTuple):
    """The signed angle about `axis` (a unit vector in the joint's rest frame) of the twist since rest."""

    joint: str
    axis: Vector
    relative_to: str | None = None
    kind: Literal["rotation"] = "rotation"


class Bend(NamedTuple):
    """The whole angle, 0 to pi, that the joint has turned since rest."""

    joint: str
    relative_to: str | None = None
    kind: Literal["bend"] = "bend"


class Swing(NamedTuple):
    """How far the axis `along` has swung toward `toward`: two unit vectors at right angles, in the rest frame."""

    joint: str
    along: Vector
    toward: Vector
    relative_to: str | None = None
    kind: Literal["swing"] = "swing"


class Euler(NamedTuple):
    """One Euler angle of the turn since rest, taken in the frame that `frame` turns the joint's rest frame into.

    `order` lists the axes in the order in which the turns are made about axes that stay put; `channel` is one of them.
    """

    joint: str
    order: str
    channel: Literal["x", "y", "z"]
    frame: Quaternion
    relative_to: str | None = None
    kind: Literal["euler"] = "euler"


class Offset(NamedTuple):
    """The joint's translation since rest dotted with `weights`: metres of model space.

    The translation is that in the frame of the joint's parent; where there is another joint that it is seen from, the
    way from that one's origin, in metres and in its frame (`plica.skeleton.chains`).
    """

    joint: str
    weights: Vector
    relative_to: str | None = None
    kind: Literal["offset"] = "offset"

    @property
    def carrier(self) -> str:
        """Whose axes the weights are given in."""
        return self.relative_to or "parent"


class Scale(NamedTuple):
    """How much longer the joint's scale has made things along `axis` (a unit vector in the joint's rest frame), as a
    share of their length at rest: 0.3 where they are 1.3 times as long.

    With s the joint's scale and r its scale at rest, along its own axes: the sum of axis_i^2 (s_i / r_i - 1). It is the
    normal component along the axis of the Biot strain (from memory), as the stretch is diagonal in the joint's axes.
    """

    joint: str
    axis: Vector
    kind: Literal["scale"] = "scale"


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


class MorphWeight(NamedTuple):
    """The weight of one of the model's own morph targets less its rest value: that of the control whose `morph` it is.

    Faces that were captured or made from speech move such weights.
    """

    morph: str
    kind: Literal["weight"] = "weight"


Reading = Rotation | Bend | Swing | Euler | Offset | Scale | Gap | ControlValue | MorphWeight

distinct(*get_args(Reading))


# ---- the kinds

_ANGLE: Final = Reach(-pi, pi, "an angle", "-180 deg", "180 deg")

_KINDS: Final[tuple[ReadingKind[Any], ...]] = (
    ReadingKind(
        name="rotation",
        record=Rotation,
        phrase="rotation about {axis} of {joint} [from {relative_to}]",
        parts={"axis": Part.ROTATION_AXIS, "joint": Part.JOINT, "relative_to": Part.JOINT},
        dimension=Dimension.ANGLE,
        unit="deg",
        needs=Needs.TURN,
        reach=_ANGLE,
        axis=AxisShown(lambda reading: reading.axis, "axis", "axis", "rotation about", "{axis}"),
        text="rotation about {axis} of {joint}[ from {relative_to}]",
        short="rotation of {joint}[ from {relative_to}]",
    ),
    ReadingKind(
        name="bend",
        record=Bend,
        phrase="bend of {joint} [from {relative_to}]",
        parts={"joint": Part.JOINT, "relative_to": Part.JOINT},
        dimension=Dimension.ANGLE,
        unit="deg",
        needs=Needs.TURN,
        reach=Reach(0.0, pi, "bend", "0", "180 deg"),
        axis=None,
        text="bend of {joint}[ from {relative_to}]",
        short="bend of {joint}[ from {relative_to}]",
    ),
    ReadingKind(
        name="swing",
        record=Swing,
        phrase="swing toward {toward} of {joint} [from {relative_to}] [along {along}]",
        parts={"toward": Part.DIRECTION, "joint": Part.JOINT, "relative_to": Part.JOINT, "along": Part.DIRECTION},
        dimension=Dimension.ANGLE,
        unit="deg",
        needs=Needs.TURN,
        reach=_ANGLE,
        axis=AxisShown(lambda reading: reading.toward, "toward", "toward", "swing toward", "{toward} along {along}"),
        text="swing toward {toward} of {joint}[ from {relative_to}] along {along}",
        short="swing of {joint}[ from {relative_to}]",
    ),
    ReadingKind(
        name="euler",
        record=Euler,
        phrase="euler {channel} order {order} of {joint} [from {relative_to}]",
        parts={"channel": Part.CHANNEL, "order": Part.ORDER, "joint": Part.JOINT, "relative_to": Part.JOINT},
        dimension=Dimension.ANGLE,
        unit="deg",
        needs=Needs.TURN,
        reach=_ANGLE,
        axis=AxisShown(
            lambda reading: times(matrix_of(reading.frame), AXES[reading.channel]),
            "",
            "",
            "euler {channel} of {order}",
            "{axis}",
        ),
        text="euler {axis} order {order} of {joint}[ from {relative_to}]",
        short="euler {channel} in order {order} of {joint}[ from {relative_to}]",
    ),
    ReadingKind(
        name="offset",
        record=Offset,
        phrase="offset {axis} of {joint} [from {relative_to}]",
        parts={"axis": Part.DIRECTION, "joint": Part.JOINT, "relative_to": Part.JOINT},
        dimension=Dimension.LENGTH,
        unit="mm",
        needs=Needs.TRANSLATION,
        reach=None,
        axis=AxisShown(lambda reading: reading.weights, "weights", "axis", "offset", "{weights} of {carrier}"),
        text="offset {weights} in {carrier} of {joint}[ from {relative_to}]",
        short="offset of {joint}[ from {relative_to}]",
    ),
    ReadingKind(
        name="scale",
        record=Scale,
        phrase="scale along {axis} of {joint}",
        parts={"axis": Part.DIRECTION, "joint": Part.JOINT},
        dimension=Dimension.SHARE,
        unit="%",
        needs=Needs.SCALE,
        reach=None,
        axis=AxisShown(lambda reading: reading.axis, "", "axis", "scale along", "{axis}"),
        text="scale along {axis} of {joint}",
        short="scale of {joint}",
    ),
    ReadingKind(
        name="gap",
        record=Gap,
        phrase="gap of {joint} from {other}",
        parts={"joint": Part.JOINT, "other": Part.JOINT},
        dimension=Dimension.LENGTH,
        unit="mm",
        needs=Needs.CHAIN,
        reach=None,
        axis=None,
        text="gap of {joint} from {other}",
        short="gap of {joint} from {other}",
    ),
    ReadingKind(
        name="control",
        record=ControlValue,
        phrase="control {control}",
        parts={"control": Part.CONTROL},
        dimension=Dimension.NUMBER,
        unit="",
        needs=Needs.CONTROL,
        reach=None,
        axis=None,
        text="control {control}",
        short="control {control}",
    ),
    ReadingKind(
        name="weight",
        record=MorphWeight,
        phrase="weight of {morph}",
        parts={"morph": Part.MORPH},
        dimension=Dimension.NUMBER,
        unit="",
        needs=Needs.CONTROL,
        reach=None,
        axis=None,
        text="weight of {morph}",
        short="weight of {morph}",
    ),
)


READING_KINDS: Final = checked(_KINDS, get_args(Reading))
_BY_RECORD: Final = {kind.record: kind for kind in _KINDS}


def kind_of(reading: Reading) -> ReadingKind[Any]:
    """The kind of a reading."""
    return _BY_RECORD[type(reading)]


def joints_of(reading: Reading) -> tuple[str, ...]:
    """The joints that a reading names."""
    named = (getattr(reading, name) for name in _named(kind_of(reading).name, Part.JOINT))
    return tuple(name for name in named if name is not None)


class SeenFrom(NamedTuple):
    """A joint as another one sees it: whose motion since rest is read, and from where (None: from its parent)."""

    joint: str
    relative_to: str | None = None


def seen(reading: Any) -> SeenFrom:
    """What a field, or a reading of joints, looks at; the gap between two joints is seen from neither."""
    return SeenFrom(reading.joint, getattr(reading, "relative_to", None))


def chain_ends(reading: Reading) -> tuple[str, str] | None:
    """The two joints between which every joint decides what a reading is; None for readings of one joint or control."""
    joints = joints_of(reading)
    return (joints[0], joints[1]) if len(joints) == 2 else None


def controls_of(reading: Reading) -> tuple[str, ...]:
    """The controls whose values a reading is made of, those that hold the weights of morph targets included."""
    kind = kind_of(reading).name
    named = (getattr(reading, name) for name in _named(kind, Part.CONTROL))
    return (*named, *(weight_control(morph) for morph in morphs_of(reading)))


def morphs_of(reading: Reading) -> tuple[str, ...]:
    """The morph targets whose weights a reading is made of."""
    return tuple(getattr(reading, name) for name in _named(kind_of(reading).name, Part.MORPH))


def weight_control(morph: str) -> str:
    """The name of the control that holds the weight of a morph target; no declared control has a blank in its name."""
    return f"weight of {morph}"


def complete(what: str, register: Mapping[str, Row]) -> Mapping[str, Row]:
    """A register that has an entry for each kind of reading and no others. Raises IncompleteKindError."""
    return of_all(what, register, READING_KINDS)


@cache
def _named(kind: str, part: Part) -> tuple[str, ...]:
    return READING_KINDS[kind].named(part)

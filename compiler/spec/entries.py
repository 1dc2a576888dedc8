"""The Spec: typed, in metres and radians, every name bound; still one entry for what both sides share.

Joints are indexes into the skeleton. References to other declarations keep the declared name and the rule that
says which side they mean; output names come with expansion.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Generic, Literal, TypeVar, get_args

from plica.distinct import distinct
from plica.kinds.combinations import CombinationName
from plica.kinds.deformations import DeformationName, DirectionName, MeasureName
from plica.kinds.kernels import KernelName
from plica.kinds.readings import READING_KINDS
from plica.kinds.region_sets import RegionSetName
from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector
from plica.skeleton.evenness import Evenness
from plica.skeleton.frames import body_size, local_of, same_frame
from plica.skeleton.planes import Plane
from plica.skeleton.sides import Sides
from plica.skeleton.skeleton import Skeleton
from plica.source import Span
from plica.values import About, Alias, Curve, DraftFacts, Geometry, Sided, SkinningMethod, Stance

ScopeSide = Literal["both", "left", "right", "none"]
OneSide = Literal["left", "right", "none"]
ReferenceSide = Literal["same", "left", "right", "none"]
Space = Literal["joint", "parent", "model"]

Facts = TypeVar("Facts")


class JointRef(NamedTuple):
    """The joint to read on the left (or for no side), and the one on the right.

    `literal`: the side was written, so both sides read that very joint and nothing is mirrored.
    """

    left: int
    right: int
    literal: bool


class AxisValue(NamedTuple):
    """A unit vector and the rest frame that it is given in."""

    vector: Vector
    space: Space


class EntryReference(NamedTuple):
    """Another declaration: its name and which of its sides is meant; `member` is a field's sample."""

    name: str
    side: ReferenceSide
    member: str | None = None


class MorphTarget(NamedTuple):
    """A morph target of the model: of which side its name is, the name of the pair's left one (else its own), and its
    weight at rest."""

    name: str
    side: OneSide
    left: str
    rest: float


class MorphRef(NamedTuple):
    """The morph target to read on the left (or for no side), and the one on the right."""

    left: MorphTarget
    right: MorphTarget


class ReadingOf(NamedTuple):
    """A reading with its names bound: the name of its kind, and the parts of its phrase in order.

    An optional part that is not there is None; channels and orders are texts.
    """

    kind: str
    values: tuple[JointRef | AxisValue | EntryReference | MorphRef | str | None, ...]

    @property
    def parts(self) -> dict[str, JointRef | AxisValue | EntryReference | MorphRef | str | None]:
        """The parts by name."""
        return dict(zip(READING_KINDS[self.kind].part_names, self.values, strict=True))


class Declared(NamedTuple):
    """What every declaration has."""

    name: str
    side: ScopeSide
    span: Span


class Entry(NamedTuple, Generic[Facts]):
    """A declaration for one side, for both, or for none.

    `left` holds the facts of the left side and of one-sided and sideless declarations, `right` those of the right
    side of a `both`; `abouts` likewise what is said about each. `overridden` lists the fact keys of `right` that were
    written for the right, and so are not mirrored.
    """

    declared: Declared
    left: Facts
    right: Facts
    overridden: frozenset[str]
    abouts: tuple[About, About]

    def about(self, side: OneSide) -> About:
        """What is said about the declaration, with what overrides add for this side."""
        return self.abouts[side == "right"]

    def facts(self, side: OneSide) -> Facts:
        """The facts of a side."""
        return self.right if side == "right" else self.left

    def mirrored(self, side: OneSide, key: str) -> bool:
        """Whether this side's fact was written for the left side and has to be mirrored."""
        return side == "right" and self.declared.side == "both" and key not in self.overridden


class ControlFacts(NamedTuple):
    range: tuple[float, float]
    rest: float


class DriverFacts(NamedTuple):
    reading: ReadingOf
    span: tuple[float, float]
    clamped: bool
    curve: Curve


class CombinationOf(NamedTuple):
    how: CombinationName
    parts: tuple[CombinationOf | EntryReference, ...]


class CombineFacts(NamedTuple):
    combination: CombinationOf


class TurnValue(NamedTuple):
    axis: AxisValue
    angle: float


class SampleValue(NamedTuple):
    name: str
    turns: tuple[TurnValue, ...]
    width: float | None


class FieldFacts(NamedTuple):
    joint: JointRef
    relative_to: JointRef | None
    direction: AxisValue | None
    kernel: KernelName
    width: float | None
    samples: tuple[SampleValue, ...]


class SkinOfJoints(NamedTuple):
    joints: tuple[JointRef, ...]
    below: bool


class PaintedImage(NamedTuple):
    file: str
    uv: str | None


class StoredVertices(NamedTuple):
    file: str


class SetOfRegions(NamedTuple):
    how: RegionSetName
    regions: tuple[EntryReference, ...]


class StrengthPoseOf(NamedTuple):
    strength: EntryReference
    amount: float


class JointPoseOf(NamedTuple):
    joint: JointRef
    axis: AxisValue
    angle: float


class NamedPoseOf(NamedTuple):
    pose: EntryReference


class DirectionOf(NamedTuple):
    """`axis` is None for the joint's bone."""

    way: DirectionName
    joint: JointRef
    axis: AxisValue | None


class SkinDeformedBy(NamedTuple):
    """By shapes, or in a pose (`by` is empty); `after`: the shapes that are on there, None for all that follow it."""

    how: DeformationName
    by: tuple[EntryReference, ...]
    pose: tuple[StrengthPoseOf | JointPoseOf | NamedPoseOf, ...]
    after: tuple[EntryReference, ...] | None
    span: tuple[float, float]
    measure: MeasureName
    peak: float
    smoothing: float
    island: float
    direction: DirectionOf | None


RegionSourceOf = SkinOfJoints | PaintedImage | StoredVertices | SetOfRegions | SkinDeformedBy


class RegionFacts(NamedTuple):
    source: RegionSourceOf
    feather: float


class SculptOf(NamedTuple):
    file: str
    pose: tuple[StrengthPoseOf | JointPoseOf | NamedPoseOf, ...]
    after: tuple[EntryReference, ...]


class MorphOf(NamedTuple):
    name: str


class InbetweenOf(NamedTuple):
    at: float
    sculpt: SculptOf


class ShapeFacts(NamedTuple):
    source: SculptOf | MorphOf | None
    within: EntryReference | None
    follows: EntryReference | None
    inbetweens: tuple[InbetweenOf, ...]
    threshold: float
    sided: Sided | None
    draft: DraftFacts | None


class DetailFacts(NamedTuple):
    relaxed: str
    contracted: str
    uv: str | None
    budget: float | None
    mixing: Literal["plain", "reoriented"]


class FoldFacts(NamedTuple):
    detail: EntryReference
    area: EntryReference
    follows: EntryReference | None
    tolerance: float


class PoseFacts(NamedTuple):
    items: tuple[StrengthPoseOf | JointPoseOf, ...]


class ExpectationOf(NamedTuple):
    kind: str
    of: tuple[EntryReference, ...]
    of_namespace: str
    against: EntryReference | None
    uv: str | None
    limit: float | None
    border: float | None
    share: float | None
    over: tuple[EntryReference, ...]
    over_clips: tuple[str, ...]
    over_poses: tuple[EntryReference, ...]
    over_everything: bool
    about: About
    span: Span
    side: ScopeSide


class CharacterFacts(NamedTuple):
    name: str
    title: str
    geometry: Geometry | None
    tolerance: float
    band: float
    skinning: SkinningMethod
    about: About
    names_pattern: str
    side_texts: tuple[str, str]
    aliases: tuple[Alias, ...]
    span: Span
    accepted: Mapping[str, Span]


class ChosenStance(NamedTuple):
    """Which pose of the model is the neutral stance.

    `rest`: the skeleton as the file has it before anything moves; `bind`: as it was when the skin was bound, None where
    that is the same pose or unknown. `assumed`: joints whose frames in the bind pose nothing states, and that carry
    joints which have one. `bind_even`, `rest_even`: how nearly left mirrors right, None where no pairs tell.
    """

    taken: Stance
    stated: bool
    rest: Skeleton
    bind: Skeleton | None
    assumed: frozenset[int] = frozenset()
    bind_even: Evenness | None = None
    rest_even: Evenness | None = None

    @property
    def skeleton(self) -> Skeleton:
        """The skeleton in the neutral stance."""
        return self.bind if self.taken == "bind" and self.bind is not None else self.rest

    def unbound(self, joint: int) -> int | None:
        """The joint whose frame in the neutral stance nothing states and through which this one is read, if any.

        It is the joint itself, or its parent where the joint does not stand in it as it does at rest.
        """
        if self.taken != "bind" or self.bind is None or not self.assumed:
            return None
        if joint in self.assumed:
            return joint
        parent = self.rest.joints[joint].parent
        if parent not in self.assumed:
            return None
        own, other = (local_of(skeleton.joints[joint]) for skeleton in (self.bind, self.rest))
        return None if same_frame(own, other, body_size(self.rest)) else parent


class BoundSkeleton(NamedTuple):
    """The skeleton in its neutral stance, its pairs, and the mirror plane (None where nothing tells it).

    `plane_found` if the plane is not stated. `unknown`: the model that would tell of joints cannot be read. That is
    said once; nothing is said of joints then.
    """

    skeleton: Skeleton
    sides: Sides
    plane: Plane | None
    plane_found: bool
    stance: ChosenStance
    unknown: bool = False


class Spec(NamedTuple):
    """A whole character, bound. `morphs`: the morph targets of its skin, read or not."""

    character: CharacterFacts
    bound: BoundSkeleton
    controls: tuple[Entry[ControlFacts], ...]
    drivers: tuple[Entry[DriverFacts], ...]
    combines: tuple[Entry[CombineFacts], ...]
    fields: tuple[Entry[FieldFacts], ...]
    regions: tuple[Entry[RegionFacts], ...]
    shapes: tuple[Entry[ShapeFacts], ...]
    details: tuple[Entry[DetailFacts], ...]
    folds: tuple[Entry[FoldFacts], ...]
    poses: tuple[Entry[PoseFacts], ...]
    expectations: tuple[ExpectationOf, ...]
    morphs: tuple[MorphTarget, ...] = ()


distinct(JointRef, AxisValue, EntryReference, MorphRef, CombinationOf, StrengthPoseOf, JointPoseOf, SculptOf, MorphOf)
distinct(*get_args(RegionSourceOf))

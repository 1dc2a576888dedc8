"""The syntax tree: what was written, with the offsets where it stands.

Every node ends with `start` and `end`, offsets in code points into the file's text; the Document knows the file.
Names and texts may hold placeholders, `{finger}`, which binding fills.
"""

from __future__ import annotations

from typing import Any, get_args

from plica.distinct import distinct
from plica.kinds.readings import READING_KINDS
from plica.named_tuples import NamedTuple
from plica.source import Source, Span
from plica.syntax.fact_kinds import PART_INDEXES


class Name(NamedTuple):
    """A bare name."""

    text: str
    start: int
    end: int


class Text(NamedTuple):
    """A quoted text, decoded."""

    text: str
    start: int
    end: int


class Quantity(NamedTuple):
    """A number and its unit as written (an empty unit for a plain number)."""

    number: float
    unit: str
    start: int
    end: int


# A quantity may be handed in by a library's parameter: `{curl}`.
Amount = Quantity | Name


class ValueRange(NamedTuple):
    """`1 .. 4` in a list of values."""

    first: Amount
    last: Amount
    start: int
    end: int


Value = Name | Text | Amount | ValueRange


class Reference(NamedTuple):
    """The name of another declaration: `elbow`, `left elbow`, `shoulder.raised`."""

    side: str | None
    name: Name
    member: Name | None
    start: int
    end: int


class JointName(NamedTuple):
    """The name of a joint, or of a pair of joints without its side."""

    side: str | None
    text: str
    quoted: bool
    start: int
    end: int


class NamedAxis(NamedTuple):
    """`x`, `-z`, `y in model`, or a placeholder."""

    text: str
    space: str | None
    start: int
    end: int


class VectorAxis(NamedTuple):
    """`(0.2, 1, 0) in parent`."""

    components: tuple[Amount, Amount, Amount]
    space: str | None
    start: int
    end: int


Axis = NamedAxis | VectorAxis


class WrittenTurn(NamedTuple):
    """`about x 40 deg`; a list of turns is carried out in the order written, about axes that stay put."""

    axis: Axis
    angle: Amount
    start: int
    end: int


# ---- readings and curves ------------------------------------------------------------------------


class Reading(NamedTuple):
    """What a driver reads: the name of its kind, and the parts of its phrase in order (`READING_KINDS[kind]`).

    A channel is a text; an optional part that is not there is None.
    """

    kind: str
    values: tuple[Axis | JointName | Reference | Name | Text | str | None, ...]
    start: int
    end: int

    @property
    def parts(self) -> dict[str, Axis | JointName | Reference | Name | Text | str | None]:
        """The parts by name."""
        return dict(zip(READING_KINDS[self.kind].part_names, self.values, strict=True))


class PointCurve(NamedTuple):
    """Points and how they are joined: `monotone` (not written), `harmonic`, `linear`."""

    kind: str
    points: tuple[tuple[Amount, Amount], ...]
    start: int
    end: int


class BezierCurve(NamedTuple):
    controls: tuple[Amount, Amount, Amount, Amount]
    start: int
    end: int


class NamedCurve(NamedTuple):
    """A ready curve (`smooth`, `ease-in`, ...) or one declared with `curve NAME = ...`."""

    name: Name
    ready: bool
    start: int
    end: int


Curve = PointCurve | BezierCurve | NamedCurve


class WrittenCombination(NamedTuple):
    """`product(a, least(b, c))`."""

    how: Name
    parts: tuple[Strength, ...]
    start: int
    end: int


Strength = Reference | WrittenCombination


# ---- facts ---------------------------------------------------------------------------------------


class Fact(NamedTuple):
    """One fact of a block: its keyword and what follows, in the order of the parts of its kind (`FACT_KINDS[key]`)."""

    key: str
    values: tuple[Any, ...]
    start: int
    end: int

    def part(self, name: str) -> Any:
        """A part by its name; None for an optional one that is not there. Raises KeyError for a name of no part."""
        return self.values[PART_INDEXES[self.key][name]]

    @property
    def only(self) -> Any:
        """The part of a fact that has one part."""
        (value,) = self.values
        return value


class SkeletonJoint(NamedTuple):
    name: JointName
    parent: JointName | None
    position: tuple[Amount, Amount, Amount]
    turns: tuple[WrittenTurn, ...]
    start: int
    end: int


class StrengthAt(NamedTuple):
    """`elbow 1` in a pose."""

    strength: Reference
    amount: Amount
    start: int
    end: int


class JointAt(NamedTuple):
    """`about x of lowerarm 90 deg` in a pose."""

    axis: Axis
    joint: JointName
    angle: Amount
    start: int
    end: int


PoseItem = StrengthAt | JointAt


class PoseNamed(NamedTuple):
    """`pose salute` after `posed at`: all that the declared pose says."""

    pose: Reference
    start: int
    end: int


class OverClip(NamedTuple):
    path: Text
    start: int
    end: int


class OverEverything(NamedTuple):
    start: int
    end: int


class OverPose(NamedTuple):
    pose: Reference
    start: int
    end: int


OverItem = Reference | OverClip | OverEverything | OverPose


# ---- declarations --------------------------------------------------------------------------------


class Block(NamedTuple):
    """A declaration with a block: `driver elbow both { ... }`.

    `kind` is its keyword; `expect` has no name; `character` has a title.
    """

    kind: str
    name: Name | None
    side: str | None
    title: Text | None
    facts: tuple[Fact, ...]
    start: int
    end: int


class CombineDeclaration(NamedTuple):
    name: Name
    side: str | None
    strength: Strength
    facts: tuple[Fact, ...]
    start: int
    end: int


class CurveDeclaration(NamedTuple):
    name: Name
    curve: Curve
    start: int
    end: int


class Argument(NamedTuple):
    name: Name
    values: tuple[Value, ...]
    start: int
    end: int


class UseLibrary(NamedTuple):
    path: Text
    prefix: Name | None
    arguments: tuple[Argument, ...]
    start: int
    end: int


class Parameter(NamedTuple):
    name: Name
    values: tuple[Value, ...] | None
    facts: tuple[Fact, ...]
    start: int
    end: int


class Override(NamedTuple):
    """Facts that replace those of another declaration, on one side or on both."""

    target: Block | CombineDeclaration
    start: int
    end: int


class EachHead(NamedTuple):
    name: Name
    values: tuple[Value, ...]
    start: int
    end: int


class Each(NamedTuple):
    head: EachHead
    declarations: tuple[Declaration, ...]
    start: int
    end: int


Declaration = Block | CombineDeclaration | CurveDeclaration | UseLibrary | Parameter | Override | Each


class Comment(NamedTuple):
    """A comment with its two slashes."""

    text: str
    start: int
    end: int


class LostDeclaration(NamedTuple):
    """A declaration that was not understood: its kind and the name that it may declare, "" for what cannot be told.

    Of a `use` the name is its file.
    """

    kind: str
    name: str
    start: int
    end: int


class LeftOut(NamedTuple):
    """Lines of a declaration that were left out, not understood: the words in them, and the declaration's place."""

    words: tuple[str, ...]
    start: int
    end: int


class Document(NamedTuple):
    """One parsed file. Blank lines are not stored: the source between the nodes tells them.

    After mistakes, `lost` are declarations that are missing, and `left_out` tells which have facts that are missing.
    """

    source: Source
    declarations: tuple[Declaration, ...]
    comments: tuple[Comment, ...]
    lost: tuple[LostDeclaration, ...] = ()
    left_out: tuple[LeftOut, ...] = ()

    @property
    def is_read(self) -> bool:
        """Whether anything of it could be read, or there is nothing in it."""
        return bool(self.declarations or self.lost)

    def span(self, node: Placed) -> Span:
        """The place of a node of this document."""
        return Span(self.source, node.start, node.end)


# What has a place: any node above.
Placed = (
    Value
    | JointName
    | Axis
    | WrittenTurn
    | Reading
    | Curve
    | Strength
    | Fact
    | SkeletonJoint
    | PoseItem
    | PoseNamed
    | OverItem
    | Argument
    | Declaration
    | EachHead
    | Comment
)
distinct(*get_args(Placed))

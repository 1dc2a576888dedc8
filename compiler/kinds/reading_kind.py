"""What a kind of reading is: everything that is known of it in one record, and the check that nothing is missing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from typing import Any, Generic, TypeVar

from plica.kinds.phrases import children, part_names
from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector
from plica.units import Dimension


class Part(Enum):
    """What a part of a reading's phrase is; how it is bound and which field of the Rig's record may hold it."""

    JOINT = "a joint"
    ROTATION_AXIS = "an axis to turn about: a pseudovector, which a mirror turns the other way"
    DIRECTION = "a direction: a vector, which a mirror reflects"
    CHANNEL = "x, y or z without a sign"
    ORDER = "x, y and z in some order"
    CONTROL = "a control"
    MORPH = "a morph target of the model"


class Needs(Enum):
    """What of a pose a kind reads."""

    TURN = "the turn of its joint since rest, in its parent or as another joint sees it"
    TRANSLATION = "the translation of its joint, in its parent or as another joint sees it"
    SCALE = "the scale of its joint"
    CHAIN = "the local transforms of all joints between its own and their nearest common ancestor"
    CONTROL = "the value of its control, or of the one that holds the weight of its morph target"


class Reach(NamedTuple):
    """The values that a span may lie in, in the inside unit, and how they are named in a diagnostic."""

    least: float
    greatest: float
    what: str
    least_text: str
    greatest_text: str


Record = TypeVar("Record")


class AxisShown(NamedTuple, Generic[Record]):
    """The axis that a kind counts along or about.

    `vector`: the axis in the joint's own rest frame (an offset's: in its parent's). `signed`: the field of the record
    that, negated, makes the same motion count the other way; "" where there is none. `written`: the part of the phrase
    that gives it; "" where none does. `title`, `shown`: how it stands in the table of mirrored readings.
    """

    vector: Callable[[Record], Vector]
    signed: str
    written: str
    title: str
    shown: str


class ReadingKind(NamedTuple, Generic[Record]):
    """A kind of reading.

    `record`: the class in the Rig, whose `kind` is the name. `phrase`: how it is written, each part in braces; `parts`
    says what each is. `dimension` and `unit`: what it measures and in which unit people read it ("" for plain numbers).
    `reach`: where a span may lie; None for anywhere. `text`: an exact description of the record, `short` one without
    the axis; `{axis}` in them is the axis, any other name a field or a property of the record; a part in
    brackets is left out where a field in it is None.
    """

    name: str
    record: type[Record]
    phrase: str
    parts: Mapping[str, Part]
    dimension: Dimension
    unit: str
    needs: Needs
    reach: Reach | None
    axis: AxisShown[Record] | None
    text: str
    short: str

    @property
    def key(self) -> str:
        """The name of the rule in the grammar."""
        return f"{self.name}_reading"

    @property
    def part_names(self) -> tuple[str, ...]:
        """The names of the parts, in the order in which they are written."""
        return part_names(self.phrase)

    @property
    def children(self) -> tuple[int, ...]:
        """Which child of the grammar's rule each part is."""
        return children(self.phrase)

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields of the record, without its kind."""
        return _fields(self.record)

    def named(self, part: Part) -> tuple[str, ...]:
        """The parts of one sort that the record holds under the same name."""
        return tuple(name for name in self.fields if self.parts.get(name) is part)


class IncompleteKindError(RuntimeError):
    """A kind of reading lacks something, or something is of no kind. A mistake of Plica's own."""


def checked(kinds: Iterable[ReadingKind[Any]], records: Iterable[type]) -> Mapping[str, ReadingKind[Any]]:
    """Kinds by name: one for each record of the Rig, consistent with it. Raises IncompleteKindError."""
    by_name: dict[str, ReadingKind[Any]] = {}
    for kind in kinds:
        if kind.name in by_name:
            raise IncompleteKindError(f"there are two kinds `{kind.name}`")
        if getattr(kind.record, "_field_defaults", {}).get("kind") != kind.name:
            raise IncompleteKindError(f"the record of `{kind.name}` has another kind")
        if set(kind.part_names) != set(kind.parts):
            raise IncompleteKindError(f"the parts of `{kind.name}` are not those of its phrase")
        known = {*kind.fields, *_computed(kind.record), *(["axis"] if kind.axis else [])}
        shown = [kind.text, kind.short, *((kind.axis.title, kind.axis.shown) if kind.axis else ())]
        unknown = {name for text in shown for name in part_names(text)} - known
        if unknown or (kind.axis and not {kind.axis.signed, kind.axis.written} <= {*kind.fields, *kind.parts, ""}):
            raise IncompleteKindError(f"a text of `{kind.name}` names what it does not have")
        joints = len(kind.named(Part.JOINT))
        if (kind.needs is Needs.CONTROL) != bool((*kind.named(Part.CONTROL), *kind.named(Part.MORPH))) or (
            joints != 0 if kind.needs is Needs.CONTROL else joints < (2 if kind.needs is Needs.CHAIN else 1)
        ):
            raise IncompleteKindError(f"`{kind.name}` does not have the joints or the control that it reads")
        by_name[kind.name] = kind
    if {kind.record for kind in by_name.values()} != set(records):
        raise IncompleteKindError("the kinds are not those of the Rig's readings")
    return by_name


Row = TypeVar("Row")


def of_all(what: str, register: Mapping[str, Row], kinds: Iterable[str]) -> Mapping[str, Row]:
    """The register, which has an entry for each of these kinds and no others. Raises IncompleteKindError."""
    names = set(kinds)
    if missing := sorted(names - register.keys()):
        raise IncompleteKindError(f"{', '.join(missing)}: no {what}")
    if unknown := sorted(register.keys() - names):
        raise IncompleteKindError(f"{', '.join(unknown)}: {what} of no such kind")
    return register


def _computed(record: Any) -> tuple[str, ...]:
    """The names of what a record works out by itself."""
    return tuple(name for name, value in vars(record).items() if isinstance(value, property))


def _fields(record: Any) -> tuple[str, ...]:
    return tuple(name for name in record._fields if name != "kind")

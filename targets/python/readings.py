"""Readings as expressions of a generated module over a joint's turn since rest and its translation.

The variables are `tx ty tz` (translation in the parent), `sx sy sz` (scale along the joint's own axes) and those of the
turn since rest, whose names a `TurnSource` gives. The turn may have any length: all expressions divide it out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import pi
from typing import Any, Final, NamedTuple

from plica.emit.generated_code import Assign, Language, Literal, Return, Statement, assign
from plica.kinds.readings import Bend, Euler, Offset, Reading, Rotation, Scale, Swing
from plica.rig.rig import RigJoint
from plica.skeleton.algebra import Quaternion, Vector, cross, matrix_of
from plica.targets.python.arithmetic import XYZ, called, dot, less, number, total, turn_component

EULER_FUNCTIONS = ("euler first", "euler middle", "euler last")


class TurnSource(NamedTuple):
    """The variables that hold a joint's turn since rest, and the statements that set them."""

    x: str
    y: str
    z: str
    w: str
    statements: tuple[Statement, ...]

    @property
    def vector(self) -> tuple[str, str, str]:
        """The variables of the vector part."""
        return self.x, self.y, self.z


def turn_since(rest: Quaternion, needed: frozenset[str]) -> TurnSource:
    """The turn since `rest` of the rotation in the variables x, y, z, w; only `needed` components are computed."""
    names: dict[str, str] = {}
    statements: list[Statement] = []
    for component in ("x", "y", "z", "w"):
        text = turn_component(rest, component)
        if text in ("x", "y", "z", "w"):
            names[component] = text
        else:
            names[component] = f"d{component}"
            if component in needed:
                statements.append(assign(f"d{component}", text))
    return TurnSource(names["x"], names["y"], names["z"], names["w"], tuple(statements))


class Expression(NamedTuple):
    """How a kind that reads one joint is written; both functions take the record of their kind.

    `needed`: which components of the turn it looks at. `text`: the reading as an expression that can be divided or
    subtracted from as it stands, given the turn, the joint at rest and the language. The reading is the expression
    times `factor`, 1 or 2: halves and doubles are exact, so whoever uses it can take the factor into constants instead
    of multiplying.
    """

    needed: Callable[[Any], frozenset[str]]
    text: Callable[[Any, TurnSource, RigJoint, Language], str]
    factor: float


def _whole(_: Reading) -> frozenset[str]:
    return frozenset("xyzw")


def _none(_: Reading) -> frozenset[str]:
    return frozenset()


def _about_axis(reading: Rotation) -> frozenset[str]:
    return frozenset({"w", *(name for name, factor in zip(XYZ, reading.axis, strict=True) if factor != 0.0)})


def _rotation(reading: Rotation, turn: TurnSource, _: RigJoint, language: Language) -> str:
    """atan2(s, w) with the signs of both flipped where w is negative: the arc tangent of s / w. Half the reading."""
    s = dot(reading.axis, turn.vector)
    quotient = s if " " not in s else f"({s})"
    angle = called("atan", f"{quotient} / {turn.w}")
    cases = [(language.is_not_zero(turn.w), angle), (language.is_not_zero(s), number(pi / 2))]
    return f"({language.choice(cases, '0.0')})"


def _bend(_: Bend, turn: TurnSource, __: RigJoint, ___: Language) -> str:
    squares = " + ".join(f"{name} * {name}" for name in turn.vector)
    return f"atan2(sqrt({squares}), abs({turn.w}))"


def _swing(reading: Swing, turn: TurnSource, _: RigJoint, language: Language) -> str:
    beside = cross(reading.along, reading.toward)
    parts = (dot(axis, turn.vector) for axis in (reading.along, reading.toward, beside))
    return called(language.function_name("swing"), *parts, turn.w)


def _offset(reading: Offset, _: TurnSource, joint: RigJoint, __: Language) -> str:
    terms = []
    for weight, name, value in zip(reading.weights, ("tx", "ty", "tz"), joint.neutral.translation, strict=True):
        moved = less(name, value)
        terms.append((weight, f"({moved})" if moved != name else name))
    return f"({total(terms) or '0.0'})"


def _scale(reading: Scale, _: TurnSource, joint: RigJoint, __: Language) -> str:
    terms = []
    for part, name, rest in zip(reading.axis, ("sx", "sy", "sz"), joint.neutral.scale, strict=True):
        if part != 0.0:
            terms.append((part * part / rest, f"({less(name, rest)})"))
    return f"({total(terms) or '0.0'})"


def _euler(reading: Euler, turn: TurnSource, _: RigJoint, language: Language) -> str:
    """A call with the turn's parts along the order's three axes, which `frame` turns; see the module's functions.

    Odd orders are the even ones mirrored: the second axis runs the other way, and so does the middle angle.
    """
    rows = matrix_of(reading.frame)
    p, q, r = (rows[XYZ.index(axis)] for axis in reading.order)
    odd = reading.order not in ("xyz", "yzx", "zxy")
    if odd:
        q = (-q[0], -q[1], -q[2])
    place = reading.order.index(reading.channel)
    call = called(
        language.function_name(EULER_FUNCTIONS[place]), *(dot(axis, turn.vector) for axis in (p, q, r)), turn.w
    )
    return f"-{call}" if odd and place == 1 else call


EXPRESSIONS: Final[Mapping[str, Expression]] = {
    "rotation": Expression(_about_axis, _rotation, 2.0),
    "bend": Expression(_whole, _bend, 2.0),
    "swing": Expression(_whole, _swing, 2.0),
    "euler": Expression(_whole, _euler, 1.0),
    "offset": Expression(_none, _offset, 1.0),
    "scale": Expression(_none, _scale, 1.0),
}
"""For each kind that reads one joint: how it is written."""


def seen_turn(table: str, language: Language) -> TurnSource:
    """The turn since rest of a joint as another one sees it, from the table that `turn_table` writes."""
    seen = called(language.function_name("turn seen"), "pose", table)
    return TurnSource("x", "y", "z", "w", (Assign(("x", "y", "z", "w"), seen),))


def seen_offset(table: str, weights: Vector, language: Language) -> str:
    """How far a joint has moved since rest as another one sees it, dotted with weights; `offset_table` writes it."""
    return called(language.function_name("offset seen"), "pose", table, language.literal(weights))


class Link(NamedTuple):
    """A joint on the way up: its place in the pose, and what the vector part of its rotation is multiplied with
    (`plica.skeleton.chains`)."""

    place: int
    flip: Vector


def turn_table(name: str, chains: Sequence[Sequence[Link]], flip: Vector, language: Language) -> str:
    """Source of what is known of two joints: both chains, from the joint up, and the first one's own flip.

    The rest is added by the arithmetic of the poses, so that it cancels to the last bit.
    """
    return _table(name, "with turn at rest", chains, flip, language)


def offset_table(name: str, chains: Sequence[Sequence[Link]], scale: Vector, language: Language) -> str:
    """The same for offsets, which need the ancestor's scale."""
    return _table(name, "with place at rest", chains, scale, language)


def _table(name: str, made: str, chains: Sequence[Sequence[Link]], last: Vector, language: Language) -> str:
    parts: tuple[Literal, ...] = (*(tuple((link.place, link.flip) for link in chain) for chain in chains), last)
    return language.constant(name, called(language.function_name(made), *map(language.literal, parts)))


def gap_function(name: str, first: Sequence[int], second: Sequence[int], scale: Vector, language: Language) -> str:
    """Source of the function from the pose to the distance between two joints' origins.

    `first` and `second` are places in the pose, leading from each joint up to right below their nearest common
    ancestor, whose scale in model space at rest is `scale`.
    """
    body = [*_origin("a", first, language), *_origin("b", second, language)]
    for index, (axis, factor) in enumerate(zip(XYZ, scale, strict=True)):
        difference = f"a[{index}] - b[{index}]"
        body.append(assign(axis, difference if factor == 1.0 else f"{number(factor)} * ({difference})"))
    return language.function(name, ["pose"], [*body, Return("sqrt(x * x + y * y + z * z)")])


def _origin(variable: str, chain: Sequence[int], language: Language) -> list[Statement]:
    """Statements that leave in `variable` the origin of the chain's first joint, seen from above its last."""
    if not chain:
        return [assign(variable, language.literal((0.0, 0.0, 0.0)))]
    lines: list[Statement] = [assign(variable, f"pose[{chain[0]}][0]")]
    for place in chain[1:]:
        parts = (f"pose[{place}][{part}]" for part in range(3))
        lines.append(assign(variable, called(language.function_name("placed"), *parts, variable)))
    return lines

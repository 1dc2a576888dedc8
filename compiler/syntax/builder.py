"""Lark's reductions to syntax nodes.

The parser calls one method per rule with all of the rule's children, keywords included (so that places are
known), and None for each symbol of an optional part that is not there. Optional parts therefore always
stand at the same index.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any, cast

from plica.kinds.readings import READING_KINDS
from plica.named_tuples import NamedTuple
from plica.syntax import nodes
from plica.syntax.fact_kinds import FACT_KINDS
from plica.syntax.lexer import Token
from plica.units import UNITS

BLOCKS = ("region", "driver", "control", "field", "shape", "fold", "pose")


class Run(NamedTuple):
    """Several nodes in a row; only inside the builder."""

    items: tuple[Any, ...]
    start: int
    end: int


def _end(children: list[Any]) -> int:
    for child in reversed(children):
        if child is not None:
            # Lark's own tokens are texts, too.
            return cast(int, cast(Token, child).end_pos if isinstance(child, str) else child.end)
    raise AssertionError("a rule without children has no place")


def _plain(child: Any) -> Any:
    """A child as a fact's value: runs as tuples, tokens as texts."""
    if type(child) is Run:
        return child.items
    if isinstance(child, str):
        return str(child)
    return child


def _optional(child: Any) -> Any:
    return None if child is None else str(child)


_UNIT = re.compile(rf"(?:{'|'.join(map(re.escape, UNITS))})\Z")
_ESCAPE = re.compile(r"\\(.)")
_SIMPLE_ESCAPES = {"n": "\n", "t": "\t", '"': '"', "\\": "\\"}


def decode_text(quoted: str) -> str:
    """The text that a quoted text stands for: `\\"`, `\\\\`, `\\n`, `\\t`; any other escaped character is itself."""
    inner = quoted[1:-1]
    if "\\" not in inner:
        return inner
    return _ESCAPE.sub(lambda match: _SIMPLE_ESCAPES.get(match[1], match[1]), inner)


def encode_text(text: str) -> str:
    """The quoted form of a text; the inverse of `decode_text`."""
    return json.dumps(text, ensure_ascii=False)


def _fact(key: str, indexes: tuple[int, ...]) -> Callable[[Any, list[Any]], nodes.Fact]:
    def build(_: Any, children: list[Any]) -> nodes.Fact:
        values = tuple([_plain(children[index]) for index in indexes])
        return nodes.Fact(key, values, children[0].start_pos, _end(children))

    return build


def _reading(kind: str, indexes: tuple[int, ...]) -> Callable[[Any, list[Any]], nodes.Reading]:
    def build(_: Any, children: list[Any]) -> nodes.Reading:
        values = tuple([_plain(children[index]) for index in indexes])
        return nodes.Reading(kind, values, children[0].start_pos, _end(children))

    return build


def _block(kind: str) -> Callable[[Any, list[Any]], nodes.Block]:
    def build(_: Any, children: list[Any]) -> nodes.Block:
        facts = tuple(children[4:-1])
        start, end = children[0].start_pos, children[-1].end_pos
        return nodes.Block(kind, children[1], _optional(children[2]), None, facts, start, end)

    return build


def _separated(_: Any, children: list[Any]) -> Run:
    """Items between commas."""
    first, last = children[0], children[-1]
    return Run(tuple(children[::2]), first.start, last.end)


class Builder:
    """Builds syntax nodes; holds no state, so that one parser serves every text."""

    def file(self, children: list[Any]) -> Run:
        return Run(tuple(children[2:]), 0, 0)

    # ---- words

    def name(self, children: list[Token]) -> nodes.Name:
        token = children[0]
        return nodes.Name(str(token), token.start_pos, token.end_pos)

    def text(self, children: list[Token]) -> nodes.Text:
        token = children[0]
        return nodes.Text(decode_text(token), token.start_pos, token.end_pos)

    def amount(self, children: list[Token]) -> nodes.Quantity:
        token = children[0]
        unit = _UNIT.search(token)
        number, name = (token, "") if unit is None else (token[: unit.start()], unit[0])
        return nodes.Quantity(float(number), name, token.start_pos, token.end_pos)

    def reference(self, children: list[Any]) -> nodes.Reference:
        side, name, _, member = children
        start = name.start if side is None else side.start_pos
        return nodes.Reference(_optional(side), name, member, start, _end(children))

    def joint(self, children: list[Any]) -> nodes.JointName:
        side, token = children
        quoted = token.type == "STRING"
        text = decode_text(token) if quoted else str(token)
        start = token.start_pos if side is None else side.start_pos
        return nodes.JointName(_optional(side), text, quoted, start, token.end_pos)

    texts = references = joints = turns = values = points = _separated

    def named_axis(self, children: list[Any]) -> nodes.NamedAxis:
        return nodes.NamedAxis(str(children[0]), _optional(children[2]), children[0].start_pos, _end(children))

    def vector_axis(self, children: list[Any]) -> nodes.VectorAxis:
        components = (children[1], children[3], children[5])
        return nodes.VectorAxis(components, _optional(children[8]), children[0].start_pos, _end(children))

    def turn(self, children: list[Any]) -> nodes.WrittenTurn:
        return nodes.WrittenTurn(children[1], children[2], children[0].start_pos, _end(children))

    def value_range(self, children: list[Any]) -> nodes.ValueRange:
        first, last = self.amount([children[0]]), self.amount([children[2]])
        return nodes.ValueRange(first, last, first.start, last.end)

    # ---- the character

    def skeleton(self, children: list[Any]) -> nodes.Fact:
        return nodes.Fact("skeleton", (tuple(children[2:-1]),), children[0].start_pos, _end(children))

    def skeleton_joint(self, children: list[Any]) -> nodes.SkeletonJoint:
        turns = children[11].items if children[11] is not None else ()
        position = (children[5], children[7], children[9])
        start = children[0].start_pos
        return nodes.SkeletonJoint(children[1], children[3], position, turns, start, _end(children))

    def character(self, children: list[Any]) -> nodes.Block:
        facts = tuple(children[4:-1])
        start = children[0].start_pos
        return nodes.Block("character", children[1], None, children[2], facts, start, _end(children))

    # ---- libraries, families, overrides

    def argument(self, children: list[Any]) -> nodes.Argument:
        return nodes.Argument(children[0], children[2].items, children[0].start, _end(children))

    def use(self, children: list[Any]) -> nodes.UseLibrary:
        arguments = tuple(child for child in children[4:] if isinstance(child, nodes.Argument))
        return nodes.UseLibrary(children[1], children[3], arguments, children[0].start_pos, _end(children))

    def body(self, children: list[Any]) -> Run:
        return Run(tuple(children[1:-1]), children[0].start_pos, _end(children))

    def parameter(self, children: list[Any]) -> nodes.Parameter:
        values = children[3].items if children[3] is not None else None
        facts = children[4].items if children[4] is not None else ()
        return nodes.Parameter(children[1], values, facts, children[0].start_pos, _end(children))

    def each_head(self, children: list[Any]) -> nodes.EachHead:
        return nodes.EachHead(children[1], children[3].items, children[0].start_pos, _end(children))

    def each(self, children: list[Any]) -> nodes.Each:
        head = children[0]
        return nodes.Each(head, tuple(children[1:-1]), head.start, _end(children))

    def override(self, children: list[Any]) -> nodes.Override:
        return nodes.Override(children[1], children[0].start_pos, _end(children))

    # ---- curves

    def point(self, children: list[Any]) -> Run:
        return Run((children[0], children[1]), children[0].start, children[1].end)

    def point_curve(self, children: list[Any]) -> nodes.PointCurve:
        run = children[0]
        return nodes.PointCurve("monotone", tuple(p.items for p in run.items), run.start, run.end)

    def kind_curve(self, children: list[Any]) -> nodes.Curve:
        kind, run = children
        if run is None:
            name = self.name([kind])
            return nodes.NamedCurve(name, True, name.start, name.end)
        return nodes.PointCurve(str(kind), tuple(p.items for p in run.items), kind.start_pos, run.end)

    def bezier_curve(self, children: list[Any]) -> nodes.BezierCurve:
        controls = (children[1], children[2], children[3], children[4])
        return nodes.BezierCurve(controls, children[0].start_pos, _end(children))

    def named_curve(self, children: list[Any]) -> nodes.NamedCurve:
        return nodes.NamedCurve(children[0], False, children[0].start, children[0].end)

    def curve_declaration(self, children: list[Any]) -> nodes.CurveDeclaration:
        return nodes.CurveDeclaration(children[1], children[3], children[0].start_pos, _end(children))

    def combination(self, children: list[Any]) -> nodes.WrittenCombination:
        return nodes.WrittenCombination(children[0], tuple(children[2:-1:2]), children[0].start, _end(children))

    def combine(self, children: list[Any]) -> nodes.CombineDeclaration:
        facts = children[5].items if children[5] is not None else ()
        start = children[0].start_pos
        side = _optional(children[2])
        return nodes.CombineDeclaration(children[1], side, children[4], facts, start, _end(children))

    # ---- shapes and expectations

    def posed_at(self, children: list[Any]) -> Run:
        return Run(tuple(children[2::2]), children[0].start_pos, _end(children))

    def strength_at(self, children: list[Any]) -> nodes.StrengthAt:
        return nodes.StrengthAt(children[0], children[1], children[0].start, _end(children))

    def joint_at(self, children: list[Any]) -> nodes.JointAt:
        start = children[0].start_pos
        return nodes.JointAt(children[1], children[3], children[4], start, _end(children))

    def pose_named(self, children: list[Any]) -> nodes.PoseNamed:
        return nodes.PoseNamed(children[1], children[0].start_pos, _end(children))

    def pose_at(self, children: list[Any]) -> nodes.Fact:
        return nodes.Fact("pose_at", (tuple(children[1::2]),), children[0].start_pos, _end(children))

    def after(self, children: list[Any]) -> Run:
        return Run(tuple(children[1::2]), children[0].start_pos, _end(children))

    def without_shapes(self, children: list[Any]) -> Run:
        return Run((), children[0].start_pos, _end(children))

    def over(self, children: list[Any]) -> Run:
        return Run(tuple(children[1::2]), children[0].start_pos, _end(children))

    def over_everything(self, children: list[Any]) -> nodes.OverEverything:
        return nodes.OverEverything(children[0].start_pos, _end(children))

    def over_clip(self, children: list[Any]) -> nodes.OverClip:
        return nodes.OverClip(children[1], children[0].start_pos, _end(children))

    def over_pose(self, children: list[Any]) -> nodes.OverPose:
        return nodes.OverPose(children[1], children[0].start_pos, _end(children))

    def expect(self, children: list[Any]) -> nodes.Block:
        start = children[0].start_pos
        facts = tuple(children[3:-1])
        return nodes.Block("expect", None, _optional(children[1]), None, facts, start, _end(children))

    def detail(self, children: list[Any]) -> nodes.Block:
        start = children[0].start_pos
        facts = tuple(children[3:-1])
        return nodes.Block("detail", children[1], None, None, facts, start, _end(children))


for _known in FACT_KINDS.values():
    if not _known.listed:
        setattr(Builder, _known.key, _fact(_known.key, _known.children))
for _reads in READING_KINDS.values():
    setattr(Builder, _reads.key, _reading(_reads.name, _reads.children))
for _kind in BLOCKS:
    setattr(Builder, _kind, _block(_kind))

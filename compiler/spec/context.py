"""What binding a declaration needs to know, and the lookups that all declarations share."""

from __future__ import annotations

import re
from itertools import chain
from typing import cast

from plica.diagnostics import Diagnostics, Fix
from plica.diagnostics.suggest import listed
from plica.named_tuples import NamedTuple
from plica.readers.model_outline import ModelOutline
from plica.skeleton.algebra import Vector, length, unit
from plica.skeleton.side_patterns import without_side
from plica.source import Span
from plica.spec.entries import AxisValue, BoundSkeleton, EntryReference, JointRef, ScopeSide, Space, TurnValue
from plica.spec.fact_sets import FactSet, ScopedFact
from plica.spec.morph_pairs import has_morph_pairs
from plica.spec.named_files import report_backslash, report_refused
from plica.spec.scope import Scope, has_unknown
from plica.spec.symbols import Symbols
from plica.syntax import nodes
from plica.syntax.builder import encode_text
from plica.units import Dimension
from plica.values import About, Curve, Photo
from plica.workspace import Refused, Workspace

_AXES = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
_COMPONENT = r"\s*([+-]?(?:\d{1,12}(?:\.\d{1,18})?|\.\d{1,18}))\s*"
_VECTOR = re.compile(rf"\({_COMPONENT},{_COMPONENT},{_COMPONENT}\)", re.ASCII)


def _axis_of_text(text: str) -> Vector | None:
    """The vector of `x`, `-z` or `(0.6, -0.8, 0)`, not of unit length; None where a text is none of them."""
    found = _VECTOR.fullmatch(text)
    if found is not None:
        x, y, z = (float(one) for one in found.groups())
        return x, y, z
    named = _AXES.get(text.lstrip("+-"))
    if named is None or len(text) > 2:
        return None
    sign = -1.0 if text.startswith("-") else 1.0
    x, y, z = (sign * component if component else 0.0 for component in named)
    return x, y, z


class Context(NamedTuple):
    """The spec around a declaration, and the declaration's own side, place and name ("" for one without).

    `is_whole`: whether all its facts were understood; of one that lacks some, none is reported to be missing.
    """

    diagnostics: Diagnostics
    symbols: Symbols
    bound: BoundSkeleton
    outline: ModelOutline | None
    workspace: Workspace | None
    curves: dict[str, Curve]
    side: ScopeSide
    span: Span
    name: str = ""
    is_whole: bool = True

    @property
    def has_sides(self) -> bool:
        """Whether the character has pairs: of joints, or of morph targets for a face that has none."""
        return bool(self.bound.sides.pairs) or has_morph_pairs(self.outline, self.bound.sides.patterns)

    # ---- names

    def target(self, reference: nodes.Reference, namespace: str, scope: Scope) -> EntryReference | None:
        """What a reference in this declaration means; a diagnostic, and None, where that is nothing."""
        return self.symbols.target(reference, namespace, scope, self.side, self.name, self.span)

    # ---- joints

    def joint(self, node: nodes.JointName, scope: Scope) -> JointRef | None:
        """The joint, or pair of joints, that a name means in this declaration; a diagnostic where there is none."""
        name = scope.fill(node.text, node)
        if self.symbols.left is not None:
            self.symbols.left.joints[name] = None
        if self.bound.unknown or has_unknown(name):
            return None
        pair = self.bound.sides.pairs.get(name)
        exact = self.bound.skeleton.index.get(name)
        span = scope.span(node)
        if node.side is not None:
            if pair is None:
                self._report_unknown_joint(name, node, scope, only_pairs=True)
                return None
            index = pair.left if node.side == "left" else pair.right
            return JointRef(index, index, literal=True)
        if self.side == "both":
            if pair is not None:
                return JointRef(pair.left, pair.right, literal=False)
            return self._joint_of_both(name, exact, node, scope)
        if exact is not None:
            return JointRef(exact, exact, literal=True)
        if pair is None:
            self._report_unknown_joint(name, node, scope)
            return None
        if self.side == "none":
            self.symbols.missing_sides.note_needed("joint-side-needed", name, span, self.name, self.span)
            return None
        index = pair.left if self.side == "left" else pair.right
        return JointRef(index, index, literal=True)

    def _joint_of_both(self, name: str, exact: int | None, node: nodes.JointName, scope: Scope) -> JointRef | None:
        if exact is None:
            # Without pairs every joint of a `both` is unknown; that there are none is said once, at the name.
            if self.has_sides:
                self._report_unknown_joint(name, node, scope)
            return None
        if exact not in self.bound.sides.partner:
            return JointRef(exact, exact, literal=False)
        base = self._shared_name(name)
        span = scope.span(node)
        self.diagnostics.add("joint-of-one-side", span, name=name, base=base, fix=Fix(span, _quoted(base)))
        return None

    def _report_unknown_joint(
        self, name: str, node: nodes.JointName, scope: Scope, *, only_pairs: bool = False
    ) -> None:
        if self.diagnostics.stopped:
            return
        span = scope.span(node)
        if not self.bound.skeleton.joints:
            self.diagnostics.add("no-skeleton", span, name=name)
            return
        span, labels = scope.blame(node.text, node)
        literal = "{" not in node.text or span != scope.span(node)
        meant = self._pair_of_other_names(name)
        near = meant or self.diagnostics.near(
            name, chain(self.bound.sides.pairs, () if only_pairs else self.bound.skeleton.index)
        )
        near = near if near is None or self.side == "none" else self._shared_name(near)
        hint = None if near is None else f"did you mean `{near}`?"
        if meant is not None:
            pair = self.bound.sides.pairs[meant]
            left, right = (self.bound.skeleton.joints[one].name for one in (pair.left, pair.right))
            hint = f"did you mean `{meant}`, which is `{left}` and `{right}`?"
            near = None if self.side == "none" else meant  # which needs a side
        known = self.bound.sides.pairs if self.side == "both" or only_pairs else self.bound.skeleton.index
        self.diagnostics.add_once(
            "unknown-joint",
            span,
            name=name,
            about=meant or name,
            hint=hint or listed("joint", known),
            labels=labels,
            fix=Fix(span, _quoted(near)) if near and literal else None,
        )

    def _pair_of_other_names(self, name: str) -> str | None:
        """The pair that a joint's name meant before the marks of the sides were others, such as `upperarm_l`."""
        return next((base for base in without_side(name) if base in self.bound.sides.pairs), None)

    def _shared_name(self, name: str) -> str:
        """The name of the pair that a joint belongs to; the joint's own for one of no pair."""
        sides, index = self.bound.sides, self.bound.skeleton.index.get(name)
        if name in sides.pairs or index is None or index not in sides.partner:
            return name
        return next(pair.base for pair in sides.pairs.values() if index in (pair.left, pair.right))

    # ---- axes and turns

    def axis(self, node: nodes.Axis, scope: Scope) -> AxisValue:
        """A unit vector and its space."""
        space = cast(Space, node.space or "joint")
        if isinstance(node, nodes.NamedAxis):
            text = scope.fill(node.text, node)
            vector = _axis_of_text(text)
            if vector is None:
                if text and not has_unknown(text):
                    self.diagnostics.add("not-an-axis", scope.span(node), text=text)
                return AxisValue(_AXES["x"], space)
        else:
            x, y, z = (scope.amount(one, Dimension.NUMBER, "a component of an axis") for one in node.components)
            vector = x, y, z
        if length(vector) < 1e-12:
            self.diagnostics.add("null-axis", scope.span(node))
            return AxisValue(_AXES["x"], space)
        return AxisValue(unit(vector), space)

    def turns(self, written: tuple[nodes.WrittenTurn, ...], scope: Scope) -> tuple[TurnValue, ...]:
        """A list of turns."""
        return tuple(
            TurnValue(self.axis(turn.axis, scope), scope.amount(turn.angle, Dimension.ANGLE, "a turn"))
            for turn in written
        )

    # ---- files and words

    def file(self, node: nodes.Text, scope: Scope, if_missing: str | None = None) -> str:
        """A file that the spec names, from the spec's folder; a diagnostic where it cannot be used.

        if_missing: its hint where there is no such file, nor one of a similar name.
        """
        text = scope.fill(node.text, node)
        if self.symbols.left is not None:
            self.symbols.left.files[text] = None  # a character names files from its own folder
            report_backslash(scope.span(node), self.diagnostics)
        elif self.workspace is not None and not has_unknown(text):
            located = self.workspace.locate(text)
            if isinstance(located, Refused):
                report_refused(located, text, scope.span(node), self.diagnostics, self.workspace, hint=if_missing)
        return text.replace("\\", "/")

    def about(self, facts: FactSet) -> About:
        """Notes, photographs and the former name."""
        return read_about(facts, self)

    def report_missing(self, what: str, word: str) -> None:
        """A declaration lacks a fact that it cannot do without."""
        if self.is_whole:
            self.diagnostics.add("missing-fact", self.span, what=what, fact=word)


def read_about(facts: FactSet, context: Context) -> About:
    """What a declaration says for people: notes, photographs, its former name."""
    notes = tuple(scope.fill(node.part("text").text, node, lenient=True) for node, scope in facts.many("note"))
    photos = tuple(_photo(fact, context) for fact in facts.many("photo"))
    renamed = facts.one("renamed_from")
    former = None
    if renamed is not None:
        former = renamed.scope.prefix + renamed.scope.name(renamed.node.part("name"))
    if not (notes or photos or former):
        return About()
    return About(notes, photos, former)


def _photo(fact: ScopedFact, context: Context) -> Photo:
    image, caption = fact.node.part("image"), fact.node.part("caption")
    file = context.file(image, fact.scope)
    return Photo(file, fact.scope.fill(caption.text, fact.node, lenient=True) if caption else "")


def _quoted(joint: str) -> str:
    """A joint's name as it is written in a spec."""
    return joint if joint.isidentifier() else encode_text(joint)

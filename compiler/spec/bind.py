"""Document to Spec."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import takewhile
from pathlib import Path
from typing import Any, TypeVar, cast

from plica.diagnostics import Diagnostics, Label
from plica.named_tuples import NamedTuple
from plica.readers.model_outline import ModelOutline
from plica.spec import bind_drivers as readings
from plica.spec import bind_expectations as expectations
from plica.spec import bind_surfaces as surfaces
from plica.spec.acceptances import Acceptance, check_acceptances
from plica.spec.bind_character import BoundCharacter, bind_character, no_character
from plica.spec.budget import Budget
from plica.spec.context import Context
from plica.spec.declarations import acceptances_of, extent_of, facts_of, kind_of
from plica.spec.entries import (
    CombineFacts,
    Declared,
    Entry,
    ExpectationOf,
    ScopeSide,
    Spec,
)
from plica.spec.fact_sets import FactSet, collect
from plica.spec.instances import Flattener, Instance
from plica.spec.library_alone import LeftToCharacters, report_left
from plica.spec.morph_names import skin_targets
from plica.spec.scope import has_unknown
from plica.spec.symbols import NAMESPACES, Symbol, Symbols, SymbolUse
from plica.spec.written_again import is_written_again
from plica.syntax import nodes
from plica.syntax.fact_kinds import ADDED
from plica.values import Curve
from plica.workspace import Workspace

Facts = TypeVar("Facts")
Item = TypeVar("Item")
Binder = Callable[[FactSet, Context], Any]


def _bind_combine(facts: FactSet, context: Context) -> CombineFacts | None:
    """A combine's strength is carried as a fact, so that an override can replace it like any other."""
    fact = facts.one("strength")
    assert fact is not None
    combination = readings.bind_combination(fact.node.part("strength"), fact.scope, context)
    return CombineFacts(combination) if combination is not None else None


BINDERS: dict[str, Binder] = {
    "control": readings.bind_control,
    "driver": readings.bind_driver,
    "combine": _bind_combine,
    "field": readings.bind_field,
    "region": surfaces.bind_region,
    "shape": surfaces.bind_shape,
    "detail": surfaces.bind_detail,
    "fold": surfaces.bind_fold,
    "pose": expectations.bind_pose,
}


class Bound(NamedTuple):
    """The spec (None where there is no character), every document it was made of, its names, what its model holds.

    `budget`: what may still be written out of it. `acceptances`: the warnings and notes that it accepts, of this
    stage and the next. `written`: all declarations, written out.
    """

    spec: Spec | None
    documents: tuple[nodes.Document, ...]
    symbols: Symbols | None = None
    outline: ModelOutline | None = None
    budget: Budget | None = None
    acceptances: tuple[Acceptance, ...] = ()
    written: tuple[WrittenDeclaration, ...] = ()


class WrittenDeclaration(NamedTuple):
    """A declaration as it was written out, and the overrides of it; `name` is empty where it has none."""

    kind: str
    name: str
    side: ScopeSide
    instance: Instance
    overrides: tuple[Instance, ...] = ()


class _Draft(NamedTuple):
    """A declaration on its way to an entry."""

    kind: str
    instance: Instance
    name: str
    side: ScopeSide
    base: FactSet
    overrides: dict[str, FactSet]


def bind(document: nodes.Document, folder: Path | None, workspace: Workspace | None, diagnostics: Diagnostics) -> Bound:
    """Bind a document and the libraries it uses. Without errors in `diagnostics` the spec is whole."""
    return _bind(document, folder, workspace, diagnostics, None)


def bind_library(
    document: nodes.Document, folder: Path | None, workspace: Workspace | None, diagnostics: Diagnostics
) -> Bound:
    """Bind a library by itself: parameters have their defaults, the others no value that is known; there is no spec.

    What only a character that uses it can tell is a note, not an error.
    """
    left = LeftToCharacters()
    bound = _bind(document, folder, workspace, diagnostics, left)
    if not diagnostics.stopped:
        without = [one for one in document.declarations if isinstance(one, nodes.Parameter) and one.values is None]
        report_left(document, tuple(one.name.text for one in without), left, diagnostics)
    return bound._replace(spec=None)


def _bind(
    document: nodes.Document,
    folder: Path | None,
    workspace: Workspace | None,
    diagnostics: Diagnostics,
    left: LeftToCharacters | None,
) -> Bound:
    budget = Budget(diagnostics)
    flattener = Flattener(workspace, diagnostics, budget, by_itself=left is not None)
    instances = flattener.flatten(document, folder)
    documents = tuple(flattener.documents)
    if diagnostics.stopped:
        return Bound(None, documents)
    characters = [item for item in instances if kind_of(item.node) == "character"]
    if not characters and left is None and not any(kind in ("character", "") for kind, _ in flattener.lost):
        diagnostics.add("missing-character", None if not document.source.text else document.span(_start(document)))
        return Bound(None, documents)
    for other in characters[1:]:
        label = Label(characters[0].span, "the first one")
        diagnostics.add("second-character", other.span, labels=[label])
    symbols = Symbols(diagnostics, left)
    for kind, name in flattener.lost:
        symbols.lost.add(kind, name)
    declared = characters[0] if characters else no_character(document, diagnostics, budget)
    character = bind_character(declared, symbols, workspace, diagnostics)
    binding = _Binding(instances, symbols, character, workspace, diagnostics)
    entries, expected = binding.bound_entries(), binding.bound_expectations()
    symbols.missing_sides.report(diagnostics)
    if not diagnostics.has_errors:  # what a mistake keeps from being bound would look unused
        flattener.report_unused()
        if left is None:
            binding.report_unused()
    spec = _spec(character, entries, expected)
    written = tuple(binding.written(declared))
    accepted = binding.acceptances()
    check_acceptances(accepted, diagnostics)
    return Bound(spec, documents, symbols, character.outline, budget, accepted, written)


def _spec(character: BoundCharacter, entries: dict[str, list[Any]], expected: list[ExpectationOf]) -> Spec:
    return Spec(
        character=character.facts,
        bound=character.bound,
        controls=tuple(entries["control"]),
        drivers=tuple(entries["driver"]),
        combines=tuple(entries["combine"]),
        fields=tuple(entries["field"]),
        regions=tuple(entries["region"]),
        shapes=tuple(entries["shape"]),
        details=tuple(entries["detail"]),
        folds=tuple(entries["fold"]),
        poses=tuple(entries["pose"]),
        expectations=tuple(expected),
        morphs=skin_targets(character.outline, character.bound.sides.patterns),
    )


def _start(document: nodes.Document) -> nodes.Comment:
    """A stand-in node at the start of a document."""
    return nodes.Comment("", 0, min(5, len(document.source.text)))


class _Binding:
    """One run of binding: declares all names first, so that their order never matters."""

    def __init__(
        self,
        instances: list[Instance],
        symbols: Symbols,
        character: BoundCharacter,
        workspace: Workspace | None,
        diagnostics: Diagnostics,
    ) -> None:
        self.symbols = symbols
        self.character = character
        self.diagnostics = diagnostics
        self.curves: dict[str, Curve] = {}
        self.curve_instances: dict[str, Instance] = {}
        self.told_of_sides = character.sides_in_doubt
        self.context = Context(
            diagnostics,
            symbols,
            character.bound,
            character.outline,
            workspace,
            self.curves,
            "none",
            character.facts.span,
        )
        self.drafts: list[_Draft] = []
        self.expects: list[Instance] = []
        self.overriding: list[tuple[_Draft, Instance]] = []
        self._declare(instances)
        self._bind_curves(instances)
        self._collect_overrides(instances)

    # ---- names

    def _declare(self, instances: list[Instance]) -> None:
        for instance in self._until_stopped(instances):
            node, scope, _ = instance
            kind = kind_of(node)
            if kind == "expect":
                self.expects.append(instance)
            elif kind == "curve":
                assert isinstance(node, nodes.CurveDeclaration)
                name = scope.full_name(node.name)
                symbol = Symbol("curve", name, "none", instance.span, uses=scope.uses)
                if not is_written_again(symbol, scope, self.symbols):
                    self.symbols.declare(symbol)
            elif kind not in ("override", "character"):
                self._draft(kind, instance)

    def _until_stopped(self, items: Iterable[Item]) -> Iterator[Item]:
        return takewhile(lambda _: not self.diagnostics.stopped, items)

    def _draft(self, kind: str, instance: Instance) -> None:
        node, scope, _ = instance
        assert isinstance(node, nodes.Block | nodes.CombineDeclaration) and node.name is not None
        name = scope.full_name(node.name)
        side: ScopeSide = "none" if node.side is None else cast(ScopeSide, node.side)
        facts = collect(facts_of(node), scope, self.diagnostics)
        samples = tuple(fact.scope.name(fact.node.part("name")) for fact in facts.many("sample"))
        for sample in (name for name, times in Counter(samples).items() if times > 1):
            self.diagnostics.add("duplicate-name", instance.span, kind="sample", name=sample)
        bound = self.character.bound
        sided = self.context.has_sides or bound.unknown
        if side == "both" and not (sided or self.told_of_sides):
            self.told_of_sides = True  # once is enough: what is missing stands in the character
            self.diagnostics.add("no-sides", instance.span, name=name)
        draft = _Draft(kind, instance, name, side, facts, {})
        if has_unknown(name):  # its facts are bound all the same; whatever refers to such a name may mean this
            self.symbols.lost.add(kind, name)
            self.drafts.append(draft)
            return
        symbol = Symbol(kind, name, side, instance.span, samples, scope.uses, instance.is_whole)
        if not is_written_again(symbol, scope, self.symbols) and self.symbols.declare(symbol):
            self.drafts.append(draft)

    def _bind_curves(self, instances: list[Instance]) -> None:
        for instance in self._until_stopped(instances):
            node, scope, _ = instance
            if not isinstance(node, nodes.CurveDeclaration):
                continue
            if isinstance(node.curve, nodes.NamedCurve) and not node.curve.ready:
                self.diagnostics.add("curve-of-curve", scope.span(node.curve))
                continue
            curve = readings.bind_curve(node.curve, scope, self.context)
            if curve is not None:
                name = scope.full_name(node.name)
                self.curves[name] = curve
                self.curve_instances[name] = instance

    def _collect_overrides(self, instances: list[Instance]) -> None:
        drafts = {(draft.kind, draft.name, draft.side): draft for draft in self.drafts}
        for instance in self._until_stopped(instances):
            if isinstance(instance.node, nodes.Override):
                self._override(instance, drafts)

    def _override(self, instance: Instance, drafts: dict[tuple[str, str, ScopeSide], _Draft]) -> None:
        assert isinstance(instance.node, nodes.Override)
        target, scope = instance.node.target, instance.scope
        assert target.name is not None
        kind, name = kind_of(target), scope.name(target.name)
        for full_name in dict.fromkeys((scope.prefix + name, name)):
            for side in ("both", "none", target.side or "left", target.side or "right"):
                draft = drafts.get((kind, full_name, cast(ScopeSide, side)))
                if draft is not None:
                    self.symbols.uses.append(SymbolUse(NAMESPACES[kind], full_name, instance.span))
                    self._apply(draft, target, instance)
                    return
        if has_unknown(name) or self.symbols.lost.holds(NAMESPACES[kind], name):
            return
        if self.symbols.left is not None:
            self.symbols.left.note_name(NAMESPACES[kind], name, instance.span, None)
            return
        hint = self.diagnostics.near_hint(name, (draft.name for draft in self.drafts if draft.kind == kind))
        self.diagnostics.add("nothing-to-override", instance.span, kind=kind, name=name, hint=hint)

    def _apply(self, draft: _Draft, target: nodes.Block | nodes.CombineDeclaration, instance: Instance) -> None:
        side = target.side or "both"
        if draft.side != "both" and side not in ("both", draft.side):
            self.diagnostics.add("no-such-side", instance.span, name=draft.name, side=side)
            return
        facts = collect(facts_of(target), instance.scope, self.diagnostics)
        self.overriding.append((draft, instance))
        for one in ("left", "right") if side == "both" else (side,):
            before = draft.overrides.get(one)
            repeated = (before.groups & facts.groups) - ADDED if before else None
            if repeated:
                self.diagnostics.add("overridden-twice", instance.span, name=draft.name, fact=sorted(repeated)[0])
            draft.overrides.setdefault(one, FactSet({})).put_over(facts)

    # ---- entries

    def bound_entries(self) -> dict[str, list[Any]]:
        """Every declaration bound, by kind; those with mistakes are reported and left out."""
        entries: dict[str, list[Any]] = {kind: [] for kind in BINDERS}
        for draft in self._until_stopped(self.drafts):
            entry = self._entry(draft)
            if entry is not None:
                entries[draft.kind].append(entry)
        return entries

    def _entry(self, draft: _Draft) -> Entry[Any] | None:
        binder = BINDERS[draft.kind]
        context = self.context._replace(
            side=draft.side, span=draft.instance.span, name=draft.name, is_whole=draft.instance.is_whole
        )
        sets = {
            side: draft.base.with_override(draft.overrides[side]) if side in draft.overrides else draft.base
            for side in ("left", "right")
        }
        first = "right" if draft.side == "right" else "left"
        facts = binder(sets[first], context)
        other = facts
        if draft.side == "both" and (draft.overrides or facts is None):
            # Each side has facts of its own; what both share is reported once, because diagnostics are kept once.
            other = binder(sets["right"], context)
        if facts is None or other is None:
            return None
        declared = Declared(draft.name, draft.side, draft.instance.span)
        left = context.about(sets[first])
        right = context.about(sets["right"]) if draft.overrides else left
        overridden = draft.overrides["right"].groups if "right" in draft.overrides else frozenset[str]()
        return Entry(declared, facts, other, overridden, (left, right))

    def bound_expectations(self) -> list[ExpectationOf]:
        """Every expectation bound."""
        bound: list[ExpectationOf] = []
        for instance in self._until_stopped(self.expects):
            node, scope, _ = instance
            assert isinstance(node, nodes.Block)
            side: ScopeSide = "none" if node.side is None else cast(ScopeSide, node.side)
            context = self.context._replace(side=side, span=instance.span, is_whole=instance.is_whole)
            bound.extend(expectations.bind_expectations(collect(node.facts, scope, self.diagnostics), context))
        return bound

    # ---- what nothing refers to

    def report_unused(self) -> None:
        """Report declarations that nothing refers to."""
        for kind in ("region", "control", "detail", "curve"):
            for symbol in self.symbols.unused(kind):
                self.diagnostics.add("unused-name", symbol.span, kind=symbol.kind, name=symbol.name)
        has_outputs = any(draft.kind in ("shape", "fold") for draft in self.drafts)
        for symbol in self.symbols.unused("strength") if has_outputs else ():
            if symbol.kind != "field":
                self.diagnostics.add("unused-strength", symbol.span, kind=symbol.kind, name=symbol.name)

    def written(self, character: Instance) -> Iterator[WrittenDeclaration]:
        """All declarations, each with what overrides it."""
        if self.character.facts.name:
            yield WrittenDeclaration("character", self.character.facts.name, "none", character)
        overrides: dict[int, list[Instance]] = {}
        for draft, override in self.overriding:
            overrides.setdefault(id(draft), []).append(override)
        for draft in (one for one in self.drafts if not has_unknown(one.name)):
            yield WrittenDeclaration(
                draft.kind, draft.name, draft.side, draft.instance, tuple(overrides.get(id(draft), ()))
            )
        for instance in self.expects:
            yield WrittenDeclaration("expect", "", "none", instance)
        for name, instance in self.curve_instances.items():
            yield WrittenDeclaration("curve", name, "none", instance)

    def acceptances(self) -> tuple[Acceptance, ...]:
        """What the character and each declaration accept; an override accepts for itself and what it overrides."""
        accepted = self.character.facts.accepted
        result = [Acceptance(rule, at, None) for rule, at in accepted.items()]
        for instance in (*(draft.instance for draft in self.drafts), *self.expects):
            result += acceptances_of(instance, extent_of(instance))
        for draft, override in self.overriding:
            result += acceptances_of(override, extent_of(override), extent_of(draft.instance))
        return tuple(result)

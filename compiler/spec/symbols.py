"""The names of a spec: who declared what, and what a reference means."""

from __future__ import annotations

import re

from plica.curves import READY_CURVES
from plica.diagnostics import Diagnostics, Fix, Label
from plica.diagnostics.suggest import listed
from plica.named_tuples import NamedTuple
from plica.source import Span
from plica.spec.entries import EntryReference, ScopeSide
from plica.spec.library_alone import LeftToCharacters
from plica.spec.missing_sides import MissingSides
from plica.spec.scope import Scope, has_unknown
from plica.syntax import nodes

# Which names may not be the same: a driver, a combine and a field all name strengths.
NAMESPACES = {
    "driver": "strength",
    "combine": "strength",
    "field": "strength",
    "control": "control",
    "region": "region",
    "shape": "shape",
    "detail": "detail",
    "fold": "fold",
    "pose": "pose",
    "curve": "curve",
}
WITHOUT_NAMES = frozenset({"expect", "override", "parameter", "character"})
"""Declarations that others do not refer to by name, or that are not in the table of names."""

_PLACEHOLDER = re.compile(r"\{\w+\}")
_PLAIN = {"strength": "driver, combine or field"}


class Symbol(NamedTuple):
    """A declared name; `uses`: through which uses of libraries. `is_whole`: whether all its facts were understood."""

    kind: str
    name: str
    side: ScopeSide
    span: Span
    samples: tuple[str, ...] = ()
    uses: tuple[Span, ...] = ()
    is_whole: bool = True


class SymbolUse(NamedTuple):
    """A place that refers to a name: the name's namespace, the whole name that was meant, and where it is written."""

    namespace: str
    name: str
    span: Span


class LostNames:
    """Names that may be declared by what was not understood; of what refers to them nothing more is said.

    A placeholder in such a name stands for any text, and before the name may stand the prefix of a library.
    """

    def __init__(self) -> None:
        self._anything = False
        self._patterns: dict[str, list[re.Pattern[str]]] = {}
        self._texts: dict[str, list[str]] = {}

    def add(self, kind: str, name: str) -> None:
        """A declaration of this kind and name was not understood; "" for what cannot be told of them."""
        if kind in WITHOUT_NAMES:
            return
        if not (name or kind):
            self._anything = True
            return
        parts = _PLACEHOLDER.split(name) if name else ("", "")
        pattern = re.compile(r"(?:\w+_)?" + r"\w+".join(map(re.escape, parts)))
        self._patterns.setdefault(NAMESPACES.get(kind, ""), []).append(pattern)
        self._texts.setdefault(NAMESPACES.get(kind, ""), []).append(name)

    def holds(self, namespace: str, name: str) -> bool:
        """Whether a name may be one of them."""
        patterns = (*self._patterns.get(namespace, ()), *self._patterns.get("", ()))
        return self._anything or any(pattern.fullmatch(name) for pattern in patterns)

    def texts(self, namespace: str) -> list[str]:
        """These names as they are written, for what a reference with the same placeholders means."""
        return self._texts.get(namespace, [])


def _masked(name: str) -> str:
    """A name with all placeholders alike: families may call their variables differently."""
    return _PLACEHOLDER.sub("{}", name)


class Symbols:
    """All declared names, and which of them something refers to.

    `uses` lists every reference that was found, in the order of binding; a declaration that is written out several
    times is in it as often. `left`: in a library by itself, what it leaves to the characters that use it.
    """

    def __init__(self, diagnostics: Diagnostics, left: LeftToCharacters | None = None) -> None:
        self.left = left
        self._diagnostics = diagnostics
        self._table: dict[str, dict[str, list[Symbol]]] = {}
        self._used: set[tuple[str, str]] = set()
        self.uses: list[SymbolUse] = []
        self.lost = LostNames()
        self.missing_sides = MissingSides()

    def declare(self, symbol: Symbol) -> bool:
        """Add a name; False, and a diagnostic, where it is taken."""
        names = self._table.setdefault(NAMESPACES[symbol.kind], {})
        known = names.setdefault(symbol.name, [])
        for other in known:
            if other.side == symbol.side or "both" in (other.side, symbol.side) or "none" in (
                other.side,
                symbol.side,
            ):  # fmt: skip
                label = Label(other.span, "first declared here")
                self._diagnostics.add("duplicate-name", symbol.span, kind=symbol.kind, name=symbol.name, labels=[label])
                return False
        known.append(symbol)
        return True

    def lookup(self, namespace: str, name: str) -> list[Symbol]:
        """The symbols of a name: one, or a left and a right one."""
        return self._table.get(namespace, {}).get(name, [])

    def named(self, symbol: Symbol) -> list[Symbol]:
        """The symbols with which a new one would share its name."""
        return self.lookup(NAMESPACES[symbol.kind], symbol.name)

    def names(self, namespace: str) -> list[str]:
        """All names of a namespace."""
        return list(self._table.get(namespace, {}))

    @property
    def declared(self) -> list[Symbol]:
        """All declared names."""
        return [symbol for names in self._table.values() for symbols in names.values() for symbol in symbols]

    def unused(self, namespace: str) -> list[Symbol]:
        """The symbols that nothing refers to."""
        return [
            symbol
            for name, symbols in self._table.get(namespace, {}).items()
            for symbol in symbols
            if (namespace, name) not in self._used
        ]

    def find(self, namespace: str, node: nodes.Name, scope: Scope) -> list[Symbol]:
        """What a name means in a scope: the library's own first; a diagnostic where nothing has that name."""
        name = scope.name(node)
        for candidate in dict.fromkeys((scope.prefix + name, name)):
            symbols = self.lookup(namespace, candidate)
            if symbols:
                self._used.add((namespace, candidate))
                self.uses.append(SymbolUse(namespace, candidate, scope.span(node)))
                return symbols
        if self._diagnostics.stopped or self.lost.holds(namespace, name):
            return []
        if self.left is not None:
            own = [known.removeprefix(scope.prefix) for known in (*self.names(namespace), *self.lost.texts(namespace))]
            if _masked(name) not in map(_masked, own):
                self.left.note_name(namespace, name, scope.span(node), self._diagnostics.near(name, own))
            return []
        if has_unknown(name):
            return []
        self._report_unknown(namespace, name, node, scope)
        return []

    def _report_unknown(self, namespace: str, name: str, node: nodes.Name, scope: Scope) -> None:
        span, labels = scope.blame(node.text, node)
        literal = "{" not in node.text or span != scope.span(node)
        known = [*self._table.get(namespace, {}), *(READY_CURVES if namespace == "curve" else ())]
        near = self._diagnostics.near(name, known)
        elsewhere = next((other for other in self._table if self.lookup(other, name)), None)
        hint = None
        if near:
            hint = f"did you mean `{near}`?"
        elif elsewhere:
            hint = f"there is a {_PLAIN.get(elsewhere, elsewhere)} of that name, but a {namespace} is wanted here"
        self._diagnostics.add_once(
            "unknown-name",
            span,
            kind=_PLAIN.get(namespace, namespace),
            name=name,
            hint=hint or listed(_PLAIN.get(namespace, namespace), known),
            labels=labels,
            fix=Fix(span, near) if near and literal else None,
        )

    def target(
        self, reference: nodes.Reference, namespace: str, scope: Scope, side: ScopeSide, name: str, at: Span
    ) -> EntryReference | None:
        """What a reference means that stands in a declaration of this side and name, declared `at`."""
        symbols = self.find(namespace, reference.name, scope)
        if not symbols:
            return None
        meant = symbols[0].name
        member = None
        if reference.member is not None or symbols[0].kind == "field":
            member = self._member(reference, symbols[0], scope)
            if member is None:
                return None
        sides = {symbol.side for symbol in symbols}
        two_sided = "both" in sides or sides == {"left", "right"}
        if reference.side is not None:
            return self._stated_side(reference, meant, sides, two_sided, member, scope)
        if sides == {"none"}:
            return EntryReference(meant, "none", member)
        if not two_sided:
            return EntryReference(meant, symbols[0].side, member)  # type: ignore[arg-type]  # left or right by now
        if side == "none":
            self.missing_sides.note_needed("side-needed", meant, scope.span(reference), name, at)
            return None
        return EntryReference(meant, "same", member)

    def _stated_side(
        self,
        reference: nodes.Reference,
        name: str,
        sides: set[ScopeSide],
        two_sided: bool,
        member: str | None,
        scope: Scope,
    ) -> EntryReference | None:
        if sides == {"none"} or not (two_sided or reference.side in sides):
            self.missing_sides.note_none(name, scope.span(reference), reference.side or "")
            return None
        return EntryReference(name, "left" if reference.side == "left" else "right", member)

    def _member(self, reference: nodes.Reference, symbol: Symbol, scope: Scope) -> str | None:
        """The sample that is meant, or None after a diagnostic."""
        if reference.member is None:
            samples = ", ".join(f"{symbol.name}.{sample}" for sample in symbol.samples[:20])
            self._diagnostics.add("sample-needed", scope.span(reference), name=symbol.name, samples=samples)
            return None
        if symbol.kind != "field":
            self._diagnostics.add("no-samples", scope.span(reference.member), name=symbol.name, kind=symbol.kind)
            return None
        member = scope.name(reference.member)
        if member not in symbol.samples:
            if has_unknown(member) or not symbol.is_whole:
                return None
            near = self._diagnostics.near(member, symbol.samples)
            self._diagnostics.add(
                "unknown-name",
                scope.span(reference.member),
                kind=f"sample of `{symbol.name}`",
                name=member,
                hint=f"did you mean `{near}`?" if near else listed("sample", symbol.samples),
            )
            return None
        return member

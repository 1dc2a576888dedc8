"""What was written for an entry, piece by piece: its facts, overrides, arguments and shared curves, in every file.

A change is shown at the piece that was changed: what a library's declaration means for a character may stand in the
character's own `use`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple, assert_never

from plica.source import Source, Span
from plica.syntax import nodes

if TYPE_CHECKING:
    from plica.spec.bind import WrittenDeclaration
    from plica.spec.instances import Instance
    from plica.spec.scope import ScopeVariable

_TOKENS = re.compile(r'"(?:[^"\\\n]++|\\.)*+"|//[^\n]*+|[\w.%{}]++|[^\s\w]')
_SIDE = re.compile(r" (?:both|left|right)$")
_NAMES = re.compile(r"\w+")
_PLACEHOLDERS = re.compile(r"\{(\w+)\}")
_OF_SAMPLES: Final = "sample"
_OF_THE_CHARACTER: Final = frozenset({"joint", "joints", "names", "alias", "character", "rig"})


class Piece(NamedTuple):
    """A stretch of text that says one thing, and its words without comments and layout.

    `of`: the declaration that it stands in, as written (`driver {finger}_base both`); empty for the file itself.
    `is_head`: it says what is declared, and no fact of it.
    """

    span: Span
    words: str
    of: str = ""
    is_head: bool = False

    @property
    def said(self) -> tuple[str, str]:
        """What is said, and of which declaration, whatever sides that is for."""
        return _SIDE.sub("", self.of), self.words

    @property
    def shown(self) -> str:
        """Its text on one line, after the declaration that it stands in."""
        text = " ".join(self.span.source.text[self.span.start : self.span.end].split())
        return text if not self.of or text.startswith(self.of) else f"{self.of}: {text}"

    @property
    def lines(self) -> range:
        """The lines that it stands on, from 1."""
        first, _ = self.span.source.line_and_column(self.span.start)
        last, _ = self.span.source.line_and_column(max(self.span.start, self.span.end - 1))
        return range(first, last + 1)


def words_of(text: str) -> str:
    """A text's words, one blank between them, without comments."""
    found = (match[0] for match in _TOKENS.finditer(text))
    return " ".join(word for word in found if not word.startswith("//"))


# ---- pieces of a text ------------------------------------------------------------------------------------


def pieces_of(document: nodes.Document) -> Iterator[Piece]:
    """Everything that a text says, piece by piece, in its order; comments are no pieces."""
    for node in document.declarations:
        yield from _pieces(node, document.source)


def _pieces(node: nodes.Declaration, source: Source) -> Iterator[Piece]:
    match node:
        case nodes.Each():
            yield _piece(source, node.head.start, node.head.end, "", trimmed=True)
            for inner in node.declarations:
                yield from _pieces(inner, source)
        case nodes.UseLibrary():
            yield use_head(source, node)
            yield from (_piece(source, one.start, one.end, "") for one in node.arguments)
        case nodes.Block() | nodes.CombineDeclaration() | nodes.Override():
            yield from declaration_pieces(node, source)
        case nodes.CurveDeclaration() | nodes.Parameter():
            yield _piece(source, node.start, node.end, "")
        case _:
            assert_never(node)


def use_head(source: Source, node: nodes.UseLibrary) -> Piece:
    """What a `use` says without its arguments."""
    end = (node.prefix or node.path).end
    return _piece(source, node.start, end, "")


def declaration_pieces(
    node: nodes.Block | nodes.CombineDeclaration | nodes.Override, source: Source
) -> Iterator[Piece]:
    """The head of a declaration and its facts; joints of a skeleton one by one."""
    target = node.target if isinstance(node, nodes.Override) else node
    facts = target.facts
    head = _piece(source, node.start, facts[0].start if facts else node.end, "", trimmed=True)
    title = title_of(node)
    yield head._replace(of=title, is_head=True)
    for fact in facts:
        if fact.key == "skeleton":
            yield from (_piece(source, joint.start, joint.end, title) for joint in fact.part("joints"))
        else:
            yield _piece(source, fact.start, fact.end, title)


def title_of(node: nodes.Block | nodes.CombineDeclaration | nodes.CurveDeclaration | nodes.Override) -> str:
    """`driver elbow both`, as it is written."""
    if isinstance(node, nodes.CurveDeclaration):
        return f"curve {node.name.text}"
    if isinstance(node, nodes.Override):
        return f"override {title_of(node.target)}"
    if isinstance(node, nodes.CombineDeclaration):
        return " ".join(word for word in ("combine", node.name.text, node.side) if word)
    name = node.name.text if node.name is not None else None
    return " ".join(word for word in (node.kind, name, node.side) if word)


def piece_at(span: Span) -> Piece:
    """The piece at a place."""
    return _piece(*span, "")


def _piece(source: Source, start: int, end: int, of: str, trimmed: bool = False) -> Piece:
    """The piece between two offsets; `trimmed`: up to its last word, without braces and comments after it."""
    if trimmed:
        words = _TOKENS.finditer(source.text, start, end)
        end = max((word.end() for word in words if word[0].strip("{}")[:2] not in ("", "//")), default=end)
    return Piece(Span(source, start, end), words_of(source.text[start:end]), of)


# ---- pieces that an entry is made of ---------------------------------------------------------------------


class AcceptedFact(NamedTuple):
    """A rule that is accepted, why, and where that stands."""

    rule: str
    reason: str
    at: Span


class EntryPieces(NamedTuple):
    """The pieces that an entry is made of, by where they stand.

    `own`: of its declaration, the head first; `overrides`: what overrides it on its side; `around`: arguments,
    families, shared curves and parameters that it uses, and the `use` of its library; `character`: what the character
    says, which any entry may depend on.
    """

    own: tuple[Piece, ...] = ()
    overrides: tuple[Piece, ...] = ()
    around: tuple[Piece, ...] = ()
    character: tuple[Piece, ...] = ()


class Writing:
    """All that was written for one state of a character."""

    def __init__(self, documents: Sequence[nodes.Document] = (), written: Iterable[WrittenDeclaration] = ()) -> None:
        self.documents = tuple(documents)
        self.written = tuple(written)
        self._parameters: dict[tuple[int, int], Piece] = {}
        self._uses: dict[tuple[int, int], Piece] = {}
        for document in self.documents:
            self._note(document.declarations, document.source)
        self._named: dict[tuple[str, str], list[WrittenDeclaration]] = {}
        for one in self.written:
            self._named.setdefault((one.kind, one.name), []).append(one)
        self._curves = {one.name: one.instance for one in self.written if one.kind == "curve"}

    def _note(self, declarations: Iterable[nodes.Declaration], source: Source) -> None:
        for node in declarations:
            if isinstance(node, nodes.Parameter):
                self._parameters[id(source), node.name.start] = _piece(source, node.start, node.end, "")
            elif isinstance(node, nodes.UseLibrary):
                self._uses[id(source), node.start] = use_head(source, node)
            elif isinstance(node, nodes.Each):
                self._note(node.declarations, source)

    @cached_property
    def accepts(self) -> dict[str, AcceptedFact]:
        """The rules that are accepted, by the rule and what it is accepted for, as written: once for a family."""
        found: dict[str, AcceptedFact] = {}
        for one in self.written:
            for instance in (one.instance, *one.overrides):
                for fact in _facts_of(instance):
                    if fact.key == "accept":
                        of = "" if one.kind == "character" else title_of(instance.node)
                        rule, reason = str(fact.part("rule")), fact.part("reason").text
                        key = f"{rule} of {of}" if of else rule
                        found.setdefault(key, AcceptedFact(rule, reason, instance.scope.span(fact)))
        return found

    def naming(self, file: str) -> Piece | None:
        """The first piece that names a file."""
        wanted = f'"{file}"'
        return next(
            (piece for document in self.documents for piece in pieces_of(document) if wanted in piece.words), None
        )

    @property
    def character(self) -> tuple[Piece, ...]:
        """What the character's own declaration says."""
        for one in self.written:
            if one.kind == "character":
                return tuple(_of_instance(one.instance))
        return ()

    def of(self, kind: str, declared: str, side: str) -> EntryPieces:
        """The pieces of an entry: its kind, its declared name, its side."""
        if kind in _OF_THE_CHARACTER:
            return EntryPieces(character=self.character)
        kind, name = ("field", declared.split(".")[0]) if kind == _OF_SAMPLES else (kind, declared)
        found = self._named.get(("shape" if kind == "offsets" else kind, name), ())
        one = next((one for one in found if one.side in ("both", "none", side)), None)
        return EntryPieces(character=self.character) if one is None else self._pieces(one, side)

    def of_expectation(self, at: Span) -> EntryPieces:
        """The pieces of the expectation that is written at a place."""
        for one in self.written:
            node = one.instance.node
            inside = one.instance.scope.source is at.source and node.start <= at.start < node.end
            if one.kind == "expect" and inside:
                whole = self._pieces(one, "none")
                assert isinstance(node, nodes.Block)
                others = {fact.start for fact in node.facts if fact.key.startswith("expect_")} - {at.start}
                return whole._replace(own=tuple(piece for piece in whole.own if piece.span.start not in others))
        return EntryPieces(character=self.character)

    def _pieces(self, one: WrittenDeclaration, side: str) -> EntryPieces:
        overrides = [item for item in one.overrides if _side_of(item) in ("both", side) or side == "none"]
        around: dict[Piece, None] = {}
        for instance in (one.instance, *overrides):
            around |= dict.fromkeys(self._around(instance))
        return EntryPieces(
            tuple(_of_instance(one.instance)),
            tuple(piece for item in overrides for piece in _of_instance(item)),
            tuple(around),
            self.character,
        )

    def _around(self, instance: Instance) -> Iterator[Piece]:
        node, scope, _ = instance
        text = scope.source.text[node.start : node.end]
        words = set(_NAMES.findall(text))
        for name in words & self._curves.keys():
            yield from self._around_curve(self._curves[name])
        for prefixed in {f"{scope.prefix}{word}" for word in words} & self._curves.keys() if scope.prefix else ():
            yield from self._around_curve(self._curves[prefixed])
        yield from self._variables(_PLACEHOLDERS.findall(text), scope.variables, set())
        for use in scope.uses:
            if (piece := self._uses.get((id(use.source), use.start))) is not None:
                yield piece

    def _around_curve(self, instance: Instance) -> Iterator[Piece]:
        node, scope, _ = instance
        yield _piece(scope.source, node.start, node.end, "")
        names = _PLACEHOLDERS.findall(scope.source.text[node.start : node.end])
        yield from self._variables(names, scope.variables, set())

    def _variables(
        self, names: Iterable[str], variables: Mapping[str, ScopeVariable], met: set[Span]
    ) -> Iterator[Piece]:
        """What gave variables their values; in turn what gave those theirs that such a value is made of."""
        for word in dict.fromkeys(names):
            variable = variables.get(word)
            if variable is None or variable.given in met:
                continue
            given = variable.given
            met.add(given)
            default = self._parameters.get((id(given.source), given.start)) if given == variable.span else None
            piece = default or _piece(given.source, given.start, given.end, "", trimmed=True)
            yield piece
            inner = given.source.text[piece.span.start : piece.span.end]
            yield from self._variables(_NAMES.findall(inner), variable.around or variables, met)


def _of_instance(instance: Instance) -> Iterator[Piece]:
    node = instance.node
    if not isinstance(node, nodes.CurveDeclaration):
        yield from declaration_pieces(node, instance.scope.source)


def _facts_of(instance: Instance) -> tuple[nodes.Fact, ...]:
    node = instance.node.target if isinstance(instance.node, nodes.Override) else instance.node
    return () if isinstance(node, nodes.CurveDeclaration) else node.facts


def _side_of(instance: Instance) -> str:
    node = instance.node
    target = node.target if isinstance(node, nodes.Override) else node
    return getattr(target, "side", None) or "both"


NOTHING_WRITTEN: Final = Writing()

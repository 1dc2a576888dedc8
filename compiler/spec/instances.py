"""Writes out libraries and families: from documents to a flat list of declarations, each with its scope."""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Iterable, Iterator, MutableMapping
from pathlib import Path
from posixpath import dirname, join, normpath
from typing import cast

from plica.diagnostics import Diagnostics, Fix, Label
from plica.named_tuples import NamedTuple
from plica.source import Source, Span
from plica.spec.budget import Budget
from plica.spec.named_files import report_refused
from plica.spec.scope import Scope, ScopeVariable, Values, Variables, as_written, has_unknown, is_unfilled
from plica.syntax import nodes
from plica.syntax.sharing import parsed_library
from plica.workspace import Refused, Workspace

MAX_DEPTH = 32
COST_OF_A_USE = 1000  # characters, counted also of a library that holds nothing


class Instance(NamedTuple):
    """A declaration as it stands in one place of one family.

    left_out: the words of lines in it that could not be understood; None where all of it was.
    """

    node: nodes.Block | nodes.CombineDeclaration | nodes.CurveDeclaration | nodes.Override
    scope: Scope
    left_out: tuple[str, ...] | None = None

    @property
    def is_whole(self) -> bool:
        """Whether everything in it was understood."""
        return self.left_out is None

    @property
    def span(self) -> Span:
        """The place of the declaration's name, or of its keyword."""
        target = self.node.target if isinstance(self.node, nodes.Override) else self.node
        return self.scope.span(target.name) if target.name is not None else self.head

    @property
    def head(self) -> Span:
        """The place of the declaration's first word."""
        source = self.scope.source
        end = source.text.find(" ", self.node.start)
        return Span(source, self.node.start, min(end if end > 0 else self.node.end, self.node.end))


class _Given(NamedTuple):
    """A value and where it is written."""

    value: nodes.Value
    place: Span


class Flattener:
    """Walks documents and collects their declarations; one per run.

    by_itself: the document is a library that no character uses here, whose parameters may have no value. lost: kinds
    and names of declarations that were not understood, "" for what cannot be told.
    """

    def __init__(
        self, workspace: Workspace | None, diagnostics: Diagnostics, budget: Budget, *, by_itself: bool = False
    ) -> None:
        self.by_itself = by_itself
        self.workspace = workspace
        self.diagnostics = diagnostics
        self.budget = budget
        self.instances: list[Instance] = []
        self.documents: list[nodes.Document] = []
        self.lost: dict[tuple[str, str], None] = {}
        self._left_out: dict[tuple[Source, int], tuple[str, ...]] = {}
        self._located: dict[tuple[Path | None, str], Path | Refused] = {}
        self._parsed: dict[Path, nodes.Document] = {}
        self._variables: list[tuple[str, str, ScopeVariable]] = []

    def flatten(self, document: nodes.Document, folder: Path | None) -> list[Instance]:
        """All declarations of a document and of the libraries that it uses."""
        self.documents.append(document)
        variables = self._parameters(document, {}, None)
        scope = Scope(document.source, variables, "", self.diagnostics, self.budget)
        self._note_lost(document, folder)
        self._walk(document.declarations, scope, folder, ())
        return self.instances

    def _walk(
        self,
        declarations: tuple[nodes.Declaration, ...],
        scope: Scope,
        folder: Path | None,
        trail: tuple[Path | str, ...],
    ) -> None:
        for node in declarations:
            # What is inside an `each` is counted for each of its rounds.
            written = node.head if isinstance(node, nodes.Each) else node
            if self.diagnostics.stopped or not self.budget.spend(written.end - written.start, scope.span(written)):
                return
            if isinstance(node, nodes.Each):
                self._each(node, scope, folder, trail)
            elif isinstance(node, nodes.UseLibrary):
                self._use(node, scope, folder, trail)
            elif not isinstance(node, nodes.Parameter):
                left_out = self._left_out.get((scope.source, node.start)) if self._left_out else None
                self.instances.append(Instance(node, scope, left_out))

    def _each(self, node: nodes.Each, scope: Scope, folder: Path | None, trail: tuple[Path | str, ...]) -> None:
        span = scope.span(node.head)
        if len(trail) >= MAX_DEPTH:
            self.diagnostics.add("nested-too-deeply", span, most=MAX_DEPTH)
            return
        name = node.head.name.text
        if name in scope.variables:
            shadowed = Label(scope.variables[name].span, "the outer one")
            self.diagnostics.add("shadowed-name", scope.span(node.head.name), name=name, labels=[shadowed])
        used = [False]
        if not node.head.values or self._is_misspelt(node.head, scope):  # it was not understood
            unknown = ScopeVariable((), scope.span(node.head.name), span, used, known=False)
            self._walk(
                node.declarations,
                scope._replace(variables=_with(scope.variables, name, unknown)),
                folder,
                (*trail, name),
            )
            return
        values = self._distinct(node.head.values, self._values(node.head.values, scope), scope)
        for position, (value, place) in enumerate(values):
            if self.diagnostics.stopped:
                return
            variable = ScopeVariable(
                (value,),
                scope.span(node.head.name),
                scope.span(node.head),
                used,
                places=(place,),
                known=not is_unfilled(value),
            )
            inner = scope._replace(variables=_with(scope.variables, name, variable))
            if position == 0:
                self._variables.append(("unused-variable", name, variable))
            self._walk(node.declarations, inner, folder, (*trail, name))

    def _is_misspelt(self, head: nodes.EachHead, scope: Scope) -> bool:
        """Whether an `each` goes through one plain word that is nearly the name of a list; then with a diagnostic."""
        value = head.values[0]
        if len(head.values) > 1 or not isinstance(value, nodes.Name) or "{" in value.text:
            return False
        near = None if value.text in scope.variables else self.diagnostics.near(value.text, scope.variables)
        if near is None:
            return False
        hint, fix = f"did you mean `{near}`?", Fix(scope.span(value), near)
        self.diagnostics.add_once("unknown-placeholder", scope.span(value), hint=hint, fix=fix, name=value.text)
        scope.variables[near].used[0] = True
        return True

    def _distinct(self, written: Values, values: Iterable[_Given], scope: Scope) -> tuple[_Given, ...]:
        """The values, each once; a repeated one is reported."""
        seen: dict[str, _Given] = {}
        for given in values:
            text = as_written(given.value)
            if text in seen:
                self.diagnostics.add("repeated-value", scope.span(written[0]), value=text)
            seen.setdefault(text, given)
        return tuple(seen.values())

    def _use(self, node: nodes.UseLibrary, scope: Scope, folder: Path | None, trail: tuple[Path | str, ...]) -> None:
        span = scope.span(node.path)
        document, path = self._document(node, scope, folder)
        if document is None or path is None or not self.budget.spend(COST_OF_A_USE, span):
            return
        if path in trail:
            self.diagnostics.add("use-cycle", span, file=node.path.text)
            return
        if len(trail) >= MAX_DEPTH:
            self.diagnostics.add("nested-too-deeply", span, most=MAX_DEPTH)
            return
        arguments = {argument.name.text: self._argument(argument, scope) for argument in node.arguments}
        first: dict[str, nodes.Argument] = {}
        for argument in node.arguments:
            if first.setdefault(argument.name.text, argument) is not argument:
                labels = [Label(scope.span(first[argument.name.text]), "the first one")]
                place = scope.span(argument)
                self.diagnostics.add("duplicate-fact", place, fact=argument.name.text, labels=labels)
        variables = self._parameters(document, arguments, span)
        prefix = scope.prefix
        if node.prefix is not None:
            prefix = scope.fitting(f"{prefix}{scope.name(node.prefix)}_", node.prefix)
        uses = (*scope.uses, scope.span(node))
        inner = Scope(document.source, variables, prefix, self.diagnostics, self.budget, uses)
        self._note_lost(document, path.parent)
        self._walk(document.declarations, inner, path.parent, (*trail, path))

    def _argument(self, argument: nodes.Argument, scope: Scope) -> ScopeVariable:
        return _variable(
            self._values(argument.values, scope), scope.span(argument.name), scope.span(argument), scope.variables
        )

    def _document(
        self, node: nodes.UseLibrary, scope: Scope, folder: Path | None
    ) -> tuple[nodes.Document | None, Path | None]:
        """The library that a `use` names, parsed once however often it is used."""
        span = scope.span(node.path)
        text = scope.fill(node.path.text, node.path)
        if self.workspace is None:
            self.diagnostics.add("missing-file", span, file=text, reason="this text is not in a folder")
            return None, None
        if (folder, text) not in self._located:
            self._located[folder, text] = self.workspace.locate(text, folder)
        path = self._located[folder, text]
        if isinstance(path, Refused):
            if self.by_itself and path.name == "file-outside":
                self.lost["", ""] = None  # a character in a folder above may use it
            elif not has_unknown(text):
                report_refused(path, text, span, self.diagnostics, self.workspace, folder)
            return None, None
        if path not in self._parsed:
            content = self.workspace.read_text(path, text)
            if isinstance(content, Refused):
                self.diagnostics.add_filled(content.name, span, content.values)
                return None, None
            shown = normpath(join(dirname(scope.source.path), text.replace("\\", "/")))
            self._parsed[path] = parsed_library(shown, content, self.diagnostics)
            self.documents.append(self._parsed[path])
        return self._parsed[path], path

    def _note_lost(self, document: nodes.Document, folder: Path | None) -> None:
        """Note what a document does not hold because it was not understood; of a `use`, what its library declares."""
        for part in document.left_out:
            self._left_out[document.source, part.start] = part.words
        for one in document.lost:
            names = self._names_in(one.name, folder) if one.kind == "use" else ((one.kind, one.name),)
            self.lost.update(dict.fromkeys(names))

    def _names_in(self, file: str, folder: Path | None) -> Iterable[tuple[str, str]]:
        """Kinds and names of what a library declares; what stands for any where that cannot be told."""
        path = None if self.workspace is None else self.workspace.locate(file, folder)
        if self.workspace is None or not isinstance(path, Path):
            return (("", ""),)
        content = self.workspace.read_text(path, file)
        if isinstance(content, Refused):
            return (("", ""),)
        document = parsed_library(
            path.as_posix(), content, Diagnostics()
        )  # whose mistakes wait for the use to be whole
        return (*declared_names(document.declarations), *((lost.kind, lost.name) for lost in document.lost))

    def _parameters(
        self, document: nodes.Document, arguments: dict[str, ScopeVariable], use: Span | None
    ) -> dict[str, ScopeVariable]:
        """The variables of a library: its parameters, as given or by default."""
        declared: dict[str, ScopeVariable] = {}
        scope = Scope(document.source, declared, "", self.diagnostics, self.budget)
        for node in document.declarations:
            if not isinstance(node, nodes.Parameter):
                continue
            if self.diagnostics.stopped:
                return declared
            name, span = node.name.text.strip("{}"), document.span(node.name)
            if name != node.name.text:
                fix = Fix(span, name)
                self.diagnostics.add("not-a-name", span, hint=f"write `{name}`", fix=fix, text=node.name.text)
            if name in declared:
                label = Label(declared[name].span, "first declared here")
                self.diagnostics.add("duplicate-name", span, kind="parameter", name=name, labels=[label])
            given = arguments.get(name)
            if given is None and node.values is None:
                if use is not None or not self.by_itself:
                    self.diagnostics.add("missing-argument", use or span, name=name)
                given = ScopeVariable((), span, span, [True], known=False)
            if given is None:
                declared[name] = _variable(self._values(node.values or (), scope), span, span, declared)
            else:
                declared[name] = given._replace(span=span, used=[False])
            self._variables.append(("unused-parameter", name, declared[name]))
        for lost in document.lost:
            if lost.name not in declared and lost.kind in ("parameter", ""):
                place = Span(document.source, lost.start, lost.end)
                declared[lost.name] = ScopeVariable((), place, place, [True], known=False)
        for name, argument in arguments.items():
            if name not in declared:
                hint = self.diagnostics.near_hint(name, declared)
                self.diagnostics.add("unknown-argument", argument.span, name=name, hint=hint)
        return declared

    def _values(self, values: Values, scope: Scope) -> tuple[_Given, ...]:
        """A list of values with variables put in and ranges counted out, and where each is written."""
        written: list[_Given] = []
        for value in values:
            for one in self._value(value, scope):
                if not self.budget.spend(_length(one.value), scope.span(value)):
                    return ()
                written.append(one)
        return tuple(written)

    def _value(self, value: nodes.Value, scope: Scope) -> Iterator[_Given]:
        place = scope.span(value)
        if isinstance(value, nodes.ValueRange):
            yield from (_Given(one, place) for one in self._counted(value, scope))
        elif isinstance(value, nodes.Name):
            bare = value.text[1:-1] if value.text.startswith("{") and value.text.endswith("}") else value.text
            variable = scope.variables.get(bare)
            if variable is not None:
                variable.used[0] = True
                if not variable.known:
                    yield _Given(value._replace(text=f"{{{bare}}}"), place)
                yield from map(_Given, variable.values, variable.places)
            else:
                yield _Given(value._replace(text=scope.fill(value.text, value)), place)
        elif isinstance(value, nodes.Text):
            yield _Given(value._replace(text=scope.fill(value.text, value)), place)
        else:
            yield _Given(value, place)

    def _counted(self, value: nodes.ValueRange, scope: Scope) -> Iterator[nodes.Value]:
        ends = []
        for end in (value.first, value.last):
            if not isinstance(end, nodes.Quantity) or end.unit or not end.number.is_integer():
                self.diagnostics.add("not-a-count", scope.span(value))
                return
            ends.append(int(end.number))
        first, last = ends
        if not 0 <= last - first < 1000:
            self.diagnostics.add("not-a-count", scope.span(value))
            return
        for number in range(first, last + 1):
            yield nodes.Quantity(float(number), "", value.start, value.end)

    def report_unused(self) -> None:
        """Report variables that nothing used; to be called when every name and value was bound."""
        for rule, name, variable in self._variables:
            if not variable.used[0]:
                self.diagnostics.add(rule, variable.span, name=name)


def declared_names(declarations: Iterable[nodes.Declaration]) -> Iterator[tuple[str, str]]:
    """Kinds and names, as written, of declarations; of another library's names none can be told."""
    for node in declarations:
        if isinstance(node, nodes.Each):
            yield from declared_names(node.declarations)
        elif isinstance(node, nodes.UseLibrary):
            yield "", ""
        elif isinstance(node, nodes.Block):
            yield node.kind, node.name.text if node.name is not None else ""
        elif isinstance(node, nodes.CombineDeclaration | nodes.CurveDeclaration):
            yield "combine" if isinstance(node, nodes.CombineDeclaration) else "curve", node.name.text


def _with(variables: Variables, name: str, variable: ScopeVariable) -> Variables:
    """The variables and one more, without a copy of them for each round."""
    around = variables.maps if isinstance(variables, ChainMap) else [variables]
    own: list[Variables] = [{name: variable}, *around]
    return ChainMap(*cast("list[MutableMapping[str, ScopeVariable]]", own))


def _variable(given: tuple[_Given, ...], span: Span, written: Span, around: Variables) -> ScopeVariable:
    values, places = tuple(one.value for one in given), tuple(one.place for one in given)
    known = not any(is_unfilled(value) for value in values)
    return ScopeVariable(values, span, written, [False], around, places, known)


def _length(value: nodes.Value) -> int:
    return len(value.text) if isinstance(value, nodes.Name | nodes.Text) else 0

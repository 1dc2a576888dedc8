"""Parameters and `each` variables: where they are declared, and where they are written, in braces or bare."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from os.path import normpath
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.source import Source, Span
from plica.syntax import nodes
from plica.syntax.builder import decode_text
from plica.syntax.lexer import Token
from plica.syntax.parser import parse
from plica.syntax.recovery import blanked

_PLACEHOLDER = re.compile(r"\{([^\W\d]\w*)\}")
_NAME = re.compile(r"[^\W\d]\w*")

_PARAMETER = re.compile(r"^[ \t]*parameter[ \t]+([^\W\d]\w*)", re.MULTILINE)
_EACH = re.compile(r"(?<!\w)each[ \t]+([^\W\d]\w*)[ \t]+in(?!\w)")

Declaring = nodes.Parameter | nodes.Each


class EditorVariable(NamedTuple):
    """A parameter or an `each` variable of a document."""

    document: nodes.Document
    node: Declaring

    @property
    def name(self) -> str:
        """Its name."""
        return _name(self.node).text

    @property
    def is_parameter(self) -> bool:
        """Whether those who use the library give its value."""
        return isinstance(self.node, nodes.Parameter)

    @property
    def values(self) -> str:
        """Its values as they are written; of a parameter those that it has by default."""
        node = self.node
        return _written(self.document, (node.values if isinstance(node, nodes.Parameter) else node.head.values) or ())

    @property
    def place(self) -> Span:
        """Where it is declared."""
        return self.document.span(_name(self.node))


class VariablePlace(NamedTuple):
    """A place at which a variable is written, without braces."""

    node: Declaring
    start: int
    end: int


def variable_at(document: nodes.Document, others: tuple[nodes.Document, ...], offset: int) -> EditorVariable | None:
    """The variable that is declared, written, or given a value at an offset; `others` are where libraries are found."""
    for use in variable_places(document):
        if use.start <= offset <= use.end:
            return EditorVariable(document, use.node)
    for argument, library in _arguments(document, others):
        if argument.name.start <= offset <= argument.name.end:
            parameters = (node for node in library.declarations if isinstance(node, nodes.Parameter))
            result = next((node for node in parameters if node.name.text == argument.name.text), None)
            return None if result is None else EditorVariable(library, result)
    return None


def places_of(
    variable: EditorVariable, others: tuple[nodes.Document, ...], with_declaration: bool = True
) -> list[Span]:
    """Every place of a variable: in its own document, and of a parameter where those who use the library name it."""
    own = variable.document
    declared = _name(variable.node)
    result = [Span(own.source, use.start, use.end) for use in variable_places(own) if use.node is variable.node]
    if not with_declaration:
        result = [span for span in result if span.start != declared.start]
    if variable.is_parameter:
        result += [
            document.span(argument.name)
            for document in others
            for argument, library in _arguments(document, others)
            if library.source.path == own.source.path and argument.name.text == variable.name
        ]
    return result


def given_to(variable: EditorVariable, others: tuple[nodes.Document, ...]) -> list[tuple[Span, str]]:
    """Where a parameter is given values, and these as they are written."""
    return [
        (document.span(argument), _written(document, argument.values))
        for document in others
        for argument, library in _arguments(document, others)
        if variable.is_parameter
        and library.source.path == variable.document.source.path
        and argument.name.text == variable.name
    ]


def in_scope(text: str, offset: int) -> list[str]:
    """The variables whose values can be written at an offset, in a text that need not be right."""
    bare = blanked(text)
    result = [match[1] for match in _PARAMETER.finditer(bare)]
    opened = closed = 0
    around: list[str] = []
    until = offset
    for match in reversed(list(_EACH.finditer(bare, 0, offset))):
        inside = _PLACEHOLDER.sub("", bare[match.end() : until])
        opened, closed, until = opened + inside.count("{"), closed + inside.count("}"), match.end()
        if opened > closed:
            around.append(match[1])
    return result + around[::-1]


def use_before(tokens: Sequence[Token]) -> nodes.UseLibrary | None:
    """The `use` that some tokens begin, although it may not be whole yet: its path, and what it gives so far."""
    texts = [token for token in tokens if token.type == "STRING"]
    if not texts:
        return None
    path = nodes.Text(decode_text(texts[0]), 0, 0)
    given = [tokens[index - 1] for index in range(1, len(tokens)) if tokens[index].type == "EQUAL"]
    arguments = tuple(nodes.Argument(nodes.Name(str(name), 0, 0), (), 0, 0) for name in given)
    return nodes.UseLibrary(path, None, arguments, 0, 0)


def parameters_of(use: nodes.UseLibrary, document: nodes.Document, others: tuple[nodes.Document, ...]) -> list[str]:
    """The parameters of the library that a `use` names, which it does not give yet."""
    library = library_of(use, document, others)
    given = {argument.name.text for argument in use.arguments}
    declarations = library.declarations if library is not None else ()
    return [
        node.name.text for node in declarations if isinstance(node, nodes.Parameter) and node.name.text not in given
    ]


def refusal(variable: EditorVariable, name: str) -> str | None:
    """Why a variable cannot have another name, in the user's words; None where it can."""
    if not _NAME.fullmatch(name):
        return f"`{name}` is not a name: letters, digits and underscores, no digit first"
    if name == variable.name:
        return None
    document = variable.document
    known = {_name(use.node).text: use.node for use in variable_places(document)}
    if name in known:
        return f"there is already a variable `{name}`, at {EditorVariable(document, known[name]).place.place}"
    bare = (value for value in _bare_values(document.declarations) if value.text == name)
    if (value := next(bare, None)) is not None:
        return f"`{name}` at {document.span(value).place} means itself, and would mean the variable then"
    text = document.source.text
    for span in sorted(places_of(variable, ()), reverse=True):
        text = text[: span.start] + name + text[span.end :]
    before, after = Diagnostics(), Diagnostics()
    parse(document.source, before)
    parse(Source(document.source.path, text), after)
    if after.count_of_errors > before.count_of_errors:
        return f"`{name}` is a word of the language, and would be read as that here"
    return None


def _written(document: nodes.Document, values: tuple[nodes.Value, ...]) -> str:
    return ", ".join(document.source.text[value.start : value.end] for value in values)


def _name(node: Declaring) -> nodes.Name:
    return node.name if isinstance(node, nodes.Parameter) else node.head.name


# ---- walking -----------------------------------------------------------------------------------------


def variable_places(document: nodes.Document) -> Iterator[VariablePlace]:
    """Every place of every variable of a document, those of declarations among them."""
    parameters = {node.name.text: node for node in document.declarations if isinstance(node, nodes.Parameter)}
    yield from _walk(document, document.declarations, parameters)


def _walk(
    document: nodes.Document, declarations: tuple[nodes.Declaration, ...], known: Mapping[str, Declaring]
) -> Iterator[VariablePlace]:
    for node in declarations:
        if isinstance(node, nodes.Each):
            name = node.head.name
            yield VariablePlace(node, name.start, name.end)
            yield from _values(document, node.head.values, known)
            yield from _walk(document, node.declarations, {**known, name.text: node})
        elif isinstance(node, nodes.Parameter):
            yield VariablePlace(node, node.name.start, node.name.end)
            yield from _values(document, node.values or (), known)
        elif isinstance(node, nodes.UseLibrary):
            yield from _placeholders(document, node.start, node.end, known)
            for argument in node.arguments:
                yield from _values(document, argument.values, known, only_bare=True)
        else:
            yield from _placeholders(document, node.start, node.end, known)


def _values(
    document: nodes.Document, values: tuple[nodes.Value, ...], known: Mapping[str, Declaring], only_bare: bool = False
) -> Iterator[VariablePlace]:
    """Values that a list is made of: a bare name that is a variable's stands for its values."""
    for value in values:
        if isinstance(value, nodes.Name) and value.text in known:
            yield VariablePlace(known[value.text], value.start, value.end)
        elif not only_bare:
            yield from _placeholders(document, value.start, value.end, known)


def _placeholders(
    document: nodes.Document, start: int, end: int, known: Mapping[str, Declaring]
) -> Iterator[VariablePlace]:
    for match in _PLACEHOLDER.finditer(document.source.text, start, end):
        at = match.start()
        if match[1] in known and not _in_comment(document.comments, at):
            yield VariablePlace(known[match[1]], match.start(1), match.end(1))


def _in_comment(comments: tuple[nodes.Comment, ...], offset: int) -> bool:
    before = bisect_right(comments, offset, key=lambda comment: comment.start)
    return before > 0 and offset < comments[before - 1].end


def _bare_values(declarations: tuple[nodes.Declaration, ...]) -> Iterator[nodes.Name]:
    for node in declarations:
        lists: tuple[tuple[nodes.Value, ...], ...] = ()
        if isinstance(node, nodes.Each):
            yield from _bare_values(node.declarations)
            lists = (node.head.values,)
        elif isinstance(node, nodes.UseLibrary):
            lists = tuple(argument.values for argument in node.arguments)
        elif isinstance(node, nodes.Parameter):
            lists = (node.values or (),)
        yield from (value for values in lists for value in values if isinstance(value, nodes.Name))


def _arguments(
    document: nodes.Document, others: tuple[nodes.Document, ...]
) -> Iterator[tuple[nodes.Argument, nodes.Document]]:
    for use in library_uses(document.declarations):
        library = library_of(use, document, others) if use.arguments else None
        if library is not None:
            yield from ((argument, library) for argument in use.arguments)


def library_uses(declarations: tuple[nodes.Declaration, ...]) -> Iterator[nodes.UseLibrary]:
    """The libraries that declarations use, those of families included."""
    for node in declarations:
        if isinstance(node, nodes.UseLibrary):
            yield node
        elif isinstance(node, nodes.Each):
            yield from library_uses(node.declarations)


def library_of(
    use: nodes.UseLibrary, document: nodes.Document, others: tuple[nodes.Document, ...]
) -> nodes.Document | None:
    """The library that a `use` names; it is found from the file that the `use` stands in."""
    path = normpath(Path(document.source.path).parent / use.path.text.replace("\\", "/"))
    return next((other for other in others if normpath(other.source.path) == path), None)

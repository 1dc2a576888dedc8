"""The structure of a text agrees with its document: the same statements in the same blocks, the same mistakes."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from plica.diagnostics import Diagnostics
from plica.source import Source
from plica.syntax import nodes
from plica.syntax.parser import parse
from plica.syntax.structure import Statement, structure_of
from tests.grammar.test_reference import EXAMPLES, LIBRARY, whole
from tests.support.data import ROOT

CASES = sorted((ROOT / "tests" / "format" / "cases").glob("*.plica"))
SPECS = sorted((ROOT / "specs").rglob("*.plica"))
TEXTS = [whole(example) for example in EXAMPLES] + [LIBRARY] + [path.read_text("utf-8") for path in (*CASES, *SPECS)]

Place = tuple[int, tuple["Place", ...]]


def _parts(node: nodes.Placed) -> Sequence[nodes.Placed]:
    match node:
        case nodes.Override():
            return _parts(node.target)
        case nodes.Each():
            return node.declarations
        case nodes.UseLibrary():
            return node.arguments
        case nodes.Fact(key="skeleton"):
            return node.part("joints")
        case nodes.Block() | nodes.CombineDeclaration() | nodes.Parameter():
            return node.facts
    return ()


def _of_nodes(result: Sequence[nodes.Placed]) -> tuple[Place, ...]:
    return tuple((node.start, _of_nodes(_parts(node))) for node in result)


def _of_statements(result: tuple[Statement, ...], starts: list[int]) -> tuple[Place, ...]:
    return tuple((starts[one.first], _of_statements(one.parts, starts)) for one in result)


def _check_ends(result: tuple[Statement, ...], before: int, end: int, kinds: list[str]) -> None:
    """Statements follow each other without a gap, and each block's brace stands before its first part."""
    for one in result:
        assert one.first == before
        if one.opening is not None:
            assert kinds[one.opening] == "LBRACE" and kinds[one.end - 1] == "RBRACE"
            _check_ends(one.parts, one.opening + 1, one.end - 1, kinds)
        before = one.end
    assert before == end


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_statements_are_those_of_the_document(text: str) -> None:
    source = Source("text.plica", text)
    document, structure = parse(source, Diagnostics()), structure_of(source, Diagnostics())
    assert structure is not None
    assert _of_statements(structure.statements, structure.tokens.starts) == _of_nodes(document.declarations)
    assert structure.comments == document.comments
    _check_ends(structure.statements, 2, len(structure.tokens.kinds), structure.tokens.kinds)


def test_words_stand_where_they_are_said_to() -> None:
    for text in TEXTS:
        structure = structure_of(Source("text.plica", text), Diagnostics())
        assert structure is not None
        _, texts, starts, ends, _ = structure.tokens
        assert [text[start:end] for start, end in zip(starts, ends, strict=True)] == texts


@pytest.mark.parametrize(
    "text",
    ["", "plica 2\n", "plica 1\nregion a { skn of b }\nregion c {", "plica 1\n}", "plica 1\n" + "each a in b {" * 61],
)
def test_mistakes_are_those_of_parsing(text: str) -> None:
    source = Source("text.plica", text)
    parsed, read = Diagnostics(), Diagnostics()
    parse(source, parsed)
    assert structure_of(source, read) is None
    assert read.all == parsed.all and read.has_errors

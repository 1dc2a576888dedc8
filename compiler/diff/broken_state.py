"""A state of a character that does not compile: what is wrong with it, and what can be said of it all the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from plica.diagnostics import Diagnostic
from plica.diff.facts import TEXTS, Difference, FieldChange
from plica.diff.shown_lines import shown_lines
from plica.diff.text_pairs import TextPair, TextPairs, line_span
from plica.diff.verdicts import CHECKS, GEOMETRY, NAMES, STRENGTHS, TEXTURES, Harm, Judged, Verdict
from plica.diff.written import pieces_of
from plica.source import Source, Span
from plica.syntax import nodes

_ANYTHING = (NAMES, STRENGTHS, GEOMETRY, TEXTURES)
_UNKNOWN = "the text differs; what that does is not known"


class BrokenState(NamedTuple):
    """A spec, or a built rig, that has mistakes.

    `path` is what the user calls its file; `name` the character, where its text tells, else the file; `errors` are the
    mistakes, in the order of the text; `documents`: the texts that could be read, its own first.
    """

    path: str
    name: str
    errors: tuple[Diagnostic, ...]
    documents: tuple[nodes.Document, ...] = ()

    @property
    def first(self) -> Diagnostic:
        """The mistake that stands first in its text."""
        return self.errors[0]


def character_of(documents: Sequence[nodes.Document]) -> str | None:
    """What the character of a text is called; None where it declares none that can be read."""
    for node in documents[0].declarations if documents else ():
        if isinstance(node, nodes.Block) and node.kind == "character" and node.name is not None:
            return node.name.text
    return None


class TextualChange(NamedTuple):
    """Lines of a file that differ in one declaration, or outside of all, and where."""

    judged: Judged
    place: Span | None
    beside: Span | None
    is_gone: bool


def textual_changes(old: Sequence[nodes.Document], new: Sequence[nodes.Document]) -> Iterator[TextualChange]:
    """What differs between the texts of two states of which one has mistakes, declaration by declaration.

    A library that only one state has is left out: where the other has mistakes, it may not have come to read it.
    """
    for pair in TextPairs(old, new).pairs:
        if pair.old is not None and pair.new is not None:
            yield from _of_pair(pair, pair.old, pair.new)


def _of_pair(pair: TextPair, old: nodes.Document, new: nodes.Document) -> Iterator[TextualChange]:
    groups: dict[str, tuple[list[int], list[int]]] = {}
    titles = _titles(old), _titles(new)
    for gone, added in pair.hunks:
        lines = [_saying(old.source, gone), _saying(new.source, added)]
        # Of a line that cannot be parsed any more the old text knows the declaration.
        titled = [titles[index].get(line, "") for index in (1, 0) for line in lines[index]]
        title = next(filter(None, titled), "")
        group = groups.setdefault(title, ([], []))
        for every, part in zip(group, lines, strict=True):
            every += part
    for title, (gone_lines, added_lines) in groups.items():
        if gone_lines or added_lines:
            yield _textual(pair, title, (old.source, gone_lines), (new.source, added_lines))


def _textual(
    pair: TextPair, title: str, gone: tuple[Source, list[int]], added: tuple[Source, list[int]]
) -> TextualChange:
    texts = [[source.line_text(line).strip() for line in lines] for source, lines in (gone, added)]
    kind, _, name = title.partition(" ") if title else ("text", "", pair.path)
    field = FieldChange("lines", tuple(texts[0]), tuple(texts[1]))
    fact = Difference("changed", TEXTS, kind, name or kind, "none", title or pair.path, None, None, (field,))
    verdict = Verdict("text", Harm.RISKY, _ANYTHING, _UNKNOWN, lines=shown_lines(*texts))
    judged = Judged(fact, (verdict,))
    if added[1]:
        place = line_span(added[0], added[1][0])
        return TextualChange(judged, place, place, is_gone=False)
    return TextualChange(judged, line_span(gone[0], gone[1][0]), pair.where_it_stood(gone[1][0]), is_gone=True)


def _saying(source: Source, lines: Iterable[int]) -> list[int]:
    """Those lines that have more than braces."""
    return [line for line in lines if source.line_text(line).strip(" \t{}")]


def _titles(document: nodes.Document) -> dict[int, str]:
    """For each line the declaration that it stands in, as written."""
    result: dict[int, str] = {}
    for piece in pieces_of(document):
        for line in piece.lines:
            result.setdefault(line, piece.of)
    return result


def mistake_verdict(old: BrokenState | None, new: BrokenState | None) -> Verdict:
    """That a character does not compile: now, before, or both; with the first mistake."""
    if new is not None:
        harm = Harm.BREAKING if old is None else Harm.RISKY
        when = "DOES NOT COMPILE NOW" if old is None else "does not compile, neither before nor now"
        rule = "no-longer-compiles" if old is None else "still-does-not-compile"
        return Verdict(rule, harm, (CHECKS, *_ANYTHING), f"{when}: {mistake_text(new)}")
    assert old is not None
    text = f"compiles now; before it did not, so what changed is not known: {mistake_text(old)}"
    return Verdict("compiles-again", Harm.RISKY, (CHECKS, *_ANYTHING), text)


def mistake_text(state: BrokenState) -> str:
    """The first mistake and its place, and how many more there are."""
    first = state.first
    place = f"{first.span.place}: " if first.span is not None else ""
    more = f" (and {len(state.errors) - 1} more)" if len(state.errors) > 1 else ""
    return f"{place}{first.code} {first.message}{more}"

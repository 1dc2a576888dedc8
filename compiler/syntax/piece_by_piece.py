"""Reads a file that does not parse as a whole, declaration by declaration."""

from __future__ import annotations

import re
from typing import Any, assert_never, cast

from lark import TextSlice
from lark.exceptions import UnexpectedInput

from plica.diagnostics import Diagnostics, Label
from plica.source import Source, Span
from plica.syntax import automaton, errors, nodes, recovery, remains
from plica.syntax.builder import Run
from plica.syntax.parser import comments_of
from plica.syntax.parser_tables import parser

MOST_MISTAKES = 100  # of one file; whoever has more reads no further than these
MOST_IN_A_DECLARATION = 10
LONGEST_READ_AGAIN = 100_000  # characters of a declaration that is read again after each of its mistakes
_KEYWORDS = re.compile(r"(?:override[ \t]+)?\w+")


def parse_mistaken(source: Source, bare: str, after: int, diagnostics: Diagnostics) -> nodes.Document:
    """The document of a text that could not be read, from its blanked form and the offset after its version line on."""
    try:
        declarations = cast(Run, parser().parse(source.text, start="file")).items
    except UnexpectedInput as error:
        before = diagnostics.count_of_errors
        reading = Recovery(source, bare, diagnostics)
        declarations = reading.parse(after)
        if diagnostics.count_of_errors == before:
            # The pieces are right where the whole is not: say what was wrong with the whole.
            errors.report(error, source, len(source.text), diagnostics)
        return reading.document(declarations)
    return nodes.Document(source, declarations, comments_of(source.text))


def read_or_parse(text: str, start: str, begin: int, end: int) -> Any:
    """What `start` gives for a part of a text. Raises UnexpectedInput, Lark's, where it has a mistake."""
    made = automaton.read(text, start, begin, end)
    return parser().parse(TextSlice(text, begin, end), start=start) if made is None else made


class _OpenEach:
    """An `each` whose block is being read; `head` is None where nothing can be told of it."""

    def __init__(self, head: nodes.EachHead | None) -> None:
        self.head = head
        self.declarations: list[nodes.Declaration] = []


class Recovery:
    """Reads a file that does not parse as a whole, declaration by declaration.

    `first_failure`: the first declaration that did not parse alone, and why. `lost`, `left_out`: those of the document.
    """

    def __init__(self, source: Source, bare: str, diagnostics: Diagnostics) -> None:
        self._source = source
        self._bare = bare
        self._diagnostics = diagnostics
        self._declarations: list[nodes.Declaration] = []
        self._open: list[_OpenEach] = []
        self.first_failure: tuple[recovery.TextPiece, UnexpectedInput] | None = None
        self.lost: list[nodes.LostDeclaration] = []
        self.left_out: list[nodes.LeftOut] = []

    def document(self, declarations: tuple[nodes.Declaration, ...]) -> nodes.Document:
        """The document of what was read."""
        comments = comments_of(self._source.text)
        return nodes.Document(self._source, declarations, comments, tuple(self.lost), tuple(self.left_out))

    def parse(self, after: int) -> tuple[nodes.Declaration, ...]:
        """The declarations that parsed; all mistakes are reported, up to a number no one would read."""
        most = self._diagnostics.count_of_errors + MOST_MISTAKES
        for event in recovery.pieces(self._bare, after):
            if self._diagnostics.count_of_errors >= most:
                offset = event.start if isinstance(event, recovery.TextPiece) else event.offset
                self._diagnostics.add("more-mistakes", Span(self._source, offset, offset + 1), shown=MOST_MISTAKES)
                self.lost.append(nodes.LostDeclaration("", "", offset, len(self._bare)))
                break
            self._take(event)
        while self._open:
            self._close_unclosed()
        return tuple(self._declarations)

    def _take(self, event: recovery.Event) -> None:
        match event:
            case recovery.StrayBrace(offset):
                self._diagnostics.add("stray-brace", Span(self._source, offset, offset + 1))
            case recovery.OpenEach(offset):
                self._diagnostics.add("unclosed-block", Span(self._source, offset, offset + 4), block="each")
            case recovery.CloseEach(offset):
                self._close(offset)
            case recovery.TextPiece():
                node = self.parse_piece(event)
                if event.is_head:
                    head = cast("nodes.EachHead | None", node)
                    self._open.append(_OpenEach(head or remains.family_of(self._bare, event.start, event.end)))
                elif node is not None:
                    self._keep(cast("nodes.Declaration", node))
                else:
                    self.lost += remains.lost_in(self._source.text, self._bare, event.start, event.end)
            case _:
                assert_never(event)

    def _close(self, offset: int) -> None:
        each = self._open.pop()
        if each.head is not None:
            self._keep(nodes.Each(each.head, tuple(each.declarations), each.head.start, offset + 1))
        elif each.declarations:
            self.lost.append(nodes.LostDeclaration("", "", each.declarations[0].start, offset))

    def _close_unclosed(self) -> None:
        """End an `each` that is not closed: what does not name its variable most likely stands after it."""
        each = self._open[-1]
        inside: list[nodes.Declaration] = []
        after: list[nodes.Declaration] = []
        placeholder = "" if each.head is None else f"{{{each.head.name.text}}}"
        for one in each.declarations:
            (inside if placeholder in self._source.text[one.start : one.end] else after).append(one)
        each.declarations = inside
        self._close(len(self._bare))
        for one in after:
            self._keep(one)

    def _keep(self, declaration: nodes.Declaration) -> None:
        (self._open[-1].declarations if self._open else self._declarations).append(declaration)

    def parse_piece(self, piece: recovery.TextPiece) -> nodes.Declaration | nodes.EachHead | None:
        """Parse one declaration. Its further mistakes are found with the lines of the earlier ones blanked.

        What it says without these lines is given, and `left_out` says so.
        """
        text = self._source.text
        attempts = MOST_IN_A_DECLARATION if piece.end - piece.start <= LONGEST_READ_AGAIN else 1
        start_rule = "each_head" if piece.is_head else "declaration"
        earlier = -1
        words: tuple[str, ...] = ()
        for _ in range(attempts):
            try:
                node = read_or_parse(text, start_rule, piece.start, piece.end)
            except UnexpectedInput as error:
                self.first_failure = self.first_failure or (piece, error)
                offset = errors.offset_of(error, piece.end)
                # What begins the line after a blanked one is most likely the rest of the fact that stood there.
                is_rest = self._starts_line_after(earlier, offset)
                if not (is_rest or self._report_unclosed(error, piece, offset)):
                    errors.report(error, self._source, piece.end, self._diagnostics)
                if earlier < 0 and "$END" in errors.expected_terminals(error):
                    return self._whole_before(piece, offset)
                line = self._fact_line(piece, offset)
                if line is None:
                    return None
                earlier = line[1]
                words += remains.first_words(text[line[0] : line[1]])
                text = text[: line[0]] + " " * (line[1] - line[0]) + text[line[1] :]
            else:
                if earlier >= 0:
                    self.left_out.append(nodes.LeftOut(words, piece.start, piece.end))
                return cast("nodes.Declaration | nodes.EachHead", node)
        return None

    def _whole_before(self, piece: recovery.TextPiece, offset: int) -> nodes.Declaration | nodes.EachHead | None:
        """The declaration of a piece that ends before something that is none."""
        try:
            node = read_or_parse(self._source.text, "declaration", piece.start, offset)
        except UnexpectedInput:
            return None
        if isinstance(node, nodes.UseLibrary) and "\n" not in self._bare[node.end : offset]:
            return None  # what follows it was most likely meant as its arguments
        self.lost += remains.lost_in(self._source.text, self._bare, offset, piece.end)
        return cast("nodes.Declaration", node)

    def _report_unclosed(self, error: UnexpectedInput, piece: recovery.TextPiece, offset: int) -> bool:
        """Report a block that lacks nothing but its `}`; False where that is not what is wrong."""
        words = _KEYWORDS.match(self._bare, piece.start)
        if piece.is_head or offset < piece.end or not words or "RBRACE" not in errors.expected_terminals(error):
            return False
        self._diagnostics.add(
            "unclosed-block",
            Span(self._source, words.start(), words.end()),
            block=words[0],
            labels=[Label(Span(self._source, piece.end - 1, piece.end), "a `}` is missing after this")],
        )
        return True

    def _starts_line_after(self, earlier: int, offset: int) -> bool:
        return earlier >= 0 and offset > earlier and not self._bare[earlier:offset].strip()

    def _fact_line(self, piece: recovery.TextPiece, offset: int) -> tuple[int, int] | None:
        """The line at an offset, where it holds facts and no part of the declaration's frame."""
        start = self._bare.rfind("\n", 0, offset) + 1
        end = self._bare.find("\n", offset)
        end = end if 0 <= end < piece.end else piece.end
        if start <= piece.start or offset >= piece.end or re.search(r"[{}]", self._bare[start:end]):
            return None
        return start, end

"""The canonical layout.

- Four spaces for each block; one fact on a line, values in a column; parts such as `posed at` two spaces apart.
- A block without comments, of at most three facts, that fits in 100 columns stands on one line, the facts three
  spaces apart. A character, a skeleton and an `each` never do.
- Declarations on one line under each other are a table; others have a blank line around them. Blank lines are
  kept elsewhere, two or more as one.
- A longer line without a block is broken after commas. A comment inside a statement breaks it where it stands.
"""

from __future__ import annotations

from itertools import pairwise

from plica.format.table import WIDTH, TableRow, aligned, with_comments
from plica.format.token_text import Remark, TokenText
from plica.syntax.structure import Statement

MOST_ON_A_LINE = 3  # facts
INDENT = "    "
BETWEEN_FACTS = "   "
_NEVER_ON_A_LINE = frozenset({"CHARACTER", "EACH"})
_TABLES_OF_THEIR_OWN = frozenset({"use", "parameter", "curve", "expect", "override"})
_HEAD_COLUMNS = 4  # keyword, name, side, and where the block begins


class LayoutResult:
    """Pieces of a layout, by the first words of what they are made of.

    They depend on the words and the remarks, but not on blank lines: where only these differ the pieces are the same.
    """

    def __init__(self, words: TokenText) -> None:
        self._remarks = words.remarks
        self.rows: dict[int, TableRow | None] = {}
        self.tables: dict[tuple[int, ...], list[str]] = {}
        self.broken: dict[tuple[int, int], list[str]] = {}

    def fits(self, words: TokenText) -> bool:
        """Whether the pieces serve for the same words where they stand in another text."""
        return words.remarks == self._remarks


def laid_out(statements: tuple[Statement, ...], words: TokenText, done: LayoutResult) -> str:
    """The text of a document that has no mistakes, from its statements and words.

    Pieces that are `done` for these words are taken, others are added.
    """
    layout = _Layout(words, done if done.fits(words) else LayoutResult(words))
    layout.remarks(words.standing(-1), "")
    if words.standing(-1) and words.follows_blank(0):
        layout.blank()
    version = "plica " + words.texts[1]
    layout.lines += with_comments([version], [words.trailing(1)])
    layout.blank()
    layout.declarations(statements, 1, "")
    while layout.lines and not layout.lines[-1]:
        layout.lines.pop()
    return "\n".join(layout.lines) + "\n"


class _Layout:
    """Collects the lines of one text."""

    def __init__(self, words: TokenText, done: LayoutResult) -> None:
        self.lines: list[str] = []
        self._words = words
        self._done = done

    def blank(self) -> None:
        """A blank line, unless there is one already."""
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def remarks(self, result: list[Remark], indent: str) -> None:
        """Comments on lines of their own; the blank line before the first is the caller's."""
        for number, remark in enumerate(result):
            if number and remark.after_blank:
                self.blank()
            self.lines.append(indent + remark.text)

    # ---- what stands in a row

    def declarations(self, result: tuple[Statement, ...], before: int, indent: str) -> None:
        """Declarations and the comments between them; `before` is the index of the token before them."""
        self._in_a_row(result, before, indent, _HEAD_COLUMNS, None)

    def _facts(self, result: tuple[Statement, ...], before: int, indent: str) -> None:
        words = self._words
        with_values = [part for part in result if part.opening is None and part.end > part.first + 1]
        width = max((len(words.texts[part.first]) for part in with_values), default=0)
        self._in_a_row(result, before, indent, 1, width)

    def _in_a_row(
        self, result: tuple[Statement, ...], before: int, indent: str, shared: int, width: int | None
    ) -> None:
        """Statements and the comments between them.

        `width` is that of the column of keywords, and None for declarations: those of several lines are set apart.
        """
        apart = width is None
        words = self._words
        table: list[tuple[int, TableRow]] = []
        opens = len(self.lines)
        was_long = False
        rows = self._done.rows
        for statement in result:
            remarks = words.standing(before) if before in words.after else []
            row = rows[statement.first] if statement.first in rows else self._row(statement, indent, width)
            follows_blank = words.follows_blank(statement.first)
            wants_blank = remarks[0].after_blank if remarks else follows_blank
            wants_blank = wants_blank or (apart and (was_long or row is None))
            if table and (wants_blank or remarks or row is None or _family(row) != _family(table[-1][1])):
                self._table(table, shared)
                table = []
            if wants_blank and len(self.lines) > opens:
                self.blank()
            self.remarks(remarks, indent)
            if remarks and follows_blank:
                self.blank()
            if row is None:
                self._long(statement, indent, width or 0)
            else:
                table.append((statement.first, row))
            was_long, before = row is None, statement.end - 1
        if table:
            self._table(table, shared)
        self._closing(words.standing(before), indent, len(self.lines) > opens, apart and was_long)

    def _table(self, table: list[tuple[int, TableRow]], shared: int) -> None:
        """The lines of rows under each other."""
        key = tuple([first for first, _ in table])
        lines = self._done.tables.get(key)
        if lines is None:
            lines = self._done.tables[key] = aligned([row for _, row in table], shared)
        self.lines += lines

    def _closing(self, remarks: list[Remark], indent: str, follows: bool, after_long: bool) -> None:
        """The comments after the last statement of a block."""
        if remarks and follows and (after_long or remarks[0].after_blank):
            self.blank()
        self.remarks(remarks, indent)

    # ---- statements of one line

    def _row(self, statement: Statement, indent: str, width: int | None) -> TableRow | None:
        """The line of a statement, which is done from now on; None where it needs several."""
        row = self._declaration_row(statement, indent) if width is None else self._fact_row(statement, indent, width)
        self._done.rows[statement.first] = row
        return row

    def _declaration_row(self, statement: Statement, indent: str) -> TableRow | None:
        """A declaration on one line; None where it needs several."""
        words = self._words
        first, end, opening, parts = statement
        if words.has_remark(first, end - 1):
            return None
        if parts and not self._stands_on_a_line(statement):
            return None
        # The facts' distances make the line longer still; most of those that are too long are found without its cells.
        least = len(indent) + len(words.text(first, end)) + (len(BETWEEN_FACTS) - 1) * (len(parts) - 1)
        if parts and least > WIDTH:
            return None
        cells = self._head(first, end if opening is None else opening, indent)
        if opening is not None:
            gap, start = cells[3]
            cells[3] = gap, f"{start} {{" if start else "{"
            for number, part in enumerate(parts):
                self._add_fact(cells, part, " " if number == 0 else BETWEEN_FACTS)
            gap, last = cells[-1]
            cells[-1] = gap, last + (" }" if parts else "}")
        if sum([len(gap) + len(cell) for gap, cell in cells if cell]) > WIDTH:
            return None
        return TableRow(words.texts[first], cells, words.trailing(end - 1))

    def _stands_on_a_line(self, statement: Statement) -> bool:
        words = self._words
        if len(statement.parts) > MOST_ON_A_LINE or words.kinds[statement.first] in _NEVER_ON_A_LINE:
            return False
        return not any(words.swallows(part.first) for part in statement.parts[1:])

    def _head(self, first: int, end: int, indent: str) -> list[tuple[str, str]]:
        """Keyword, name, side and what follows up to the block, each with the blanks before it."""
        kinds, text = self._words.kinds, self._words.text
        name = first + (2 if kinds[first] == "OVERRIDE" else 1)
        side = name if kinds[first] == "EXPECT" else name + 1
        rest = side
        if side < end and kinds[side] == "SIDE":
            rest = side + 1
        elif side < end and kinds[side] == "AS":
            rest = side + 2
        return [
            (indent, text(first, name)),
            (" ", text(name, side)),
            (" ", text(side, rest)),
            (" ", text(rest, end)),
        ]

    def _set_off(self, first: int, end: int) -> list[str]:
        """A fact's text, cut before the parts that are set off."""
        words = self._words
        clauses = words.clauses(first, end)
        if not clauses:
            return [words.text(first, end)]
        return [words.text(start, stop) for start, stop in pairwise([first, *clauses, end])]

    def _add_fact(self, cells: list[tuple[str, str]], part: Statement, gap: str) -> None:
        """Add a fact of a block on one line to the cells: the first one to the cell of the brace."""
        pieces = self._set_off(part.first, part.end)
        if gap == " ":
            before, last = cells[-1]
            cells[-1] = before, f"{last} {pieces[0]}"
        else:
            cells.append((gap, pieces[0]))
        cells += [("  ", piece) for piece in pieces[1:]]

    def _fact_row(self, statement: Statement, indent: str, width: int) -> TableRow | None:
        """A fact on one line, its values from a column on; None where it needs several."""
        words = self._words
        first, end, opening, parts = statement
        if parts or words.has_remark(first, end - 1):
            return None
        keyword = words.texts[first]
        if opening is not None:
            return TableRow(keyword, [(indent, words.text(first, opening) + " {}")], words.trailing(end - 1))
        clauses = words.clauses(first, end)
        cells = [(indent, self._opens(first, clauses[0] if clauses else end, width))]
        if clauses:
            cells += [("  ", words.text(start, stop)) for start, stop in pairwise([*clauses, end])]
        if sum([len(gap) + len(cell) for gap, cell in cells]) > WIDTH and "COMMA" in words.kinds[first:end]:
            return None
        return TableRow(keyword, cells, words.trailing(end - 1))

    def _opens(self, first: int, end: int, width: int) -> str:
        """A fact's keyword and values, or an argument."""
        words = self._words
        if words.kinds[first] == "JOINT" or end == first + 1:
            return words.text(first, end)
        gap = " " if words.kinds[first + 1] == "EQUAL" else "  "
        return f"{words.texts[first]:<{width}}{gap}{words.text(first + 1, end)}"

    # ---- statements of several lines

    def _long(self, statement: Statement, indent: str, width: int) -> None:
        """A statement that does not stand on one line."""
        words = self._words
        first, end, opening, parts = statement
        if opening is None:
            self._broken(first, end, indent, width)
            return
        self._broken(first, opening + 1, indent, 0)
        rows = self.declarations if words.kinds[first] == "EACH" else self._facts
        rows(parts, opening, indent + INDENT)
        self.lines += with_comments([indent + "}"], [words.trailing(end - 1)])

    def _broken(self, first: int, end: int, indent: str, width: int) -> None:
        """Tokens on as many lines as comments among them and the width ask for."""
        lines = self._done.broken.get((first, end))
        if lines is None:
            lines = self._done.broken[(first, end)] = self._lines_of(first, end, indent, width)
        self.lines += lines

    def _lines_of(self, first: int, end: int, indent: str, width: int) -> list[str]:
        words = self._words
        further = indent + (" " * (width + 2) if width else INDENT)
        lines: list[str] = []
        comments: list[str] = []
        stops = [index + 1 for index in range(first, end - 1) if index in words.after]
        for start, stop in zip([first, *stops], [*stops, end], strict=True):
            pieces = self._pieces(start, stop, width if start == first else 0)
            lines += _filled(pieces, indent if start == first else further, further)
            comments += [""] * (len(lines) - len(comments) - 1) + [words.trailing(stop - 1)]
            if stop < end:
                lines += [further + remark.text for remark in words.standing(stop - 1)]
                comments += [""] * (len(lines) - len(comments))
        return with_comments(lines, comments)

    def _pieces(self, first: int, end: int, width: int) -> list[tuple[str, str]]:
        """Tokens cut after commas (but for a vector's) and before clauses, with the blanks before each piece.

        Where `width` is not 0 the first token is a fact's keyword in a column of that width.
        """
        words = self._words
        clauses = set(words.clauses(first, end))
        starts = clauses | {index + 1 for index in words.breaks(first, end)}
        pieces = []
        start = first
        if width and words.kinds[first] != "JOINT" and end > first + 1:
            stop = min(starts, default=end)
            pieces.append(("", self._opens(first, stop, width)))
            start = stop
        for stop in sorted((starts | {end}) - {start, first}):
            if stop > start:
                pieces.append(("  " if start in clauses else " ", words.text(start, stop)))
                start = stop
        return pieces


def _family(row: TableRow) -> str:
    """Rows of one family share their columns."""
    return row.kind if row.kind in _TABLES_OF_THEIR_OWN else ""


def _filled(pieces: list[tuple[str, str]], indent: str, further: str) -> list[str]:
    """As many pieces on each line as fit; broken only after commas."""
    lines: list[str] = []
    line = indent + pieces[0][1]
    for gap, piece in pieces[1:]:
        if len(line) + len(gap) + len(piece) > WIDTH and line.endswith(","):
            lines.append(line)
            line = further + piece
        else:
            line += gap + piece
    return [*lines, line]

"""Lines under each other whose parts are aligned in columns."""

from __future__ import annotations

from typing import NamedTuple

WIDTH = 100  # columns; alignment never makes a line longer
BEFORE_COMMENT = "    "


class TableRow(NamedTuple):
    """A line in parts, each with the blanks before it; a column that is empty in all rows takes no room.

    `kind` is the word that it begins with: rows of one kind are a table. `comment` stands after it.
    """

    kind: str
    cells: list[tuple[str, str]]
    comment: str


def aligned(rows: list[TableRow], shared: int) -> list[str]:
    """The lines of rows without anything between them.

    The first `shared` columns are aligned over all rows, which must have them; the others where rows are alike.
    """
    if len(rows) == 1:
        lines = ["".join([gap + cell for gap, cell in rows[0].cells if cell])]
    else:
        lines = _columns(rows, shared)
    return with_comments([line.rstrip() for line in lines], [row.comment for row in rows])


def with_comments(lines: list[str], comments: list[str]) -> list[str]:
    """Lines with the comments after them under each other; a line that is too long moves no other's comment."""
    if not any(comments):
        return lines
    commented = (line for line, comment in zip(lines, comments, strict=True) if comment)
    column = max((len(line) for line in commented if len(line) <= WIDTH), default=0)
    return [
        f"{line:<{column}}{BEFORE_COMMENT}{comment}" if comment else line
        for line, comment in zip(lines, comments, strict=True)
    ]


def _columns(rows: list[TableRow], shared: int) -> list[str]:
    lines = ["".join(row.cells[0]) for row in rows]
    for column in range(1, max(len(row.cells) for row in rows)):
        for neighbours in _neighbours(rows, column, shared):
            _append(rows, lines, neighbours, column)
    return lines


def _neighbours(rows: list[TableRow], column: int, shared: int) -> list[list[int]]:
    """The indexes of the rows that have a column, together where it is aligned.

    Beyond the shared columns those are rows of one kind under each other whose parts so far begin with the same words.
    """
    if column < shared:
        return [list(range(len(rows)))]
    groups: list[list[int]] = []
    known: dict[tuple[str, ...], list[int]] = {}
    kind = ""
    for index, row in enumerate(rows):
        if row.kind != kind:
            known, kind = {}, row.kind
        if len(row.cells) > column:
            key = tuple([cell.partition(" ")[0] for _, cell in row.cells[max(shared, 1) : column + 1]])
            if key not in known:
                known[key] = []
                groups.append(known[key])
            known[key].append(index)
    return groups


def _append(rows: list[TableRow], lines: list[str], neighbours: list[int], column: int) -> None:
    """Add one column to the lines of some rows, aligned but where that makes a line too long."""
    if not any(rows[index].cells[column][1] for index in neighbours):
        return
    start = max([len(lines[index]) for index in neighbours])
    fitting = [index for index in neighbours if start + _length(rows[index], column) <= WIDTH]
    width = max([len(lines[index]) for index in fitting], default=0)
    for index in neighbours:
        lines[index] = lines[index].rstrip()
    for index in fitting:
        lines[index] = f"{lines[index]:<{width}}"
    for index in neighbours:
        lines[index] += "".join(rows[index].cells[column])


def _length(row: TableRow, column: int) -> int:
    return sum([len(gap) + len(cell) for gap, cell in row.cells[column:]])

"""Tables of plain text: columns as wide as they need to be, two spaces between them."""

from __future__ import annotations

from collections.abc import Collection, Sequence


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], left: Collection[int] = (0,)) -> str:
    """The lines of a table; the columns `left` are set to the left, the others to the right."""
    widths = [max(len(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    lines = []
    for row in (heads, *rows):
        cells = [
            cell.ljust(width) if column in left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)

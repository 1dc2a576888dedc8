"""Tables of plain text: columns as wide as they need to be, two spaces between them."""

from __future__ import annotations

import io
from collections.abc import Collection, Mapping, Sequence
from typing import Final

from plica import foreign

NARROWEST: Final = 80
"""A table is never made narrower than this."""


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    left: Collection[int] = (0,),
    width: int | None = None,
    colours: Mapping[str, str] | None = None,
) -> str:
    """The lines of a table; the columns `left` are set to the left, the others to the right. Cells are made safe.

    width: characters that a line may have; where it needs more, heads and cells of the columns `left` are wrapped.
    None for as many as it takes. colours: the style of cells by their text, for a terminal.
    """
    rows = [[foreign.line(cell) for cell in row] for row in rows]
    widths = [max(len(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    if colours is not None or (width is not None and sum(widths) + 2 * (len(widths) - 1) > width):
        return _on_terminal(heads, rows, left, max(width or sum(widths) + 2 * len(widths), NARROWEST), colours)
    lines = []
    for row in (heads, *rows):
        cells = [
            cell.ljust(width) if column in left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def _on_terminal(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    left: Collection[int],
    width: int,
    colours: Mapping[str, str] | None,
) -> str:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    shown = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold" if colours else "")
    for column, head in enumerate(heads):
        wraps = column in left
        words = [word for row in rows for word in (row[column].split() if wraps else [row[column]])]
        longest = max((len(word) for word in (*words, *head.split())), default=0)
        # Words are only cut where they take more than a third of the line.
        shown.add_column(
            Text(head),
            justify="left" if wraps else "right",
            no_wrap=False,
            overflow="fold",
            min_width=min(longest, width // 3),
            max_width=None if wraps else longest,
        )
    for row in rows:
        shown.add_row(*(Text(cell, (colours or {}).get(cell, "")) for cell in row))
    stream = io.StringIO()
    console = Console(
        file=stream, width=width, force_terminal=colours is not None, color_system="standard" if colours else None,
        legacy_windows=False,
    )  # fmt: skip
    console.print(shown)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines())

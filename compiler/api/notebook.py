"""Tables and pictures for notebooks (`_repr_html_`); all texts in them go through `plica.foreign`."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from plica import foreign
from plica.diagnostics import Diagnostic

if TYPE_CHECKING:
    from plica.mesh.arrays import Floats, Mesh

MOST_ROWS: Final = 40
"""Rows of a table that are shown; the others are counted."""
SIZE: Final = (480, 480)
_FRONT: Final = (0.0, 0.0, 1.0)
"""Where a mesh of which nothing else is known looks: glTF 2.0, section 3.4."""


def table_html(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table; texts are made safe here."""
    head = "".join(f"<th>{foreign.html(text)}</th>" for text in heads)
    body = "".join(_row(row) for row in rows[:MOST_ROWS])
    more = len(rows) - MOST_ROWS
    left = f'<tr><td colspan="{len(heads)}">and {more} more</td></tr>' if more > 0 else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}{left}</tbody></table>"


def _row(cells: Iterable[str]) -> str:
    return f"<tr>{''.join(f'<td>{foreign.html(text)}</td>' for text in cells)}</tr>"


def diagnostics_html(diagnostics: Sequence[Diagnostic]) -> str:
    """A table of diagnostics; nothing for none."""
    rows = [(one.code, one.severity.value, _place(one), one.message, one.hint or "") for one in diagnostics]
    return table_html(("code", "", "place", "message", "hint"), rows) if rows else ""


def _place(diagnostic: Diagnostic) -> str:
    span = diagnostic.span
    if span is None:
        return ""
    line, column = span.source.line_and_column(span.start)
    return f"{span.source.path}:{line}:{column}"


def mesh_html(mesh: Mesh, positions: Floats, caption: str) -> str:
    """A picture of a mesh at positions (v, 3), with a line below it; only the line for a mesh without triangles."""
    shown = f"<figcaption>{foreign.html(caption)}</figcaption>"
    if not len(mesh.triangles):
        return f"<figure>{shown}</figure>"
    data = b64encode(mesh_png(mesh, positions)).decode("ascii")
    return f'<figure><img alt="{foreign.html(caption)}" src="data:image/png;base64,{data}">{shown}</figure>'


def mesh_png(mesh: Mesh, positions: Floats) -> bytes:
    """A PNG picture of a mesh at positions (v, 3), seen from in front, its left a little toward the viewer."""
    from plica.picture.files import content_of
    from plica.picture.studio import Figure, Studio

    return content_of([Studio(mesh, mesh.positions, _FRONT).whole_view(Figure(positions), SIZE)], ".png")

"""The table that `plica prove` shows people, apart from the results that it tells: plain texts, which can be kept."""

from __future__ import annotations

import json
from typing import Any, Final, NamedTuple

from plica.diagnostics.place import counted
from plica.prove.report.tables import table

_HEADS: Final = ("", "expectation", "worst", "limit", "without shapes", "worst at")
_COLOURS: Final = {"holds": "green", "accepted": "yellow", "FAILS": "bold red", "not measured": "yellow"}


class ProofTable(NamedTuple):
    """rows: six cells for each expectation, the verdict first. poses: the worst poses in full of those that fail;
    every_pose: of all of them; both "" where there are none. line: adds all up."""

    rows: tuple[tuple[str, ...], ...]
    poses: str
    every_pose: str
    line: str


def text(shown: ProofTable, width: int | None = None, colour: bool = False, every_pose: bool = False) -> str:
    """A row for each expectation, the worst poses of those that fail, or of all, in full, and a line that adds all up.

    width: columns that the table may take, longer cells being wrapped; None for as many as it needs. colour: verdicts
    are coloured by the terminal's own codes.
    """
    made = table(_HEADS, shown.rows, left=(0, 1, 5), width=width, colours=_COLOURS if colour else None)
    poses = shown.every_pose if every_pose else shown.poses
    return "\n\n".join(filter(None, (made, poses, f"{counted(len(shown.rows), 'expectation')}: {shown.line}")))


def written(shown: ProofTable) -> str:
    """The table as JSON."""
    return json.dumps(shown)


def read(document: str) -> ProofTable:
    """The table that a document holds. Raises ValueError, TypeError or RecursionError where it holds none."""
    held: Any = json.loads(document)
    rows, *texts = held
    cells = [cell for row in rows for cell in row]
    if len(texts) != 3 or not all(isinstance(one, str) for one in (*texts, *cells)):
        raise ValueError("no table of a proof")
    if any(len(row) != len(_HEADS) for row in rows):
        raise ValueError("a row of another table")
    return ProofTable(tuple(tuple(row) for row in rows), *texts)

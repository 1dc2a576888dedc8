"""Lines above declarations: what a strength moves, and the way to prove an expectation; figures beside these."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from plica.diff.dependents import Dependents
from plica.editor.hovering import Hint
from plica.editor.node_search import blocks
from plica.editor.open_documents import Analysis
from plica.editor.proofs import Proofs, ProofStanding, expect_blocks
from plica.rig.rig import Rig
from plica.syntax import nodes

MOST_NAMED = 6
_MOVING = ("control", "driver", "field", "combine")
PROVE, STOP = "plica.prove", "plica.stopProving"


class LineAbove(NamedTuple):
    """A line above an offset; `command` with the number of the `expect` that it is about, "" for words alone."""

    offset: int
    text: str
    command: str = ""
    number: int = -1


def lenses(around: Analysis, own: nodes.Document, proofs: Proofs) -> list[LineAbove]:
    """All lines of a text; what strengths move is told as of the latest version without mistakes."""
    return [*_moved(around, own), *_proving(around, own, proofs)]


def figures(around: Analysis, own: nodes.Document, proofs: Proofs, start: int, end: int) -> Iterator[Hint]:
    """The figures of proven expectations, where these end."""
    for block in expect_blocks(own):
        for key, place in block.facts:
            if place.end < start or place.end > end:
                continue
            known = proofs.standing(around, key)
            if known is not None:
                before = "before a change: " if known.stale else ""
                yield Hint(place.end, f"{before}{known.status}: {known.figure}", known.table)


def _proving(around: Analysis, own: nodes.Document, proofs: Proofs) -> Iterator[LineAbove]:
    for number, block in enumerate(expect_blocks(own)):
        if not block.facts:
            continue
        if proofs.is_running(block):
            yield LineAbove(block.start, "proving; stop", STOP, number)
        else:
            yield LineAbove(block.start, _title(proofs.of_block(around, block)), PROVE, number)


def _title(known: ProofStanding | None) -> str:
    if known is None:
        return "prove"
    return f"{known.status} before a change; prove again" if known.stale else f"{known.status}; prove again"


# ---- what strengths move


def _moved(around: Analysis, own: nodes.Document) -> Iterator[LineAbove]:
    if around.rig is None:
        return
    moves = _Moves(around.rig)
    names: dict[int, list[str]] = {}
    for symbol in around.symbols.declared:
        if symbol.span.source.path == own.source.path and symbol.kind in _MOVING:
            names.setdefault(symbol.span.start, []).append(symbol.name)
    for block in blocks(own.declarations):
        if block.name is not None and block.name.start in names:
            yield LineAbove(block.start, moves.text(names[block.name.start]))


class _Moves:
    """What the strengths of a rig reach, by the names that are written for both sides."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._users = rig, Dependents(rig, rig)
        everything = (*rig.strengths, *rig.shapes, *rig.folds)
        self._declared = {f"{_kind(item)} {item.name}": f"{_kind(item)} {item.declared}" for item in everything}
        self._outputs: dict[str, list[str]] = {}
        for item in rig.strengths:
            for name in {item.declared, item.declared.partition(".")[0]}:  # a sample's is that of its field as well
                self._outputs.setdefault(name, []).append(item.name)

    def text(self, declared: list[str]) -> str:
        """`moves shape upperarm_swell, fold muzzle_lines`, what lies between first."""
        found: dict[str, None] = {}
        for name in declared:
            for control in self._rig.controls:
                if control.declared == name:
                    found.update(dict.fromkeys(self._users.of_control(control.name)))
            for output in self._outputs.get(name, ()):
                found.update(dict.fromkeys(self._users.of_strength(output)))
        told = list(dict.fromkeys(self._declared[user] for user in found if user in self._declared))
        ends = [user for user in told if user.startswith(("shape ", "fold "))]
        between = [user for user in told if user not in ends]
        through = f", through {_listed(between)}" if between else ""
        return f"moves {_listed(ends) if ends else 'no shape and no fold'}{through}"


def _kind(item: object) -> str:
    return type(item).__name__.lower()


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more

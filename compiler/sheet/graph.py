"""From joints to drivers, combinations, shapes and folds: rows of text in columns, joined by lines (SVG 2).

Both sides of a declaration are one item, and so are joints that are partners. Every driver has a row, its shapes and
folds stand in the rows from there on, so that most lines go straight across; where a line passes the column of
combinations, its place there stays empty.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from plica.kinds.readings import controls_of, joints_of, seen
from plica.rig.combinations import parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Strength
from plica.sheet.spec_lines import LinePlace, SpecLines

_TITLES: Final = ("Joints and controls", "Drivers and samples", "Combinations", "Shapes and folds")
_JOINTS, _DRIVERS, _COMBINED, _FED = range(4)
_WIDTH: Final = 0.2
"""Of a column, as a share of the whole; what is left is between the columns."""


class GraphItem(NamedTuple):
    """An item. kind: in a word; sides: "" for both or none, else `L` or `R`; block: the row of the page that it leads
    to; feeds, fed_by: the names of what it leads to, and of what leads to it.
    """

    id: str
    kind: str
    name: str
    sides: str
    block: str
    place: LinePlace | None
    feeds: tuple[str, ...]
    fed_by: tuple[str, ...]


class GraphColumn(NamedTuple):
    """A column: its title, and an item or nothing in each row."""

    title: str
    rows: tuple[GraphItem | None, ...]


class GraphLine(NamedTuple):
    """A line between two items, in a drawing 100 wide and as high as there are rows."""

    start: str
    end: str
    path: str


class GraphView(NamedTuple):
    """The whole drawing."""

    columns: tuple[GraphColumn, ...]
    lines: tuple[GraphLine, ...]
    height: int

    @property
    def items(self) -> tuple[GraphItem, ...]:
        """All items, column by column."""
        return tuple(item for column in self.columns for item in column.rows if item is not None)


def graph_view(rig: Rig, lines: SpecLines, blocks: Mapping[str, str]) -> GraphView | None:
    """The drawing of a rig; None where nothing drives anything."""
    nodes = _Nodes(rig, lines, blocks)
    return _drawn(nodes, _placed(nodes)) if nodes.of_column(_DRIVERS) else None


@dataclass
class _Node:
    column: int
    kind: str
    name: str
    block: str
    place: LinePlace | None
    sides: set[str] = field(default_factory=set)
    feeds: dict[str, None] = field(default_factory=dict)
    fed_by: dict[str, None] = field(default_factory=dict)


class _Nodes:
    """The items and what leads to what, by keys of their own, in the order of the skeleton and of the spec."""

    def __init__(self, rig: Rig, lines: SpecLines, blocks: Mapping[str, str]) -> None:
        self._lines, self._blocks = lines, blocks
        self.nodes: dict[str, _Node] = {}
        self._keys: dict[str, str] = {}
        self._readers(rig)
        for strength in rig.strengths:
            column = _COMBINED if isinstance(strength, Combine) else _DRIVERS
            self._keys[strength.name] = self._node(column, strength.kind, strength.name, strength)
        for strength in rig.strengths:
            if isinstance(strength, Combine):
                for part in parts_of(strength.combination):
                    self._join(self._keys[part], self._keys[strength.name])
            else:
                for key in self._read_by(rig, strength):
                    self._join(key, self._keys[strength.name])
        for kind, entries in (("shape", rig.shapes), ("fold", rig.folds)):
            for entry in entries:
                if entry.follows is not None:
                    self._join(self._keys[entry.follows], self._node(_FED, kind, f"{kind} {entry.name}", entry))

    def of_column(self, column: int) -> list[str]:
        """The keys of the items of a column."""
        return [key for key, node in self.nodes.items() if node.column == column]

    def _readers(self, rig: Rig) -> None:
        """The joints and controls that something reads."""
        self._joints = {}
        for number, joint in enumerate(rig.skeleton):
            own = joint.name if joint.side != "right" or joint.partner is None else joint.partner
            self._joints[joint.name] = (own, f"joint-{number}" if own == joint.name else "")
        self._fields = {one.name: seen(one) for one in rig.fields}

    def _read_by(self, rig: Rig, strength: Strength) -> Iterator[str]:
        if isinstance(strength, Driver):
            joints: Iterable[str] = joints_of(strength.reading)
            controls: Iterable[str] = controls_of(strength.reading)
        elif strength.kind == "sample":
            one = self._fields[strength.field]
            joints, controls = [name for name in (one.joint, one.relative_to) if name is not None], ()
        for name in joints:
            own, _ = self._joints[name]
            key = f"joint {own}"
            if key not in self.nodes:
                self.nodes[key] = _Node(_JOINTS, "joint", own, self._joints[own][1], None)
            yield key
        for name in controls:
            found = next(one for one in rig.controls if one.name == name)
            key = f"control {found.declared}"
            if key not in self.nodes:
                self.nodes[key] = _Node(_JOINTS, "control", found.declared, "", self._lines.place("control", name))
            yield key

    def _node(self, column: int, kind: str, key: str, entry: object) -> str:
        """The key of an entry's item; `key`: what its row is found by."""
        declared, side, name = (str(getattr(entry, part)) for part in ("declared", "side", "name"))
        own = f"{kind} {declared}"
        if own not in self.nodes:
            block, place = self._blocks.get(key, ""), self._lines.place(kind, name)
            self.nodes[own] = _Node(column, kind, declared, block, place)
        self.nodes[own].sides.add(side)
        return own

    def _join(self, start: str, end: str) -> None:
        self.nodes[start].feeds[end] = None
        self.nodes[end].fed_by[start] = None


def _placed(nodes: _Nodes) -> dict[str, int]:
    """The row of each item."""
    rows: dict[str, int] = {}
    taken: dict[int, set[int]] = {_COMBINED: set(), _FED: set()}
    cursor = 0
    for driver in _by_joint(nodes):
        rows[driver] = cursor
        fed = [key for key in nodes.nodes[driver].feeds if nodes.nodes[key].column == _FED and key not in rows]
        for key in fed:
            rows[key] = cursor + fed.index(key)
            taken[_FED].add(rows[key])
        if any(nodes.nodes[key].column == _FED for key in nodes.nodes[driver].feeds):
            taken[_COMBINED].add(cursor)
        cursor += max(1, len(fed))
    for joint in nodes.of_column(_JOINTS):
        wanted = min(rows[key] for key in nodes.nodes[joint].feeds)
        rows[joint] = _free({rows[one] for one in nodes.of_column(_JOINTS) if one in rows}, wanted)
    for key in nodes.of_column(_COMBINED):
        parts = [rows[part] for part in nodes.nodes[key].fed_by if part in rows]
        rows[key] = _free(taken[_COMBINED], sum(parts) // len(parts) if parts else 0)
        taken[_COMBINED].add(rows[key])
        for end in nodes.nodes[key].feeds:
            if nodes.nodes[end].column == _FED and end not in rows:
                rows[end] = _free(taken[_FED], rows[key])
                taken[_FED].add(rows[end])
    return rows


def _by_joint(nodes: _Nodes) -> list[str]:
    """Drivers and samples, those of one joint together, joints in the order in which they are met."""
    first = {key: number for number, key in enumerate(nodes.of_column(_JOINTS))}
    drivers = nodes.of_column(_DRIVERS)
    return sorted(drivers, key=lambda key: first.get(next(iter(nodes.nodes[key].fed_by), ""), len(first)))


def _free(taken: set[int], wanted: int) -> int:
    """The free row that is nearest to one, the later one of two."""
    away = 0
    while True:
        for row in (wanted + away, wanted - away):
            if row >= 0 and row not in taken:
                return row
        away += 1


def _drawn(nodes: _Nodes, rows: Mapping[str, int]) -> GraphView:
    shown = [column for column in range(len(_TITLES)) if nodes.of_column(column)]
    height = max(rows.values()) + 1
    ids = {key: f"item-{number}" for number, key in enumerate(rows)}
    columns = []
    for column in shown:
        items = {rows[key]: _item(ids[key], nodes, key) for key in nodes.of_column(column)}
        columns.append(GraphColumn(_TITLES[column], tuple(items.get(row) for row in range(height))))
    lines = [
        GraphLine(ids[start], ids[end], _path(shown, nodes.nodes[start], nodes.nodes[end], rows[start], rows[end]))
        for start in rows
        for end in nodes.nodes[start].feeds
    ]
    return GraphView(tuple(columns), tuple(lines), height)


def _item(number: str, nodes: _Nodes, key: str) -> GraphItem:
    node = nodes.nodes[key]
    sides = "" if len(node.sides) != 1 or "none" in node.sides else {"left": "L", "right": "R"}[next(iter(node.sides))]
    feeds, fed_by = (tuple(nodes.nodes[one].name for one in names) for names in (node.feeds, node.fed_by))
    return GraphItem(number, node.kind, node.name, sides, node.block, node.place, feeds, fed_by)


def _path(shown: Sequence[int], start: _Node, end: _Node, from_row: int, to_row: int) -> str:
    """From the right of an item to the left of the other; within a column in a bow on its left."""
    pitch = 100.0 * (1.0 - _WIDTH) / max(1, len(shown) - 1)
    left, right = (shown.index(node.column) * pitch for node in (end, start))
    y0, y1 = from_row + 0.5, to_row + 0.5
    if start.column == end.column:
        return f"M{left:.1f} {y0:g}C{left - 4:.1f} {y0:g} {left - 4:.1f} {y1:g} {left:.1f} {y1:g}"
    begin = right + 100.0 * _WIDTH
    # What passes a column goes straight across it, in the row where it began.
    passed = left - 0.4 * (pitch - 100.0 * _WIDTH) * 2.0
    middle = (max(begin, passed) + left) / 2.0
    return f"M{begin:.1f} {y0:g}H{max(begin, passed):.1f}C{middle:.1f} {y0:g} {middle:.1f} {y1:g} {left:.1f} {y1:g}"

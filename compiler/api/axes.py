"""The table of mirrored readings: which joint and which axis was found on each side."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from plica.kinds.readings import Reading, joints_of, kind_of
from plica.rig.entry_text import filled, vector_text
from plica.rig.rig import Rig
from plica.rig.strengths import Driver, Field


class AxisRow(NamedTuple):
    """One side of one reading."""

    output: str
    side: str
    what: str
    joint: str
    axis: str


def table(rig: Rig) -> list[str]:
    """The lines of every reading with an axis that exists on both sides, left above right."""
    rows = list(_rows(rig))
    if not rows:
        return ["no reading with an axis exists on both sides"]
    head = AxisRow("output", "side", "reads", "joint", "axis in the joint's own rest frame")
    widths = [max(len(row[column]) for row in (head, *rows)) for column in range(len(head))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in (head, *rows)]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return [*(line.rstrip() for line in lines), ""]


def _rows(rig: Rig) -> Iterator[AxisRow]:
    """Rows by declared name; of each, left before right."""
    entries = [entry for entry in (*rig.strengths, *rig.fields) if isinstance(entry, Driver | Field)]
    sides: dict[tuple[str, str], dict[str, AxisRow]] = {}
    for entry in entries:
        shown = _field_axis(entry) if isinstance(entry, Field) else _reading_axis(entry.reading)
        if shown is not None and entry.side != "none":
            kind = type(entry).__name__
            sides.setdefault((entry.declared, kind), {})[entry.side] = AxisRow(entry.name, entry.side, *shown)
    for _, pair in sorted(sides.items()):
        if len(pair) == 2:
            yield pair["left"]
            yield pair["right"]


def _field_axis(field: Field) -> tuple[str, str, str] | None:
    joints = field.joint if field.relative_to is None else f"{field.joint}, {field.relative_to}"
    return ("direction", joints, vector_text(field.axis)) if field.axis else None


def _reading_axis(reading: Reading) -> tuple[str, str, str] | None:
    """What is read, of which joint, about which axis; None for a reading without an axis."""
    axis = kind_of(reading).axis
    if axis is None:
        return None
    return filled(axis.title, reading), ", ".join(joints_of(reading)), filled(axis.shown, reading)

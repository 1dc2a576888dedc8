"""References to what was renamed: an old entry that names another by its former name says the same as before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from plica.kinds.complete import complete
from plica.kinds.expectations import About, expectation_kind
from plica.kinds.reading_kind import Part, ReadingKind
from plica.kinds.readings import READING_KINDS
from plica.rig.offsets_table import ShapeOffsets
from plica.rig.rig import Expectation, Rig, RigJoint
from plica.rig.strengths import Field, Sample, StrengthOf
from plica.rig.surfaces import Fold, JointPose, RegionSet, Sculpt, Shape, SkinOf, StrengthPose
from plica.values import Alias

Renamed = Mapping[str, Mapping[str, str]]


def _joints_in(kind: ReadingKind[Any]) -> Iterator[str]:
    """The fields of a kind of reading that hold names of joints."""
    yield from kind.named(Part.JOINT)
    if "relative_to" in kind.record._fields:
        yield "relative_to"


# The fields that hold names of other entries, and the lists that those stand in.
REFERENCES: Mapping[tuple[type, str], tuple[str, ...]] = {
    **{(kind.record, name): ("controls",) for kind in READING_KINDS.values() for name in kind.named(Part.CONTROL)},
    **{(kind.record, name): ("joints",) for kind in READING_KINDS.values() for name in _joints_in(kind)},
    **{(RigJoint, name): ("joints",) for name in ("name", "parent", "partner")},
    **{(Field, name): ("joints",) for name in ("joint", "relative_to")},
    (SkinOf, "joints"): ("joints",),
    (JointPose, "joint"): ("joints",),
    (Alias, "joint"): ("joints",),
    (ShapeOffsets, "joint"): ("joints",),
    (StrengthOf, "strength"): ("strengths",),
    (StrengthPose, "strength"): ("strengths",),
    (Sample, "field"): ("fields",),
    (RegionSet, "regions"): ("regions",),
    (Sculpt, "after"): ("shapes",),
    (Shape, "within"): ("regions",),
    (Shape, "follows"): ("strengths",),
    (Fold, "detail"): ("details",),
    (Fold, "area"): ("regions",),
    (Fold, "follows"): ("strengths",),
    (Expectation, "against"): ("regions",),
    (Expectation, "over"): ("strengths",),
    (Expectation, "over_poses"): ("poses",),
    (ShapeOffsets, "shape"): ("shapes",),
}
# The lists in which what an expectation measures stands; one about the whole character names nothing.
_MEASURED: Mapping[str, str] = complete(
    {"region": "regions", "strength": "strengths", "detail": "details", "shape": "shapes", "character": "regions"},
    get_args(About),
    "list",
)


def tables_of(record: Any, field: str) -> tuple[str, ...]:
    """The lists in which the names that a field holds are looked up; none for a field that holds no names."""
    if isinstance(record, Expectation) and field == "of":
        return (_MEASURED[expectation_kind(record.kind).about],)
    return REFERENCES.get((type(record), field), ())


def rewritten(record: Any, renamed: Renamed) -> Any:
    """The record with every reference to a renamed entry, at any depth, put into the new name."""
    if not hasattr(record, "_fields"):
        if isinstance(record, tuple) and record and hasattr(record[0], "_fields"):
            return tuple(rewritten(item, renamed) for item in record)
        return record
    values = []
    for name, value in zip(record._fields, record, strict=True):
        tables = tables_of(record, name)
        values.append(_put(value, tables, renamed) if tables else rewritten(value, renamed))
    return type(record)(*values)


def declared_names(rig: Rig) -> dict[str, dict[str, str]]:
    """For each list whose entries others name, the declared name of each output name."""
    tables = {"controls", "fields", "strengths", "regions", "shapes", "details", "folds", "poses"}
    return {
        table: {entry.name: getattr(entry, "declared", entry.name) for entry in getattr(rig, table)}
        for table in sorted(tables)
    }


def _put(value: Any, tables: tuple[str, ...], renamed: Renamed) -> Any:
    if isinstance(value, tuple):
        return tuple(_put(item, tables, renamed) for item in value)
    for table in tables:
        value = renamed.get(table, {}).get(value, value)
    return value

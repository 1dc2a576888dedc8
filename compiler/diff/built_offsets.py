"""A built rig with all its offsets: those that do not stand in the JSON text come from the binary file beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from plica.rig.offsets_table import ListedInbetween, ListedOffsets, OffsetsTable, ShapeOffsets
from plica.rig.rig import Rig
from plica.workspace import Refused, Workspace, located_bytes

if TYPE_CHECKING:
    from plica.mesh.arrays import Offsets
    from plica.mesh.offsets_file import StoredShape as Stored


class Filled(NamedTuple):
    """A rig with its offsets; `missing` names the file of offsets where it is not there: then some are not known."""

    rig: Rig
    missing: str | None = None


def with_stored_offsets(rig: Rig, workspace: Workspace) -> Filled:
    """The rig, with the offsets of those shapes that the text only gives the sums of.

    Raises ArchiveError where the file cannot be read, does not hold what the rig says of it, or belongs to another
    build than the rig: what would be compared then is no state that there ever was.
    """
    table = rig.offsets
    if table is None or all(shape.listed is not None for shape in table.shapes):
        return Filled(rig)
    from plica.mesh.npz import ArchiveError
    from plica.mesh.offsets_file import read_offsets_file

    data = located_bytes(workspace.locate, table.file, "model_bytes")
    if isinstance(data, Refused):
        if data.name == "missing-file":
            return Filled(rig, table.file)
        raise ArchiveError(data.values.get("reason", "it lies outside the folders that may be read"))
    stored = read_offsets_file(data, rig.build or "")
    if stored.vertex_count != table.vertex_count:
        raise ArchiveError(f"it is about {stored.vertex_count} vertices, the rig about {table.vertex_count}")
    shapes = tuple(_filled(shape, stored.shapes.get(shape.shape)) for shape in table.shapes)
    return Filled(rig._replace(offsets=table._replace(shapes=shapes)))


def without_offsets_of(rig: Rig, other: Rig) -> Rig:
    """The rig with the sums alone of those shapes of which the other rig has only the sums."""
    if rig.offsets is None or other.offsets is None:
        return rig
    bare = {shape.shape for shape in other.offsets.shapes if shape.listed is None}
    shapes = tuple(
        shape._replace(listed=None, inbetweens=()) if shape.shape in bare else shape for shape in rig.offsets.shapes
    )
    table: OffsetsTable = rig.offsets._replace(shapes=shapes)
    return rig._replace(offsets=table)


def _filled(shape: ShapeOffsets, stored: Stored | None) -> ShapeOffsets:
    if shape.listed is not None:
        return shape
    from plica.mesh.npz import ArchiveError

    parts = () if stored is None else (stored.offsets, *(offsets for _, offsets in stored.inbetweens))
    count = len(set().union(*(part.indices.tolist() for part in parts))) if parts else None
    if stored is None or count != shape.vertices:
        held = "does not hold it" if count is None else f"holds {count}"
        raise ArchiveError(f"the rig says that {shape.shape} moves {shape.vertices} vertices, and it {held}")
    between = tuple(ListedInbetween(at, _listed(offsets)) for at, offsets in stored.inbetweens)
    return shape._replace(listed=_listed(stored.offsets), inbetweens=between)


def _listed(offsets: Offsets) -> ListedOffsets:
    """The offsets as the text would list them, without normals, which no text is told of."""
    from plica.mesh.offsets_file import decimals

    vectors = ((x, y, z) for x, y, z in decimals(offsets.offsets))
    return ListedOffsets(tuple(offsets.indices.tolist()), tuple(vectors))

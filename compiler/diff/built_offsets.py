"""A built rig with all its offsets: those that do not stand in the JSON text come from the binary file beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plica.rig.model import ListedInbetween, ListedOffsets, Rig, ShapeOffsets
from plica.workspace import Refused, Workspace, located_bytes

if TYPE_CHECKING:
    from plica.mesh.arrays import Offsets
    from plica.mesh.offsets_file import StoredShape as Stored


def with_stored_offsets(rig: Rig, workspace: Workspace) -> Rig:
    """The rig as it is where there is no such file.

    Raises ArchiveError where the file cannot be read, is about another mesh, or belongs to another build than the rig:
    what would be compared then is no state that there ever was.
    """
    table = rig.offsets
    if table is None or all(shape.listed is not None for shape in table.shapes):
        return rig
    from plica.mesh.npz import ArchiveError
    from plica.mesh.offsets_file import read_offsets_file

    data = located_bytes(workspace.locate, table.file, "model_bytes")
    if isinstance(data, Refused):
        if data.name == "missing-file":
            return rig
        raise ArchiveError(data.values.get("reason", data.name))
    stored = read_offsets_file(data, rig.build or "")
    if stored.vertex_count != table.vertex_count:
        raise ArchiveError(f"it is about {stored.vertex_count} vertices, the rig about {table.vertex_count}")
    shapes = tuple(_filled(shape, stored.shapes.get(shape.shape)) for shape in table.shapes)
    return rig._replace(offsets=table._replace(shapes=shapes))


def _filled(shape: ShapeOffsets, stored: Stored | None) -> ShapeOffsets:
    if stored is None:
        return shape
    between = tuple(ListedInbetween(at, _listed(offsets)) for at, offsets in stored.inbetweens)
    return shape._replace(listed=_listed(stored.offsets), inbetweens=between)


def _listed(offsets: Offsets) -> ListedOffsets:
    """The offsets without normals, which no text is told of."""
    return ListedOffsets(tuple(offsets.indices.tolist()), tuple((x, y, z) for x, y, z in offsets.offsets.tolist()))

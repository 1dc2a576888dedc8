"""A Build's computed shapes as the offsets file and its table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from plica.emit.build import Build, ComputedOffsets
from plica.emit.output_file_names import safe_file_name
from plica.quantities import length, memory
from plica.rig.offsets_table import ListedInbetween, ListedOffsets, Matrix4, OffsetsPart, OffsetsTable, ShapeOffsets
from plica.rig.rig import Rig
from plica.rounding import places_of, rounded_number

if TYPE_CHECKING:
    from plica.mesh.arrays import Floats, MeshPart, Offsets
    from plica.mesh.attach import Attached

TO_MODEL_PLACES: Final = 11
"""At least so many decimal places: nine that `plica.mesh.model_space` leaves, of a file in centimetres."""


def offsets_name(rig: Rig) -> str:
    """The name of the file with a character's offsets."""
    return f"{safe_file_name(rig.character.name)}.offsets.npz"


def offsets_files(build: Build) -> dict[str, bytes]:
    """The offsets file by its name, the same bytes from every target that emits it; none without a mesh."""
    attached, identity = build.attached, build.rig.build
    if attached is None:
        return {}
    made = build.computed.offsets
    if made is None or made.attached is not attached or made.build != identity:
        made = build.computed.offsets = ComputedOffsets(attached, identity, offsets_bytes(attached, identity))
    return {offsets_name(build.rig): made.content}


def parts_of(attached: Attached) -> tuple[OffsetsPart, ...]:
    """Which vertices came from where."""
    return tuple(map(_part, attached.mesh.parts))


def offsets_bytes(attached: Attached, build: str | None) -> bytes:
    """The binary offsets file of a build; `targets/json/offsets.md` describes it."""
    from plica.mesh.offsets_file import OffsetsFile, offsets_file
    from plica.mesh.offsets_file import StoredShape as Stored

    shapes = {
        name: Stored(shape.primary, tuple(zip(shape.at, shape.offsets, strict=True)))
        for name, shape in attached.shapes.items()
    }
    points = {number: part.points for number, part in enumerate(attached.mesh.parts) if part.points is not None}
    return offsets_file(OffsetsFile(attached.mesh.vertex_count, shapes, build or "", points))


def with_offsets(rig: Rig, attached: Attached, most_listed: int) -> Rig:
    """The rig with its table of offsets; shapes of at most `most_listed` vertices are listed in it as well."""
    shapes = []
    for name, shape in attached.shapes.items():
        size = attached.sizes[name]
        small = size.vertices <= most_listed
        shapes.append(
            ShapeOffsets(
                shape=name,
                vertices=size.vertices,
                bytes=size.bytes,
                largest=rounded_number(size.largest),
                joint=size.joint,
                listed=_listed(shape.primary) if small else None,
                inbetweens=tuple(
                    ListedInbetween(at, _listed(offsets)) for at, offsets in zip(shape.at, shape.offsets, strict=True)
                )
                if small
                else (),
            )
        )
    mesh = attached.mesh
    parts = parts_of(attached)
    table = OffsetsTable(offsets_name(rig), mesh.vertex_count, attached.fingerprint, parts, tuple(shapes))
    return rig._replace(offsets=table)


def _part(part: MeshPart) -> OffsetsPart:
    points = part.count if part.points is None else int(part.points.max(initial=-1)) + 1
    return OffsetsPart(
        part.mesh, part.node, part.primitives, part.start, part.count, points, _matrix_rows(part.to_model)
    )


def _matrix_rows(matrix: Floats) -> Matrix4:
    """An affine matrix; its linear part and its translation are rounded by themselves.

    Readers verify the mesh by its fingerprint, so nothing may be lost of what `plica.mesh.model_space` rounded already.
    """
    a, b, c, d, e, f, g, h, i = _to_model_digits(matrix[:3, :3].reshape(-1).tolist())
    x, y, z = _to_model_digits(matrix[:3, 3].tolist())
    return (a, b, c, x), (d, e, f, y), (g, h, i, z), (0.0, 0.0, 0.0, 1.0)


def _to_model_digits(values: Sequence[float]) -> Sequence[float]:
    places = max(places_of(values), TO_MODEL_PLACES)
    return [round(value, places) + 0.0 for value in values]


def _listed(offsets: Offsets) -> ListedOffsets:
    from plica.mesh.offsets_file import plain

    lists: dict[str, Any] = plain(offsets)
    normals = lists.get("normals")
    return ListedOffsets(
        tuple(lists["indices"]),
        tuple((x, y, z) for x, y, z in lists["offsets"]),
        None if normals is None else tuple((x, y, z) for x, y, z in normals),
    )


def weights_of_shapes(attached: Attached) -> list[str]:
    """A line for each shape: how many vertices move, how large that is, the largest move and where, and whether its
    sculpt shows one side."""
    rows = [
        (
            name,
            f"{size.vertices} vertices",
            memory(size.bytes),
            length(size.largest)
            + (f" near {size.joint}" if size.joint else "")
            + (f", {size.sided}" if size.sided else ""),
        )
        for name, size in attached.sizes.items()
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(3)] if rows else []
    return [f"{row[0]:<{widths[0]}}  {row[1]:>{widths[1]}}  {row[2]:>{widths[2]}}  at most {row[3]}" for row in rows]

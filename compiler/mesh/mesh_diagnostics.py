"""What there is to say about a mesh, its symmetry and its sculpts, as diagnostics."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.fingerprint import (
    Fingerprint,
    NeutralDifference,
    compare_fingerprints,
    compare_neutral,
    fingerprint,
    read_fingerprint,
)
from plica.mesh.mesh_reader import mesh_of_rig
from plica.mesh.plane import MirrorPlane
from plica.mesh.sculpt_reader import Sculpted, read_sculpt
from plica.mesh.symmetry import SymmetryMap, plane_of, report_of, settled_map, symmetry_map
from plica.mesh.vertex_places import VertexPlace
from plica.quantities import length
from plica.readers.model_reader import read_or_told
from plica.rig.rig import Rig
from plica.source import Span

MOST_PLACES = 3  # named in one message


def find_mesh(rig: Rig, path: Path, shown: str, span: Span | None, diagnostics: Diagnostics) -> Mesh | None:
    """The rig's mesh, or None and a diagnostic; `shown` is what the user calls the file."""
    return read_or_told(lambda: mesh_of_rig(rig, path), "unreadable-model", shown, span, diagnostics)


def find_symmetry(rig: Rig, mesh: Mesh, span: Span | None, diagnostics: Diagnostics) -> SymmetryMap | None:
    """The mirror map of the rig's mesh; what has no partner is told. None where there is no mirror plane.

    A stated plane is taken as it is. One that was found from the joints gives the direction; the points tell its place,
    and where it lies along no axis also how exactly it is turned.
    """
    tolerance, stated = rig.character.tolerance, rig.symmetry
    if stated is not None and not stated.found:
        plane: MirrorPlane | None = MirrorPlane(stated.normal, stated.offset)
    else:
        plane = plane_of(mesh, tolerance, stated.normal if stated is not None else None)
        if plane is None and stated is not None:
            plane = MirrorPlane(stated.normal, stated.offset, True)
    if plane is None:
        diagnostics.add("no-mirror-plane", span)
        return None
    symmetry = settled_map(mesh, symmetry_map(mesh, plane, tolerance))
    report = report_of(mesh, symmetry, [joint.name for joint in rig.skeleton])
    for name, places, count in (
        ("vertices-without-partner", report.unmatched, report.unmatched_count),
        ("vertices-off-the-mirror", report.uneven, report.uneven_count),
    ):
        if places:
            worst = max(places, key=lambda place: place.worst)
            diagnostics.add_filled(
                name,
                span,
                {
                    "count": str(count),
                    "vertices": str(report.vertices),
                    "places": _places(places),
                    "worst": length(worst.worst),
                    "vertex": str(worst.vertex),
                    "position": _position(worst),
                },
            )
    return symmetry


def find_sculpt(
    path: Path, shown: str, meshes: Collection[str], span: Span | None, diagnostics: Diagnostics
) -> Sculpted | None:
    """A sculpt, or None and a diagnostic; `shown` is what the user calls the file."""
    return read_or_told(lambda: read_sculpt(path, meshes), "unreadable-sculpt", shown, span, diagnostics)


def check_sculpt(
    sculpt: Sculpted,
    mesh: Mesh,
    shown: str,
    span: Span | None,
    diagnostics: Diagnostics,
    joints: Sequence[str],
    tolerance: float,
    expected: Floats | None = None,
    ours: Fingerprint | None = None,
) -> bool:
    """Whether a sculpt was made over this mesh; if not, a diagnostic tells what differs.

    `expected` (v, 3): where the vertices stand in the pose that it was made in, if that is not the neutral one. `ours`:
    the mesh's fingerprint, where it is known already.
    """
    stated = sculpt.fingerprint
    if stated is not None and not _same_neutral(stated, mesh, shown, span, diagnostics, ours, sculpt.draft is not None):
        return False
    if sculpt.positions is None:
        difference = NeutralDifference(
            "none" if sculpt.vertex_count == mesh.vertex_count else "count",
            mesh.vertex_count,
            mesh.point_count,
            sculpt.vertex_count,
        )
    else:
        difference = compare_neutral(mesh, sculpt.positions, sculpt.edges, joints, tolerance, expected)
    return _tell(difference, shown, span, diagnostics)


def _same_neutral(
    text: str,
    mesh: Mesh,
    shown: str,
    span: Span | None,
    diagnostics: Diagnostics,
    ours: Fingerprint | None,
    drafted: bool,
) -> bool:
    stated = read_fingerprint(text)
    if stated is None:
        diagnostics.add(
            "unreadable-sculpt", span, file=shown, reason="its `fingerprint` is none that this version knows"
        )
        return False
    kind = compare_fingerprints(ours or fingerprint(mesh), stated)
    if kind == "moved":
        diagnostics.add("draft-of-edited-neutral" if drafted else "sculpt-of-edited-neutral", span, file=shown)
        return False
    return _tell(
        NeutralDifference(kind, mesh.vertex_count, mesh.point_count, stated.vertices), shown, span, diagnostics
    )


def _tell(difference: NeutralDifference, shown: str, span: Span | None, diagnostics: Diagnostics) -> bool:
    if difference.kind == "count":
        diagnostics.add(
            "sculpt-of-other-size",
            span,
            file=shown,
            count=difference.other_vertices,
            vertices=difference.vertices,
            points=difference.points,
        )
    elif difference.kind == "order":
        moved = f"{difference.count} of its" if difference.count else "its"
        diagnostics.add("sculpt-in-other-order", span, file=shown, moved=moved)
    elif difference.kind == "topology":
        diagnostics.add("sculpt-of-other-mesh", span, file=shown, count=difference.other_vertices)
    else:
        return True
    return False


def _places(places: Sequence[VertexPlace]) -> str:
    named = [f"{place.count} near `{place.joint}`" if place.joint else f"{place.count}" for place in places]
    more = sum(place.count for place in places[MOST_PLACES:])
    return ", ".join(named[:MOST_PLACES]) + (f" and {more} elsewhere" if more else "")


def _position(place: VertexPlace) -> str:
    return "(" + ", ".join(f"{value:.4g}" for value in place.position) + ") m"

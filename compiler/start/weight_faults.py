"""Where the skin weights themselves are at fault, which no sculpt can mend for good.

The bounds are common practice, no source; each fault comes with its figure, so that a reader can judge it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.attach import Attached
from plica.mesh.point_weights import followers, point_weights
from plica.mesh.sparse import SparseFloats
from plica.mesh.weld import edges_of, first_vertices, point_triangles
from plica.rig.rig import Rig
from plica.start.skin_figures import FAR_SHARE, FAR_TIMES, FAR_WEIGHT, TORN, UNEVEN, FaultKind, WeightFault

SHORTEST: Final = 1e-6
"""Edges below this share of the mesh's diagonal are copies of a point, and have no length to be drawn to."""
_SAMPLES: Final = 9
"""Places along a bone, to find the nearest bone by."""


class _FaultyPoints(NamedTuple):
    """Points (n,) with a joint and a figure each."""

    points: Integers
    joints: Integers
    figures: Floats


def weight_faults(rig: Rig, attached: Attached, bones: Mapping[str, str]) -> tuple[WeightFault, ...]:
    """The faults of a mesh's weights, by kind and joint, those of most points first.

    bones: the joint that each joint's bone leads to, by name, where the skeleton's own children do not tell.
    """
    mesh = attached.mesh
    if not len(mesh.bind_joints) or not mesh.vertex_count:
        return ()
    names = [joint.name for joint in rig.skeleton]
    weights = point_weights(mesh, len(names))
    partners = [names.index(joint.partner) if joint.partner in names else row for row, joint in enumerate(rig.skeleton)]
    first = first_vertices(mesh.points)
    places = mesh.positions[first]
    ends = _ends(rig, bones)
    found: list[tuple[FaultKind, _FaultyPoints]] = [
        ("far", _far(weights, places, ends)),
        ("torn", _torn(mesh, weights, places, rig)),
    ]
    if attached.symmetry is not None:
        found.insert(0, ("uneven", _uneven(weights, attached.symmetry.partners, np.array(partners))))
    result = [fault for kind, one in found for fault in _by_joint(kind, one, names, mesh, first)]
    return tuple(result)


def _by_joint(
    kind: FaultKind, found: _FaultyPoints, names: Sequence[str], mesh: Mesh, first: Integers
) -> list[WeightFault]:
    result = []
    for joint in np.unique(found.joints):
        own = np.flatnonzero(found.joints == joint)
        worst = own[np.argmax(found.figures[own])]
        vertex = int(first[found.points[worst]])
        x, y, z = mesh.positions[vertex].tolist()
        result.append(WeightFault(kind, names[joint], len(own), float(found.figures[worst]), vertex, (x, y, z)))
    return sorted(result, key=lambda fault: (-fault.size, fault.joint))


def _uneven(weights: SparseFloats, partners: Integers, mirrored: Integers) -> _FaultyPoints:
    """Points whose weights differ from the mirror image's, each pair once, at the joint of the greatest difference."""
    points = np.flatnonzero(partners >= np.arange(len(partners)))
    image = weights[partners[points]][:, mirrored]
    difference = abs(weights[points] - image).tocsr()
    greatest = difference.max(axis=1).toarray().reshape(-1)
    told = np.flatnonzero(greatest >= UNEVEN)
    joints = np.asarray(difference[told].argmax(axis=1)).reshape(-1)
    return _FaultyPoints(points[told], joints, greatest[told])


# ---- joints far away -----------------------------------------------------------------------------------------


def _ends(rig: Rig, bones: Mapping[str, str]) -> list[tuple[Floats, Floats]]:
    """For each joint where it stands, and the ends (n, 3) of its bones; its own place where it has none."""
    skeleton = skeleton_of(rig)
    origins = np.array([frame.origin for frame in skeleton.frames]).reshape(-1, 3)
    result = []
    for index, joint in enumerate(skeleton.joints):
        ends = list(skeleton.children(index))
        if (beyond := bones.get(joint.name)) is not None:
            ends.append(skeleton.index[beyond])
        result.append((origins[index], origins[ends] if ends else origins[[index]]))
    return result


def _far(weights: SparseFloats, places: Floats, ends: Sequence[tuple[Floats, Floats]]) -> _FaultyPoints:
    """Points with weight on a joint whose bone is far, at that joint."""
    along = np.linspace(0.0, 1.0, _SAMPLES)[:, None, None]
    held = weights.tocsc()
    carrying = np.flatnonzero(np.diff(held.indptr)).tolist()
    if not carrying:
        return _FaultyPoints(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0))
    samples = [(start + along * (stop - start)).reshape(-1, 3) for start, stop in (ends[row] for row in carrying)]
    nearest = np.asarray(cKDTree(np.concatenate(samples)).query(places)[0])
    least = FAR_SHARE * _diagonal(places)
    points, joints, figures = [], [], []
    for joint in carrying:
        column = slice(held.indptr[joint], held.indptr[joint + 1])
        own, amounts = held.indices[column], held.data[column]
        own, amounts = own[amounts >= FAR_WEIGHT], amounts[amounts >= FAR_WEIGHT]
        away = _distances(places[own], *ends[joint])
        far = (away > FAR_TIMES * nearest[own]) & (away - nearest[own] > least)
        points.append(own[far])
        figures.append(amounts[far])
        joints.append(np.full(int(far.sum()), joint))
    return _FaultyPoints(np.concatenate(points), np.concatenate(joints), np.concatenate(figures))


def _distances(places: Floats, start: Floats, stops: Floats) -> Floats:
    """From places (n, 3) to the nearest of some bones from one joint, (n,)."""
    result = np.full(len(places), np.inf)
    for stop in stops:
        way = stop - start
        size = float(way @ way)
        share = np.clip(np.asarray((places - start) @ way / (size or 1.0)), 0.0, 1.0)
        np.minimum(result, np.linalg.norm(places - start - share[:, None] * way, axis=1), out=result)
    return result


def _diagonal(places: Floats) -> float:
    return float(np.linalg.norm(np.ptp(places, axis=0)))


# ---- torn between neighbours ---------------------------------------------------------------------------------


def _torn(mesh: Mesh, weights: SparseFloats, places: Floats, rig: Rig) -> _FaultyPoints:
    """Edges that a turn of a joint draws out, each once, at the joint that draws it most.

    When a joint turns by one radian, two ends of an edge that follow it with weights that differ by w come apart by
    about w r, r being their distance from the joint; against the edge's length that is how much longer it gets.
    """
    edges = edges_of(point_triangles(mesh))
    one, other = edges[:, 0], edges[:, 1]
    lengths = np.linalg.norm(places[one] - places[other], axis=1)
    kept = lengths > SHORTEST * _diagonal(places)
    one, other, lengths = one[kept], other[kept], lengths[kept]
    middles = 0.5 * (places[one] + places[other])
    worst, which = np.zeros(len(one)), np.full(len(one), -1)
    frames = skeleton_of(rig).frames
    for joint, follows in followers(weights, rig):
        jump = np.abs(follows[one] - follows[other])
        rows = np.flatnonzero(jump)
        drawn = jump[rows] * np.linalg.norm(middles[rows] - frames[joint].origin, axis=1) / lengths[rows]
        more = drawn > worst[rows]
        worst[rows[more]], which[rows[more]] = drawn[more], joint
    told = np.flatnonzero(worst >= TORN)
    return _FaultyPoints(one[told], which[told], worst[told])

"""The distance between two triangles."""

from __future__ import annotations

import numpy as np

from plica.measure.separating_axis import meeting
from plica.measure.structure_of_arrays import dot
from plica.mesh.arrays import Floats


def distances(a: Floats, b: Floats) -> Floats:
    """Distances (n,) of closed triangles a and b, (n, 3 corners, 3); 0 where they meet (`meeting`).

    Apart, the nearest points lie on an edge of each, or one is a corner and the other inside the other triangle.
    """
    # As (3, 3 corners, n), from a place of their own: what is far from the origin keeps its digits.
    one, other = ((corners - a[:, :1]).transpose(2, 1, 0) for corners in (a, b))
    first, second = np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3)
    ends = (one[:, first], one[:, (first + 1) % 3], other[:, second], other[:, (second + 1) % 3])
    result = [_between_segments(*ends), _above(one, other), _above(other, one)]
    square = np.concatenate(result).min(axis=0, initial=np.inf)
    return np.where(meeting(a, b), 0.0, np.sqrt(square))


def gaps(one: Floats, other: Floats) -> Floats:
    """What separates triangles (n, 3 corners, 3) along the line between their middles: they are not nearer."""
    # From the first corner, so that what is far from the origin keeps its digits.
    a, b = ((part - one[:, :1]).transpose(2, 1, 0) for part in (one, other))
    line = (b[:, 0] + b[:, 1] + b[:, 2]) - (a[:, 0] + a[:, 1] + a[:, 2])
    length = np.sqrt(dot(line, line))
    first, second = dot(line[:, None], a), dot(line[:, None], b)
    gap = second.min(axis=0) - first.max(axis=0) - 1e-12 * (np.abs(first).max(axis=0) + np.abs(second).max(axis=0))
    # Where the middles coincide nothing is known.
    return np.asarray(np.divide(gap, length, out=np.zeros(len(gap)), where=length > 0.0))


def _between_segments(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Squared distances (m, n) of segments a b and c d, (3, m, n) each; either may be a point.

    The nearest points of the lines, moved to the nearest end one after the other (C. Ericson, "Real-Time Collision
    Detection", 2005, section 5.1.9).
    """
    u, v, gap = b - a, d - c, a - c
    uu, vv, uv = dot(u, u), dot(v, v), dot(u, v)
    ug, vg = dot(u, gap), dot(v, gap)
    s = np.clip(_share(uv * vg - ug * vv, uu * vv - uv * uv), 0.0, 1.0)
    t = np.clip(_share(uv * s + vg, vv), 0.0, 1.0)
    s = np.clip(_share(uv * t - ug, uu), 0.0, 1.0)
    apart = gap + u * s - v * t
    return dot(apart, apart)


def _above(points: Floats, triangles: Floats) -> Floats:
    """Squared distances (m, n) of points (3, m, n) from the insides of triangles (3, 3 corners, n), infinite beside."""
    a = triangles[:, :1]
    u, v, w = triangles[:, 1:2] - a, triangles[:, 2:] - a, points - a
    uu, vv, uv, uw, vw = dot(u, u), dot(v, v), dot(u, v), dot(u, w), dot(v, w)
    area = uu * vv - uv * uv
    s, t = _share(uw * vv - vw * uv, area), _share(vw * uu - uw * uv, area)
    apart = w - u * s - v * t
    inside = (area > 1e-24 * uu * vv) & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    return np.where(inside, dot(apart, apart), np.inf)


def _share(part: Floats, whole: Floats) -> Floats:
    """A quotient; 0 where there is nothing to divide by."""
    whole = np.broadcast_to(whole, part.shape)
    return np.divide(part, whole, out=np.zeros(part.shape), where=whole > 0.0)

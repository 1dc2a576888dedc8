"""The distance between two triangles."""

from __future__ import annotations

import numpy as np

from plica.measure.separating import meeting
from plica.mesh.model import Floats


def distances(a: Floats, b: Floats) -> Floats:
    """Distances (n,) of closed triangles a and b, (n, 3 corners, 3); 0 where they meet (`meeting`).

    Apart, the nearest points lie on an edge of each, or one is a corner and the other inside the other triangle.
    """
    square = np.full(len(a), np.inf)
    for one in range(3):
        for other in range(3):
            ends = (a[:, one], a[:, (one + 1) % 3], b[:, other], b[:, (other + 1) % 3])
            np.minimum(square, _between_segments(*ends), out=square)
    for corners, triangle in ((a, b), (b, a)):
        for corner in range(3):
            np.minimum(square, _above(corners[:, corner], triangle), out=square)
    return np.where(meeting(a, b), 0.0, np.sqrt(square))


def _between_segments(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Squared distances of segments a b and c d, (n, 3) each; either may be a point.

    The nearest points of the lines, moved to the nearest end one after the other (C. Ericson, "Real-Time Collision
    Detection", 2005, section 5.1.9).
    """
    u, v, gap = b - a, d - c, a - c
    uu, vv, uv = _dot(u, u), _dot(v, v), _dot(u, v)
    ug, vg = _dot(u, gap), _dot(v, gap)
    s = np.clip(_share(uv * vg - ug * vv, uu * vv - uv * uv), 0.0, 1.0)
    t = np.clip(_share(uv * s + vg, vv), 0.0, 1.0)
    s = np.clip(_share(uv * t - ug, uu), 0.0, 1.0)
    apart = gap + u * s[:, None] - v * t[:, None]
    return _dot(apart, apart)


def _above(points: Floats, triangles: Floats) -> Floats:
    """Squared distances of points (n, 3) from the insides of triangles, infinite beside them."""
    a = triangles[:, 0]
    u, v, w = triangles[:, 1] - a, triangles[:, 2] - a, points - a
    uu, vv, uv, uw, vw = _dot(u, u), _dot(v, v), _dot(u, v), _dot(u, w), _dot(v, w)
    area = uu * vv - uv * uv
    s, t = _share(uw * vv - vw * uv, area), _share(vw * uu - uw * uv, area)
    apart = w - u * s[:, None] - v * t[:, None]
    inside = (area > 1e-24 * uu * vv) & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    return np.where(inside, _dot(apart, apart), np.inf)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("ni,ni->n", a, b))


def _share(part: Floats, whole: Floats) -> Floats:
    """A quotient; 0 where there is nothing to divide by."""
    return np.divide(part, whole, out=np.zeros_like(part), where=whole > 0.0)

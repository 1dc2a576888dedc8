"""Wren with folds of a test's own, attached and ready for masks."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.prepare import prepare
from plica.mesh.arrays import Floats, Integers
from plica.pipeline import compile_file
from tests.support.wren import skinned

DETAIL = 'detail fur { relaxed "relaxed.png" contracted "contracted.png" budget 64 MiB }\n'
DETAIL += "driver turn { reads rotation about y of head span 5 deg .. 60 deg }\n"
FOLDS = (
    'region muzzle both { painted "masks/muzzle.png" }\n'
    "region cheek both { skin of jaw feather 15 mm }\n"
    "region nape { skin of neck }\n"
    "fold muzzle_lines both { in fur area muzzle follows turn tolerance 2 % }\n"
    "fold cheek_lines both { in fur area cheek follows turn tolerance 5 % }\n"
    "fold nape_lines { in fur area nape follows turn tolerance 10 % }\n"
)


def folded(folder: Path, declarations: str = DETAIL + FOLDS, **files: bytes) -> Build:
    """A build of Wren with these declarations; the maps that a detail names are only there."""
    skinned(declarations, folder, **{"relaxed.png": b"", "contracted.png": b"", **files})
    diagnostics = Diagnostics()
    made = prepare(compile_file(folder / "wren.plica"), folder, (), diagnostics)
    assert made is not None, [item.message for item in diagnostics.all]
    return made


def steepness(uv: Floats, triangles: Integers, weights: Floats, size: int) -> Floats:
    """How steeply weights (v,) change around each vertex, at most: |change to the right| + |change downward| per texel.

    Of the triangles that meet in the vertex; solved for here from their corners, not taken from the rasteriser.
    """
    corners, values = uv[triangles] * size, weights[triangles]
    edges = corners[:, 1:] - corners[:, :1]
    usable = np.abs(np.linalg.det(edges)) > 1e-9
    change = np.linalg.solve(edges[usable], (values[:, 1:] - values[:, :1])[usable][..., None])[..., 0]
    result = np.zeros(len(uv))
    for corner in range(3):
        np.maximum.at(result, triangles[usable][:, corner], np.abs(change).sum(axis=1))
    return result

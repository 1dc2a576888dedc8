"""The texture layout: places every island of the left half in the unit square, the right half being its
reflection.

The trunk's islands lie on the middle line u = 0.5 and continue across it on the right side; everything else
fills the space beside them. The face, where the wrinkles are, gets finer texels than trunk and tail.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats

GUTTER: Final = 0.012
"""Free space round each island, in metres of arm skin."""

_COLUMN: Final = ("nose", "head", "torso", "tail", "tail_tip")
# Rows that fill the space beside the column, from the top; none begins above the island it is listed with.
_BESIDE: Final = (
    ("nose", ("arm",)),
    ("head", ("index", "middle")),
    ("head", ("ring", "little")),
    ("head", ("toe_1", "toe_2")),
    ("head", ("toe_3", "toe_4")),
    ("head", ("ear",)),
    ("tail", ("leg",)),
)
_FINENESS: Final = {"nose": 1.4, "head": 1.4, "torso": 0.8, "tail": 0.75, "leg": 0.9}
"""Texture length per length of skin, relative to that of arms and paws."""
_SIDEWAYS: Final = frozenset({"leg"})


def _boxes(corners: Floats, names: tuple[str, ...]) -> dict[str, tuple[Floats, Floats]]:
    label = np.array(names)
    boxes = {}
    for name in dict.fromkeys(names):
        points = corners[label == name].reshape(-1, 2)
        boxes[name] = (points.min(axis=0), points.max(axis=0))
    return boxes


def is_turned(names: tuple[str, ...]) -> NDArray[np.bool_]:
    """Which faces (n,) belong to an island that lies on its side in the layout."""
    return np.isin(np.array(names), sorted(_SIDEWAYS))


def _turned(corners: Floats, names: tuple[str, ...]) -> Floats:
    sideways = is_turned(names)
    quarter = np.stack([-corners[..., 1], corners[..., 0]], axis=-1)
    return np.where(sideways[:, None, None], quarter, corners)


def _offsets(boxes: dict[str, tuple[Floats, Floats]]) -> tuple[dict[str, Floats], Floats]:
    """Where each island's smallest corner goes, with u = 0 on the middle line, and the size of the whole
    half.
    """
    places: dict[str, Floats] = {}
    spans: dict[str, tuple[float, float]] = {}
    bottom = GUTTER
    for name in _COLUMN:
        low, high = boxes[name]
        places[name] = np.array([low[0], bottom])
        spans[name] = (bottom, float(bottom + high[1] - low[1]))
        bottom = spans[name][1] + GUTTER
    widest, cursor = 0.0, GUTTER
    for anchor, row in _BESIDE:
        sizes = {name: boxes[name][1] - boxes[name][0] for name in row}
        top = max(cursor, spans[anchor][0])
        cursor = top + max(float(size[1]) for size in sizes.values()) + GUTTER
        beside = [name for name in _COLUMN if spans[name][0] < cursor and spans[name][1] + GUTTER > top]
        right = min(float(boxes[name][0][0]) for name in beside) - GUTTER
        for name, size in sizes.items():
            places[name] = np.array([right - size[0], top])
            right -= float(size[0]) + GUTTER
        widest = max(widest, -right)
    return places, np.array([widest, max(bottom, cursor)])


def laid_out(corners: Floats, names: tuple[str, ...]) -> tuple[Floats, Floats]:
    """Places the faces of the left half, given in metres, in the unit square.

    `corners` is (faces, 4, 2), `names` each face's island. Returns the corners' texture coordinates, same
    shape, v down, and the scale of each face (faces,) in texture widths per metre of skin.
    """
    fineness = np.array([_FINENESS.get(name, 1.0) for name in names])
    turned = _turned(corners, names) * fineness[:, None, None]
    boxes = _boxes(turned, names)
    places, size = _offsets(boxes)
    scale = float(min(0.5 / size[0], 1.0 / size[1]))
    shift = np.array([places[name] - boxes[name][0] for name in names])
    placed = (turned + shift[:, None, :]) * scale
    placed[..., 0] += 0.5
    return placed, scale * fineness

"""Folds that fire together on the same skin: where their masks, each times its strength, sum over 1.

The factor is clamped there, so that one fold's fading shows nothing while another is on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.model import Floats
from plica.source import Span

ROUNDING = 1.0 / 255.0
"""How far a sum of masks of 8 bits may be over 1 before it counts."""
_TEXELS_AT_ONCE = 1 << 16


@dataclass(frozen=True)
class Overlap:
    """Two or more folds over each other.

    worst: the greatest sum of mask times strength, at `texel` (row, column) in the pose number `pose`; share: of all
    texels, those whose sum is over the limit in some pose; folds: those that make up the worst sum, the greatest
    part first.
    """

    worst: float
    share: float
    texel: tuple[int, int]
    pose: int
    folds: tuple[str, ...]


def find_overlap(
    masks: Mapping[str, Floats], poses: Sequence[Mapping[str, float]], limit: float = 1.0 + ROUNDING
) -> Overlap | None:
    """Where masks (rows, columns), all of one size, sum over `limit` in some of the poses (strengths by fold); or None.

    Folds that a pose leaves out have strength 0.
    """
    if not masks or not poses:
        return None
    names = list(masks)
    rows, columns = masks[names[0]].shape
    flat = [masks[name].reshape(-1) for name in names]
    strengths = np.unique(np.array([[pose.get(name, 0.0) for name in names] for pose in poses]), axis=0)
    count, worst, where, which = 0, limit, -1, -1
    for first in range(0, rows * columns, _TEXELS_AT_ONCE):
        block = np.stack([mask[first : first + _TEXELS_AT_ONCE] for mask in flat])
        crowded = np.flatnonzero((block > 0.0).sum(axis=0) > 1)
        sums = strengths @ block[:, crowded]
        if not sums.size:
            continue
        greatest = sums.max(axis=0)
        count += int((greatest > limit).sum())
        if greatest.max() > worst:
            place = int(greatest.argmax())
            worst, where, which = float(greatest[place]), first + int(crowded[place]), int(sums[:, place].argmax())
    if where < 0:
        return None
    at_worst = dict(zip(names, strengths[which], strict=True))
    parts = {name: float(masks[name].reshape(-1)[where]) * at_worst[name] for name in names}
    pose = next(
        number for number, each in enumerate(poses) if all(each.get(name, 0.0) == at_worst[name] for name in names)
    )
    folds = tuple(name for name in sorted(parts, key=lambda name: -parts[name]) if parts[name] > 0.0)
    return Overlap(worst, count / (rows * columns), divmod(where, columns), pose, folds)


def report_overlap(overlap: Overlap | None, detail: str, span: Span | None, found: Diagnostics) -> None:
    """A warning about folds that lie over each other."""
    if overlap is None:
        return
    folds = ", ".join(f"`{name}`" for name in overlap.folds)
    found.add(
        "folds-overlap",
        span,
        detail=detail,
        folds=folds,
        sum=f"{overlap.worst:.2f}",
        share=f"{overlap.share:.2%}",
        row=overlap.texel[0],
        column=overlap.texel[1],
    )

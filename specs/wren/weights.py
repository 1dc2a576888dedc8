"""Skin weights: blends along chains of joints, soft patches on the face, and the four strongest of each
vertex.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, smooth_step
from plica.specs.wren import otter, steps
from plica.specs.wren.skeleton import WrenSkeleton, other_side, tail_places, wren_skeleton
from plica.specs.wren.vectors import falloff

CageBlend: TypeAlias = dict[str, float]
"""Joint name to weight, adding up to 1."""

INFLUENCES: Final = 4
_FEWEST: Final = steps.counted(np.array(1e-4), steps.WEIGHT)
"""Weights of fewer steps are dropped."""


@dataclass(frozen=True)
class CageBend:
    """From here on the joint `name` takes over, softly, over `reach` before and after."""

    name: str
    at: float
    reach: float


def chain_blend(first: str, bends: Sequence[CageBend], at: float) -> CageBlend:
    """The weights at one place of a chain that starts with the joint `first`; they add up to 1."""
    shares = [1.0]
    shares += [float(smooth_step((at - bend.at + bend.reach) / (2.0 * bend.reach))) for bend in bends]
    names = [first, *(bend.name for bend in bends)]
    following = [*shares[1:], 0.0]
    return {
        name: share - after for name, share, after in zip(names, shares, following, strict=True) if share - after > 0.0
    }


ARM_BENDS: Final = (
    CageBend("upperarm_lf", 0.10, 0.40),
    CageBend("lowerarm_lf", 1.0, 0.20),
    CageBend("paw_lf", 2.0, 0.20),
)
LEG_BENDS: Final = (
    CageBend("upperleg_lf", 0.10, 0.50),
    CageBend("lowerleg_lf", 1.0, 0.24),
    CageBend("foot_lf", 2.0, 0.24),
    CageBend("toes_lf", 3.0, 0.30),
)


def finger_bends(name: str) -> tuple[CageBend, ...]:
    """The bends of a left finger, counted in its segments."""
    return tuple(CageBend(f"{name}_{number}_lf", number - 1.0, 0.45 if number == 1 else 0.30) for number in (1, 2, 3))


def mixed(blends: Sequence[tuple[CageBlend, float]]) -> CageBlend:
    """A weighted mean of blends; the shares add up to 1."""
    result: CageBlend = {}
    for blend, share in blends:
        for name, weight in blend.items():
            result[name] = result.get(name, 0.0) + share * weight
    return result


def _arc_of(place: Floats, line: Floats, lengths: Floats) -> float:
    """The arc length at which a polyline (n, 3) comes closest to a place."""
    starts, steps = line[:-1], np.diff(line, axis=0)
    squares = np.sum(steps * steps, axis=1)
    shares = np.clip(np.sum((place - starts) * steps, axis=1) / squares, 0.0, 1.0)
    distances = np.linalg.norm(starts + shares[:, None] * steps - place, axis=1)
    nearest = int(np.argmin(distances))
    return float(lengths[nearest] + shares[nearest] * (lengths[nearest + 1] - lengths[nearest]))


def trunk_blends() -> list[CageBlend]:
    """The weights of each ring of `otter.BODY`, from the tip of the tail to the nose."""
    skeleton = wren_skeleton()
    line = np.array([(0.0, ring.y, ring.z) for ring in otter.BODY])
    lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    tails = [
        CageBend("hips" if number == 0 else f"tail_{number}", _arc_of(tail_places()[number], line, lengths), 0.05)
        for number in range(5, -1, -1)
    ]
    trunk = [
        CageBend(name, _arc_of(skeleton[name].place, line, lengths), reach)
        for name, reach in (
            ("spine_1", 0.06),
            ("spine_2", 0.06),
            ("spine_3", 0.06),
            ("neck", 0.055),
            ("head", 0.05),
        )
    ]
    return [chain_blend("tail_6", [*tails, *trunk], float(length)) for length in lengths]


@dataclass(frozen=True)
class Patch:
    """A joint that takes `share` of the weight at `center`, fading to nothing at `radius` metres."""

    name: str
    center: otter.Point
    radius: float
    share: float


LIMB_PATCHES: Final = (
    Patch("collar_lf", (0.070, 0.690, 0.005), 0.120, 0.60),
    Patch("upperarm_lf", (0.108, 0.660, 0.000), 0.075, 0.55),
    Patch("upperleg_lf", (0.112, 0.275, 0.010), 0.130, 0.60),
)
FACE_PATCHES: Final = (
    Patch("browpad_lf", otter.BROW_PAD, 0.034, 0.92),
    Patch("whiskerpad_lf", otter.WHISKER_PAD, 0.034, 0.92),
)


def _mirrored(patch: Patch) -> Patch:
    x, y, z = patch.center
    return Patch(other_side(patch.name), (-x, y, z), patch.radius, patch.share)


def with_patches(weights: Floats, positions: Floats, patches: Sequence[Patch], skeleton: WrenSkeleton) -> Floats:
    """Weights (n, joints) after both sides' patches took their shares, still adding up to 1."""
    everything = [*patches, *map(_mirrored, patches)]
    shares = np.stack(
        [
            patch.share * falloff(np.linalg.norm(positions - np.asarray(patch.center), axis=1), patch.radius)
            for patch in everything
        ],
        axis=1,
    )
    # Left and right may meet at the mirror plane; together they never take more than all.
    shares /= np.maximum(shares.sum(axis=1, keepdims=True), 1.0)
    result: Floats = weights * (1.0 - shares.sum(axis=1, keepdims=True))
    for column, patch in enumerate(everything):
        result[:, skeleton.number[patch.name]] += shares[:, column]
    return result


def with_jaw(weights: Floats, positions: Floats, skeleton: WrenSkeleton) -> Floats:
    """Weights (n, joints) after the jaw took the chin: what lies below the mouth line and before the jaw's
    joint.
    """
    pivot = skeleton["jaw"].place
    mouth = np.interp(positions[:, 2], *otter.MOUTH_LINE)
    below = smooth_step((mouth - positions[:, 1] + 0.004) / 0.018)
    ahead = smooth_step((positions[:, 2] - pivot[2] + 0.012) / 0.050)
    chin = smooth_step((positions[:, 1] - 0.790) / 0.022)
    share = below * ahead * chin
    result = weights * (1.0 - share[:, None])
    result[:, skeleton.number["jaw"]] += share
    return result


def dense(blends: Sequence[Mapping[str, float]], skeleton: WrenSkeleton) -> Floats:
    """Blends as an array (vertices, joints)."""
    weights = np.zeros((len(blends), len(skeleton.joints)))
    for row, blend in enumerate(blends):
        for name, weight in blend.items():
            weights[row, skeleton.number[name]] = weight
    return weights


def mirrored_weights(weights: Floats, skeleton: WrenSkeleton) -> Floats:
    """The same weights (n, joints) for the mirrored vertices."""
    swapped: Floats = weights[:, skeleton.partners]
    return swapped


def strongest(weights: Floats, on_seam: Floats, skeleton: WrenSkeleton) -> tuple[Integers, Floats]:
    """The four strongest joints of each vertex and their weights, both (n, 4), rounded and adding up to 1 exactly.

    `weights` is (n, joints), `on_seam` (n,) is True on the mirror plane. There the two sides' weights are
    made equal, and a joint is dropped if its partner did not make it among the four.
    """
    seam = on_seam.astype(bool)
    even = weights.copy()
    even[seam] = (weights[seam] + mirrored_weights(weights[seam], skeleton)) / 2.0
    counts = steps.counted(even, steps.WEIGHT)
    order = np.argsort(-counts, axis=1, kind="stable")[:, :INFLUENCES]
    kept = np.take_along_axis(counts, order, axis=1)
    kept[kept < _FEWEST] = 0
    alone = ~np.any(skeleton.partners[order][:, :, None] == order[:, None, :], axis=2)
    kept[alone & seam[:, None]] = 0
    partner_kept = np.take_along_axis(counts, skeleton.partners[order], axis=1)
    kept[(partner_kept < _FEWEST) & seam[:, None]] = 0
    shares = steps.counted(kept / kept.sum(axis=1, keepdims=True), steps.WEIGHT)
    single = np.where(seam[:, None], skeleton.partners[order] == order, True) & (shares > 0)
    shares = _completed(shares, single)
    return np.where(shares > 0, order, 0).astype(np.int64), np.asarray(shares * steps.WEIGHT, dtype=np.float64)


def _completed(shares: Integers, single: NDArray[np.bool_]) -> Integers:
    """Weights (n, 4), counted in steps and sorted, after the steps that rounding lost or added were given back.

    The first joint of each vertex that may stand alone (`single`, (n, 4)) takes them. Where there is none, on the
    mirror plane, the first two joints are partners with equal weights and take half each: two or four such weights
    miss an even number of steps.
    """
    missing = round(1.0 / steps.WEIGHT) - shares.sum(axis=1)
    rows, first = np.arange(len(shares)), np.argmax(single, axis=1)
    has_single = single.any(axis=1)
    result = shares.copy()
    result[rows, first] += np.where(has_single, missing, 0)
    result[:, :2] += np.where(has_single, 0, missing // 2)[:, None]
    return result

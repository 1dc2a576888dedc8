"""What a draft starts from and what comes out of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from plica.mesh.arrays import Floats, Integers

LEAST_VOLUME_KEPT, MOST_VOLUME_KEPT = 0.9, 1.0


class NoContactError(ImportError):
    """Contact is asked for, and the package that computes it, `ipctk` of the extra `draft`, is not installed."""


@dataclass(frozen=True)
class DraftSettings:
    """What the artist wishes.

    volume_kept: the share of its neutral volume that the region has at the end of the bend, 0.9 to 1; nearness: how
    strongly the skin is drawn to where skinning puts it, 1 to 10 being usual, more is nearer; border: metres along the
    surface over which the region fades into the skin as it is, None for one radius of the limb; gap: metres that
    contact keeps between parts of the skin (less where the mesh is finer than that), None for a twentieth of the
    radius; contact: whether the skin is kept from passing through itself, which needs the extra `draft`; inbetweens:
    how many poses on the way are returned, None for the fewest that keep volume and crossings good there, which only
    a problem with matrices can tell: without them it is one.
    """

    volume_kept: float = 1.0
    nearness: float = 2.0
    border: float | None = None
    gap: float | None = None
    contact: bool = True
    inbetweens: int | None = None

    def __post_init__(self) -> None:
        if not LEAST_VOLUME_KEPT <= self.volume_kept <= MOST_VOLUME_KEPT:
            raise ValueError(f"the volume kept is a share from {LEAST_VOLUME_KEPT} to {MOST_VOLUME_KEPT}")
        if not 0.0 < self.nearness < float("inf"):
            raise ValueError("nearness is a number above 0")
        for name, length in (("border", self.border), ("gap", self.gap)):
            if length is not None and not 0.0 < length < float("inf"):
                raise ValueError(f"the {name} is a length above 0")
        if self.inbetweens is not None and self.inbetweens < 0:
            raise ValueError("the number of inbetweens is 0 or more")


class MeasuredRegion(NamedTuple):
    """A region whose volume is expected of the skin: weights (v,), and the border at which it is cut, None where it is
    weighed, as `plica.measure.volume` takes them."""

    weights: Floats
    border: float | None


@dataclass(frozen=True, eq=False)
class DraftProblem:
    """A skin and how it is bent.

    neutral (v, 3): the skin in the neutral stance, metres; triangles (f, 3); points (v,): the welded point that each
    vertex is a copy of (`plica.mesh.arrays.Mesh.points`); skinned: the skin without the shape that is drafted, (v, 3)
    metres, at a share of the bend from 0, the neutral stance, to 1, the pose; region (v,): weights from 0 to 1, what
    weighs 0.5 or more is drafted freely; matrices: the linear part (v, 3, 3) of each vertex's skin matrix at a share of
    the bend, which tells how a shape's offsets are carried between inbetweens, None where that is not known; parts
    (v,): the number of the part that each vertex belongs to, as upper arm and forearm are: each keeps its own volume
    beside that of all, None where there is one; measured: regions whose volume the skin keeps as they are measured,
    in place of the parts.
    """

    neutral: Floats
    triangles: Integers
    points: Integers
    skinned: Callable[[float], Floats]
    region: Floats
    matrices: Callable[[float], Floats] | None = None
    parts: Integers | None = None
    measured: tuple[MeasuredRegion, ...] = ()


class DraftedPose(NamedTuple):
    """The skin (v, 3), metres, at a share of the bend. Outside region and border it is the skinned one, bit for bit."""

    share: float
    positions: Floats


class SkinFigures(NamedTuple):
    """What the drafted part of the skin is like in a pose, against the neutral stance.

    volume: its share of the neutral one; worst_stretch: the largest singular value of any triangle's deformation,
    less 1; usual_stretch: that which 95 % of the area does not exceed; least_singular_value: the smallest of any
    triangle, 0 for one squeezed to nothing; crossings: pairs of triangles that pass through each other, at least one of
    them in the drafted part.
    """

    volume: float
    worst_stretch: float
    usual_stretch: float
    least_singular_value: float
    crossings: int


class Faults(NamedTuple):
    """The worst of a skin anywhere on its way: pairs of triangles that pass through each other, and what its volume is
    off from the wished one, as a share of that."""

    crossings: int
    volume: float


class Draft(NamedTuple):
    """A computed first sculpt.

    reached: the share of the bend that was reached, 1 for all of it; with contact less where the skin could not get
    further without tearing or passing through itself. poses: rising, the last at the reached share, those before it
    inbetweens; none where it got nowhere; with contact, none of them passes through itself. before and after: the skin
    at the reached share without and with the draft. between: looked at between the poses, which are blended there;
    None for a problem without matrices. Positions are not rounded. moving (v,): which vertices are free to move.
    """

    reached: float
    poses: tuple[DraftedPose, ...]
    before: SkinFigures
    after: SkinFigures
    between: Faults | None
    moving: Integers

"""What proving gives: for each expectation whether it holds, its worst figure, and where that was met."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from plica.evaluate.poses import SparsePose
from plica.rig.expectations import keeps_to, limit_of, title_of
from plica.rig.rig import Expectation

NO_MESH: Final = "there is no mesh"
Status = Literal["holds", "fails", "not measured"]


@dataclass(frozen=True)
class JointMove:
    """What a joint does since rest: it turns by `angle` (radians) about `axis`, a unit vector in its own rest frame,
    moves by `offset` (metres) in its parent, and has a `scale` of its own (None: that at rest)."""

    joint: str
    axis: tuple[float, float, float]
    angle: float
    offset: tuple[float, float, float]
    scale: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class WorstFrame:
    """A pose: the track that it belongs to, its number there and its place (share of a sweep, seconds of a clip).

    `angles`: the whole angle since rest (radians) of the joints that are turned, the largest first; `pose`: the pose
    itself, from which it can be made again; `moves`: what every joint does in it that does anything.
    """

    track: str
    kind: str
    number: int
    place: float
    angles: tuple[tuple[str, float], ...]
    pose: SparsePose = field(default_factory=SparsePose)
    moves: tuple[JointMove, ...] = ()


@dataclass(frozen=True)
class WorstPlace:
    """A vertex, the region it was measured in, the joint that carries it most, and where it is on the neutral mesh."""

    region: str
    vertex: int
    joint: str
    position: tuple[float, float, float]


@dataclass(frozen=True)
class Result:
    """An expectation measured.

    index: its number in the rig. worst, limit: in the inside unit of the measure; `bare` is the worst figure without
    correctives, None where they have no part in it. frames: how many poses were looked at. about: the strength, shape
    or region concerned, or why nothing was measured. picture: the name of the file that shows the worst place, if any.
    percentiles: in the worst pose, shares of the region's area and the figures that they keep to, of kinds that have a
    figure for each triangle.
    """

    index: int
    expectation: Expectation
    status: Status
    worst: float | None = None
    limit: float | None = None
    bare: float | None = None
    frames: int = 0
    frame: WorstFrame | None = None
    place: WorstPlace | None = None
    about: str = ""
    picture: str = ""
    percentiles: tuple[tuple[float, float], ...] = ()

    @property
    def title(self) -> str:
        """The expectation in the words of the language, with output names."""
        return title_of(self.expectation)


def not_measured(index: int, expectation: Expectation, why: str) -> Result:
    """The result of an expectation that could not be measured."""
    return Result(index, expectation, "not measured", limit=limit_of(expectation), about=why)


def judged(
    index: int,
    expectation: Expectation,
    worst: float,
    *,
    bare: float | None = None,
    frames: int = 0,
    frame: WorstFrame | None = None,
    place: WorstPlace | None = None,
    about: str = "",
    limit: float | None = None,
) -> Result:
    """The result of a figure held against its limit, or the `limit` given; without one nothing can be said."""
    limit = limit_of(expectation) if limit is None else limit
    if limit is None:
        return not_measured(index, expectation, "it states no limit")
    status: Status = "holds" if keeps_to(expectation, worst, limit) else "fails"
    return Result(index, expectation, status, worst, limit, bare, frames, frame, place, about)

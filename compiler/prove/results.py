"""What proving gives: for each expectation whether it holds, its worst figure, and where that was met."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from plica.evaluate.poses import SparsePose
from plica.rig.model import Expectation
from plica.texture.overlap import ROUNDING

Status = Literal["holds", "fails", "not measured"]

# Limits of expectations that state none, in the inside units (common practice, no source).
DEFAULT_LIMITS: Final[Mapping[str, float]] = {
    "volume": 0.05,
    "girth": 0.05,
    "stretch": 0.4,
    "squeeze": 0.6,
    "shear": 0.5,
    "clearance": 0.0,
    "crossing": 0.0,
    "smooth": 0.1,
    "reach": 1.0,
    "overlap": 1.0,
    "even": 0.001,
    "rest": 0.0,
    "partition": 1e-9,
}
# Where the worst figure is the smallest one.
LEAST_IS_WORST: Final = frozenset({"clearance", "reach"})
# How far below 1 a strength may stay and still count as fully on: clips are stored in single precision.
FULLY_ON: Final = 1e-3


@dataclass(frozen=True)
class WorstFrame:
    """A pose: the track that it belongs to, its number there and its place (share of a sweep, seconds of a clip).

    `angles`: the whole angle since rest (radians) of the joints that are turned, the largest first; `pose`: the pose
    itself, for a picture of it.
    """

    track: str
    kind: str
    number: int
    place: float
    angles: tuple[tuple[str, float], ...]
    pose: SparsePose = field(default_factory=SparsePose)


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

    @property
    def title(self) -> str:
        """The expectation in the words of the language, with output names."""
        return title_of(self.expectation)


def title_of(expectation: Expectation) -> str:
    """`volume of left_forearm over left_elbow_bend`; says the same for the same expectation in every run."""
    parts: list[str] = [expectation.kind]
    if expectation.of:
        parts.append(("" if expectation.kind in ("smooth", "reach") else "of ") + ", ".join(expectation.of))
    if expectation.against:
        parts.append(f"from {expectation.against}")
    if expectation.uv is not None:
        parts.append(f'uv "{expectation.uv}"')
    over = [*expectation.over, *(f"pose {pose}" for pose in expectation.over_poses)]
    over += [f'clip "{file}"' for file in expectation.over_clips]
    if expectation.over_everything:
        over.append("everything")
    if over:
        parts.append("over " + ", ".join(over))
    return " ".join(parts)


def limit_of(expectation: Expectation) -> float | None:
    """The limit that was stated, or the usual one; None where there is neither."""
    return expectation.limit if expectation.limit is not None else DEFAULT_LIMITS.get(expectation.kind)


def within(kind: str, worst: float, limit: float) -> bool:
    """Whether a figure keeps to its limit."""
    if kind == "reach":
        return worst >= limit - FULLY_ON
    if kind == "overlap":
        return worst <= limit + ROUNDING
    return worst >= limit if kind in LEAST_IS_WORST else worst <= limit


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
    status: Status = "holds" if within(expectation.kind, worst, limit) else "fails"
    return Result(index, expectation, status, worst, limit, bare, frames, frame, place, about)

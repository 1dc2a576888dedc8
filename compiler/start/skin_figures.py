"""What a look at the mesh gives: figures of the skin where joints bend it, and faults of its weights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from plica.kinds.expectations import EXPECTATION_KINDS

if TYPE_CHECKING:
    from plica.rig.rig import ExpectationName

SHARE: Final = 0.95
"""Of the area, that has to keep to a stretch or a squeeze: single triangles in a fold say little of the whole."""
MEASURED: Final[tuple[tuple[ExpectationName, float | None], ...]] = (
    ("volume", None),
    ("stretch", SHARE),
    ("squeeze", SHARE),
)
"""The kinds that are measured beside crossing, and on which share of the area."""


class SkinFigure(NamedTuple):
    """The worst figure of a kind of expectation, in its inside unit; None where it cannot be measured, and `why`.

    Of a crossing it is how many pairs of triangles pass through each other, at least: not every pose was looked at.
    `frame`: the pose that has it.
    """

    kind: str
    worst: float | None
    why: str = ""
    frame: int = 0

    @property
    def badness(self) -> float:
        """How bad it is, against the limit of an expectation that states none: beyond 1 the skin suffers."""
        if self.worst is None:
            return 0.0
        kind = EXPECTATION_KINDS[self.kind]
        bad, limit = float(kind.worse.badness(self.worst)), kind.limit.default or 0.0
        return bad / limit if limit else float(bad > 0.0)

    @property
    def suffers(self) -> bool:
        """Whether it is worse than an expectation without a limit of its own allows."""
        kind = EXPECTATION_KINDS[self.kind]
        return self.worst is not None and kind.worse.badness(self.worst) > (kind.limit.default or 0.0)


class BentSkin(NamedTuple):
    """What the skin does where a driver bends it: the worst figures of both sides, of each of `MEASURED` and of
    crossing; none where it bends no skin."""

    driver: str
    figures: tuple[SkinFigure, ...]

    @property
    def badness(self) -> float:
        """That of the worst figure."""
        return max((figure.badness for figure in self.figures), default=0.0)

    @property
    def suffers(self) -> bool:
        """Whether any figure is worse than it may be."""
        return any(figure.suffers for figure in self.figures)

    @property
    def unknown(self) -> bool:
        """Whether a figure is missing."""
        return any(figure.worst is None for figure in self.figures)


def not_measured(driver: str, why: str) -> BentSkin:
    """What is known of skin that could not be measured."""
    kinds = (*(kind for kind, _ in MEASURED), "crossing")
    return BentSkin(driver, tuple(SkinFigure(kind, None, why) for kind in kinds))


def stated_of(figures: Sequence[SkinFigure]) -> tuple[SkinFigure, ...]:
    """The figures that an expectation can state: those that are worse than they may be, else the nearest to it."""
    statable = [figure for figure in figures if figure.kind != "crossing" and figure.worst is not None]
    suffering = tuple(figure for figure in statable if figure.suffers)
    return suffering or tuple(sorted(statable, key=lambda figure: -figure.badness)[:1])


# ---- faults of the weights: the bounds are common practice, no source ---------------------------------------------

UNEVEN: Final = 0.1
"""The least difference of the weights of a point and of its mirror image that is told."""
FAR_WEIGHT: Final = 0.05
"""The least weight on a joint far away that is told."""
FAR_TIMES: Final = 3.0
"""A joint is far away whose bone is more times as far as the nearest bone, and ..."""
FAR_SHARE: Final = 0.1
"""... farther than it by more than this share of the mesh's diagonal."""
TORN: Final = 3.0
"""By how many times its length an edge is drawn longer by a turn of a joint by one radian, at the least."""

FaultKind = Literal["uneven", "far", "torn"]


class WeightFault(NamedTuple):
    """Points, or edges of torn skin, with one fault, near one joint.

    `worst`: the greatest difference of weights, the greatest weight, or by how many times its length an edge is drawn
    longer by one radian; `vertex`: the mesh's vertex that has it, `position` of it in metres. `joint`: that the
    difference or the weight is on, or whose turn tears.
    """

    kind: FaultKind
    joint: str
    size: int
    worst: float
    vertex: int
    position: tuple[float, float, float]


# ---- the whole -------------------------------------------------------------------------------------------------


class BentRegion(NamedTuple):
    """The region of a joint: `joints`, as the language writes them in its declaration, and the share of the skin that
    the joint bends, 0 to 1, that these joints hold."""

    joints: tuple[str, ...]
    covered: float


class SkinLook(NamedTuple):
    """What was found on the mesh.

    regions: of the joints that bend skin, by name; bent: what the skin does over each driver, the worst first; faults:
    of the weights; at_fault: the drivers of joints that have some; problems: sentences about what had to be put right
    as the mesh was read. why: why nothing is known of the skin that bends; "" where it is.
    """

    regions: Mapping[str, BentRegion] = {}
    bent: tuple[BentSkin, ...] = ()
    faults: tuple[WeightFault, ...] = ()
    at_fault: frozenset[str] = frozenset()
    problems: tuple[str, ...] = ()
    why: str = ""

    @property
    def suffering(self) -> frozenset[str]:
        """The drivers over which the skin suffers."""
        return frozenset(bent.driver for bent in self.bent if bent.suffers)

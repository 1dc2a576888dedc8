"""What a Rig changes of the skin: regions, shapes with the poses they were sculpted in, details and folds."""

from __future__ import annotations

from typing import Literal, get_args

from plica.distinct import distinct
from plica.kinds.deformations import DeformationName, DirectionName, MeasureName
from plica.kinds.region_sets import RegionSetName
from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector
from plica.values import NOTHING_SAID, About, DraftFacts, Side, Sided


class SkinOf(NamedTuple):
    """The sum of the skin weights of joints."""

    joints: tuple[str, ...]
    kind: Literal["skin"] = "skin"


class Painted(NamedTuple):
    """A greyscale image over a uv set (None: the mesh's first)."""

    file: str
    uv: str | None
    kind: Literal["painted"] = "painted"


class Stored(NamedTuple):
    """A file that lists vertices."""

    file: str
    kind: Literal["vertices"] = "vertices"


class RegionSet(NamedTuple):
    """Other regions, put together: greatest weight, least weight, or the first without the others."""

    how: RegionSetName
    regions: tuple[str, ...]
    kind: Literal["set"] = "set"


class StrengthPose(NamedTuple):
    """A pose in which a strength has this amount."""

    strength: str
    amount: float


class JointPose(NamedTuple):
    """A pose in which a joint is turned by `angle` about `axis` of its rest frame."""

    joint: str
    axis: Vector
    angle: float


class AreaDirection(NamedTuple):
    """Skin is looked at along an axis or across it (on the surface, at right angles); a unit vector of model space, in
    the neutral stance."""

    way: DirectionName
    axis: Vector


class DeformedSkin(NamedTuple):
    """Where skin shortens or lengthens: by shapes at 1 (`by`) in the neutral stance, or in a pose (`by` is empty).

    `after`: the shapes that are on in that pose, as far as they are. The weight rises from 0 to 1 over `span`, amounts
    as shares of what `measure` says: the peak, which `peak` square metres of skin reach, or a line's length at rest.
    `smoothing` (metres) along the surface comes first; islands smaller than `island` (square metres) are dropped.
    `direction`: lines of this direction alone; None: the direction that changes most.
    """

    how: DeformationName
    by: tuple[str, ...]
    pose: tuple[StrengthPose | JointPose, ...]
    after: tuple[str, ...]
    span: tuple[float, float]
    measure: MeasureName
    peak: float
    smoothing: float
    island: float
    direction: AreaDirection | None = None
    kind: Literal["deformed"] = "deformed"


RegionSource = SkinOf | Painted | Stored | RegionSet | DeformedSkin


class Region(NamedTuple):
    """A weight from 0 to 1 for each vertex; `side` keeps that side's half, `feather` (metres) softens its edge."""

    name: str
    side: Side
    declared: str
    source: RegionSource
    feather: float
    about: About = NOTHING_SAID


class Sculpt(NamedTuple):
    """A sculpted mesh or its offsets, made over the mesh in `pose` (empty: at rest).

    `after` are the shapes that were on, at their strengths in that pose, while it was sculpted.
    """

    file: str
    pose: tuple[StrengthPose | JointPose, ...] = ()
    after: tuple[str, ...] = ()
    kind: Literal["sculpt"] = "sculpt"


class Morph(NamedTuple):
    """A morph target that the geometry already holds."""

    name: str
    kind: Literal["morph"] = "morph"


class Inbetween(NamedTuple):
    """What the shape is at strength `at` (UsdSkel's rule for inbetweens)."""

    at: float
    sculpt: Sculpt


class Shape(NamedTuple):
    """Vertex offsets that the strength `follows` fades in, kept to the region `within`.

    `threshold` (metres): shorter offsets are dropped. `source` is None while nothing is sculpted yet. `mirrored`: what
    was sculpted was meant for the left side and is mirrored for this one (poses here are mirrored already). `sided`:
    whether the sculpt of both sides shows one or both of them, where the spec says it. `draft`: what the spec says of a
    sculpt that is computed.
    """

    name: str
    side: Side
    declared: str
    source: Sculpt | Morph | None
    within: str | None
    follows: str | None
    inbetweens: tuple[Inbetween, ...]
    threshold: float
    mirrored: bool = False
    about: About = NOTHING_SAID
    sided: Sided | None = None
    draft: DraftFacts | None = None

    @property
    def sculpts(self) -> list[Sculpt]:
        """The sculpts of the shape itself and of its inbetweens."""
        sources = [self.source, *(item.sculpt for item in self.inbetweens)]
        return [source for source in sources if isinstance(source, Sculpt)]

    @property
    def earlier(self) -> list[str]:
        """The shapes that must be computed before this one: those that were on while it was sculpted."""
        return [name for sculpt in self.sculpts for name in sculpt.after]


class Detail(NamedTuple):
    """A pair of normal maps of the same skin; `budget` is bytes of texture memory for its folds' masks."""

    name: str
    relaxed: str
    contracted: str
    uv: str | None
    budget: float | None
    mixing: Literal["plain", "reoriented"]
    about: About = NOTHING_SAID


class MaskPlace(NamedTuple):
    """Where a fold's mask stands: a texture file in the output folder, the channel in it (a file of one channel has
    red), and the mesh's uv set that it is over.
    """

    file: str
    channel: Literal["red", "green", "blue", "alpha"]
    uv: str


class DirectionMapPlace(NamedTuple):
    """Where the map of the directions in which a fold's skin changes most stands: a file in the output folder with the
    SHA-256 of its bytes, the mesh's uv set that it is over, and how it stores a direction.
    """

    file: str
    sha256: str
    uv: str
    stored_as: Literal["double angle"] = "double angle"


class Fold(NamedTuple):
    """The region `area`, where the strength `follows` fades `detail` from relaxed to contracted.

    `mask`: where its mask was written; None where masks were not. `directions`: where the map of the directions in
    which its skin changes was; None also where the area is not found from deformation.
    """

    name: str
    side: Side
    declared: str
    detail: str
    area: str
    follows: str | None
    tolerance: float
    about: About = NOTHING_SAID
    mask: MaskPlace | None = None
    directions: DirectionMapPlace | None = None


distinct(*get_args(RegionSource), StrengthPose, JointPose, Sculpt, Morph)

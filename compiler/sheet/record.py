"""The data of a sheet: what its page shows and moves, as frozen records that become one JSON block.

Names are output names; lengths metres, angles radians, quaternions x y z w. `README.md` beside this says how to add to
it. Texts that others chose stand in it as they are: the page puts them in as text and never as markup.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from plica.sheet.array_pack import ArrayPlace, FilePlace
from plica.sheet.detail_pictures import DetailLayout
from plica.sheet.skin_arrays import SkinLayout

VERSION = 1
PlainPose = Mapping[str, Mapping[str, Any]]
"""A pose as a build's vectors have it: what is away from rest."""


class JointData(NamedTuple):
    """A joint in the neutral stance, local to its parent (-1: none).

    partner: the joint that does the same in a mirrored pose, -1 for none; turn, move (9,): the matrices, row by row,
    that take the vector part of a turn since rest, and a step in the parent, over to that partner.
    """

    name: str
    parent: int
    translation: tuple[float, ...]
    rotation: tuple[float, ...]
    scale: tuple[float, ...]
    partner: int
    turn: tuple[float, ...]
    move: tuple[float, ...]


class ControlData(NamedTuple):
    """A control; partner: that of the other side, or itself; -1 for none."""

    name: str
    range: tuple[float, float]
    rest: float
    partner: int


class TravelData(NamedTuple):
    """What moves a strength: poses at rising values of its reading, or of the share of the way to a sample."""

    values: tuple[float, ...]
    poses: tuple[PlainPose, ...]


class WrittenSpan(NamedTuple):
    """The ends of a span and the points of a curve as the language writes them, for trying others.

    points: "" for a curve that is not written as points, None where no curve can be.
    """

    start: str
    stop: str
    points: str | None


class RowData(NamedTuple):
    """A strength of one side in a row of the page.

    strength: its number among the values of the page's rig; reading: that of its reading, -1 where it has none. factor:
    what a reading is multiplied with to be in the unit that people read. shares, response: the curve over the plot's
    width. declared, side: both sides of a declaration share a row. block: the id of the row on the page. written: of
    a driver, what can be tried out.
    """

    kind: str
    name: str
    declared: str
    side: str
    block: str
    strength: int
    reading: int
    unit: str
    factor: float
    range: tuple[float, float]
    span: tuple[float, float] | None
    shares: tuple[float, ...]
    response: tuple[float, ...]
    travel: TravelData | None
    written: WrittenSpan | None


class PlaceData(NamedTuple):
    """A pose to jump to: a declared one, where an expectation is worst, or where two states differ most.

    about: what it is, in words; vertex: where to look, -1 for the whole; block: the row it belongs to; crossing: the
    vertices of triangles that pass through each other there, by their name in the arrays, "" where nobody looked;
    colour: the kind of colour that shows what there is to see, "" for any.
    """

    group: str
    name: str
    about: str
    pose: PlainPose
    vertex: int
    block: str
    crossing: str
    colour: str = ""


class ClipData(NamedTuple):
    """A clip: seconds of its frames, the joints and controls that move in it, and its arrays by name.

    A row for each frame: rotations (joints x 4) in 1/32767; translations, scales (joints x 3) and controls as numbers.
    Joints that do not move in one of these ways are not in its list.
    """

    name: str
    times: tuple[float, ...]
    turned: tuple[int, ...]
    moved: tuple[int, ...]
    scaled: tuple[int, ...]
    controls: tuple[int, ...]
    array: str


class FoldData(NamedTuple):
    """A fold: the strength it follows, its detail, and the region that it is over."""

    name: str
    follows: str | None
    detail: str
    area: str
    block: str


class BeforeSkin(NamedTuple):
    """The skin of an earlier state.

    columns, regions: for each column of offsets, and for each region, the number of the present one that is the same;
    -1 where it has arrays of its own. Arrays of the earlier state stand under `before NAME`; without one, NAME counts.
    """

    layout: SkinLayout
    columns: tuple[int, ...]
    regions: tuple[int, ...]


class BeforeData(NamedTuple):
    """An earlier state that is shown beside the present one, in the same terms. comparable: whether its vertices are
    the same ones, so that differences can be taken.
    """

    skinning: str
    strengths: tuple[str, ...]
    skin: BeforeSkin | None
    joints: tuple[JointData, ...]
    controls: tuple[ControlData, ...]
    details: tuple[DetailLayout, ...]
    folds: tuple[FoldData, ...]
    comparable: bool


class SheetRecord(NamedTuple):
    """Everything that the page's script works on. `arrays` and `files`: where they stand in the block of data."""

    character: str
    skinning: str
    strengths: tuple[str, ...]
    skin: SkinLayout | None
    joints: tuple[JointData, ...]
    controls: tuple[ControlData, ...]
    rows: tuple[RowData, ...]
    places: tuple[PlaceData, ...]
    clips: tuple[ClipData, ...]
    details: tuple[DetailLayout, ...]
    folds: tuple[FoldData, ...]
    before: BeforeData | None
    blocks: Mapping[str, str]
    arrays: Mapping[str, ArrayPlace]
    files: Mapping[str, FilePlace]
    version: int = VERSION


def plain(value: Any) -> Any:
    """A record as plain data for JSON: records become objects, tuples arrays."""
    if hasattr(value, "_asdict"):
        return {name: plain(part) for name, part in zip(value._fields, value, strict=True)}
    if isinstance(value, Mapping):
        return {name: plain(part) for name, part in value.items()}
    return [plain(part) for part in value] if isinstance(value, tuple | list) else value

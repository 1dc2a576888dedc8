"""Pictures of a character: lit, with its folds, in poses, over sweeps and clips."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from plica.api.character import Character, FilePath, rig_of
from plica.api.picture_figures import FigureMaker, looked_at, studio_of
from plica.api.picture_views import AskedViews
from plica.api.posing import PosesLike, listed
from plica.api.skin import attach_mesh
from plica.api.whole_files import write_whole
from plica.diagnostics import Diagnostic, Diagnostics
from plica.errors import NoMeshError, PlicaError, UnknownNameError
from plica.picture.page import Color, LabelledView, contact_sheet
from plica.picture.standpoints import STANDPOINTS, Standpoint, standpoint_of
from plica.quantities import length

if TYPE_CHECKING:
    from PIL import Image

FRAMES: Final = 6
"""Views on a contact sheet, where nothing else is asked for."""
MOVING: Final = 24
"""Frames of a picture that moves, there and back."""
SIZE: Final = (800, 640)
SMALL: Final = (400, 360)
LARGEST: Final = 4096
"""Pixels of a view, each way."""
LEAST: Final = 0.35
"""A view shows at least this share of the body's size, unless it is asked for something smaller."""
A_SECOND: Final = 12
"""Frames of a picture that moves."""
COLUMNS: Final = 3
"""Views beside each other on a contact sheet."""


@dataclass(frozen=True, eq=False, repr=False)
class SkinPicture:
    """A picture of a character. said: what each of its views, or frames, shows, in words.

    diagnostics: what was found in the mesh and the maps; a detail whose maps cannot be read is left out.
    """

    character: str
    said: tuple[str, ...]
    size: tuple[int, int]
    diagnostics: tuple[Diagnostic, ...]
    _frames: tuple[Image.Image, ...]

    def file(self, name: str) -> bytes:
        """The picture as a file: .png (several frames: APNG) or .webp. Raises PlicaError for another ending."""
        from plica.picture.files import FORMS, content_of

        ending = Path(name).suffix.lower()
        if ending not in FORMS:
            raise PlicaError(f"`{name}`: pictures are written as {listed(tuple(FORMS))}")
        return content_of(self._frames, ending, 1000 // A_SECOND)

    def write(self, file: FilePath) -> tuple[Diagnostic, ...]:
        """Write it, whole or not at all; what stands in the way is given as diagnostics. Raises PlicaError."""
        path = Path(file)
        return write_whole({path.name: self.file(path.name)}, path.parent)

    def __repr__(self) -> str:
        return f"<SkinPicture of {self.character!r}: {self.size[0]} x {self.size[1]} pixels, {'; '.join(self.said)}>"

    def _repr_html_(self) -> str:
        from base64 import b64encode

        from plica import foreign

        words = foreign.html(repr(self)[1:-1])
        return f'<img alt="{words}" src="data:image/png;base64,{b64encode(self.file("a.png")).decode("ascii")}">'


def draw_skin(
    character: Character,
    *,
    at: str | None = None,
    pose: str | None = None,
    clip: FilePath | None = None,
    time: float | None = None,
    worst: str | None = None,
    poses: PosesLike | None = None,
    sweep: str | None = None,
    frames: int | None = None,
    standpoint: str | None = None,
    look_at: str | None = None,
    whole: bool = False,
    size: tuple[int, int] | None = None,
    shapes: bool = True,
    tinted: bool = False,
    moving: bool = False,
    progress: Callable[[str], None] = lambda step: None,
) -> SkinPicture:
    """The skin as a camera sees it that stands upright, lit, with shapes and folds as far on as the pose says.

    One pose, as `pose_skin` takes it: at, pose, clip with a time in seconds, worst, or poses; the neutral stance where
    none is said. A contact sheet: sweep, a strength's output or declared name (the left side's) from rest to where its
    span ends, clip without a time, or poses of several frames. frames: so many moments of them; moving: one after the
    other in a picture that moves, a sweep there and back. standpoint: `front`, `left` (the character's own) and so on,
    or degrees (`35` or `35,10`): from the front towards its left, and above the horizon; by default the quarter from
    which most of what moves is seen. look_at: a region, or a joint with what hangs from it; whole: the whole figure,
    else what the poses move. size: columns and rows of a view. shapes: False for bare skin. tinted: colour shows how
    far shapes move the skin.

    Raises NoRigError, NoMeshError, UnknownNameError, UnreachablePoseError, ArrayError, and PlicaError for what cannot
    be asked for together.
    """
    rig, attached = rig_of(character), attach_mesh(character, progress=progress)
    if attached.attached is None:
        raise NoMeshError(next((one.message for one in attached.diagnostics), "the mesh could not be read"))
    if frames is not None and not 1 <= frames <= 1000:
        raise PlicaError("frames: from 1 to 1000")
    shown = AskedViews(character, frames or (MOVING if moving else FRAMES))
    views = shown.views({"at": at, "pose": pose, "worst": worst}, clip, time, poses, sweep)
    if moving and not views.many:
        raise PlicaError("only a sweep, a clip or several poses can move")
    width, height = size or (SMALL if views.many else SIZE)
    if not (16 <= width <= LARGEST and 16 <= height <= LARGEST):
        raise PlicaError(f"size: from 16 x 16 to {LARGEST} x {LARGEST} pixels")
    diagnostics = Diagnostics()
    diagnostics.extend(attached.diagnostics)
    figures, scale = FigureMaker(attached, diagnostics).of(views.poses, shapes, tinted)
    studio = studio_of(attached)
    places = looked_at(attached, studio, figures, look_at, whole)
    stand = studio.standpoint(studio.moved(figures)) if standpoint is None else _standpoint(standpoint)
    camera = studio.camera(places, stand, (width, height), least=LEAST if look_at is None else 0.0)
    progress("drawing")
    labels = [
        LabelledView(studio.view(figure, camera, (width, height)), words)
        for figure, words in zip(figures, views.words, strict=True)
    ]
    lines = [f"squares on the ground: {length(studio.square)}"]
    if not shapes:
        lines.append("the bare skin, without shapes")
    made = _pages(labels, rig.character.title or rig.character.name, "; ".join(lines), scale, moving, views.back)
    return SkinPicture(rig.character.name, views.words, made[0].size, diagnostics.all, made)


def _pages(
    labels: Sequence[LabelledView], title: str, line: str, scale: Sequence[tuple[Color, str]], moving: bool, back: bool
) -> tuple[Image.Image, ...]:
    """One page with all views, or a page for each."""
    if moving:
        there = [contact_sheet([label], 1, title, [line], scale) for label in labels]
        return (*there, *(there[-2:0:-1] if back else ()))
    columns = min(len(labels), COLUMNS)
    return (contact_sheet(labels, columns, title, [line], scale),)


def _standpoint(text: str) -> Standpoint:
    result = standpoint_of(text)
    if result is None:
        raise UnknownNameError(
            f"`{text}` is no standpoint; there are {listed(tuple(STANDPOINTS))}, or degrees as in `35` or `35,10`"
        )
    return result

"""The picture at the top of the README: Wren in three moments of his clip, and his strengths over it.

python -m plica.specs.wren.picture OUT.png
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from plica.picture.colors import shown
from plica.picture.directions import Floats
from plica.picture.raster import Camera
from plica.specs.wren.chart import FAINT, RULE, TEXT, Chart, Pen, Point
from plica.specs.wren.light import sky
from plica.specs.wren.moments import Story, moment, story
from plica.specs.wren.portrait import FULL, GROUND, LitFigure, figure, photograph, tint

WIDTH, HEIGHT = 1600, 900
PHOTOGRAPH: Final = 590
"""The height of the photograph above the chart."""
CAPTIONS: Final = 572.0
LEGEND: Final = (1340.0, 400.0)
LIGHTS: Final = 160
_SMOOTHING: Final = 2
"""Lines and words are drawn this much larger, then reduced."""


@dataclass(frozen=True)
class PictureScene:
    """A moment of the clip: its time in seconds, where Wren stands (metres) and how he is turned (degrees),
    and what is written below him.
    """

    time: float
    x: float
    degrees: float
    words: str


@dataclass(frozen=True)
class Lens:
    """A round close-up of one scene (by its number): centre and radius in the picture, the middle of the view
    as metres from where Wren stands, the way from there to the camera, and the height of the view in metres.
    """

    scene: int
    center: Point
    radius: float
    target: tuple[float, float, float]
    away: tuple[float, float, float]
    extent: float


SCENES: Final = (
    PictureScene(0.0, -1.06, 14.0, "standing"),
    PictureScene(2.15, -0.28, -34.0, "left elbow, fist, whisker pad"),
    PictureScene(3.3, 0.73, 14.0, "right brow"),
)
LENSES: Final = (
    Lens(1, (930.0, 235.0), 132.0, (0.102, 0.615, 0.2), (-0.25, 0.35, 2.0), 0.26),
    Lens(2, (1448.0, 190.0), 132.0, (0.0, 0.908, 0.13), (0.0, 0.55, 2.0), 0.27),
)
ROWS: Final = (
    ("brow_lift", "brow lift"),
    ("whisker_lift", "whisker lift"),
    ("elbow_bend", "elbow bend"),
    ("fist", "fist"),
    ("wrist", "wrist"),
    ("knee_bend", "knee bend"),
)
CAMERA: Final = Camera(np.array([0.0, 0.80, 6.2]), np.array([0.0, 0.447, 0.0]), float(np.radians(11.0)))


def picture(width: int = WIDTH, lights: int = LIGHTS) -> bytes:
    """The picture as a PNG file, `width` pixels wide; more `lights` make smoother shadows.

    The same bytes on every run with the same libraries. Takes a minute at full size.
    """
    told, light = story(), sky(lights)
    figures = [figure(moment(told, scene.time), scene.x, scene.degrees, light) for scene in SCENES]
    scale = width / WIDTH
    paper = shown(np.broadcast_to(GROUND, (round(HEIGHT * scale), width, 3)))
    band = photograph(figures, CAMERA, width, round(PHOTOGRAPH * scale))
    page = _image(np.concatenate([shown(band), paper[len(band) :]]))
    for lens in LENSES:
        _add_lens(page, figures, lens, scale)
    _annotate(page, told, scale)
    content = io.BytesIO()
    page.save(content, "PNG", optimize=True)
    return content.getvalue()


def _image(values: Floats) -> Image.Image:
    return Image.fromarray(np.rint(values * 255.0).astype(np.uint8))


def _add_lens(page: Image.Image, figures: list[LitFigure], lens: Lens, scale: float) -> None:
    size = round(2.0 * lens.radius * scale)
    target = np.asarray(lens.target) + np.array([SCENES[lens.scene].x, 0.0, 0.0])
    away = np.asarray(lens.away)
    field = 2.0 * np.arctan(lens.extent / 2.0 / np.linalg.norm(away))
    camera = Camera(target + away, target, float(field))
    view = _image(shown(photograph([figures[lens.scene]], camera, size, size)))
    corner = (round((lens.center[0] - lens.radius) * scale), round((lens.center[1] - lens.radius) * scale))
    for inset, color in ((-3.0, RULE), (0.0, None)):
        mask = Image.new("L", (size * 4, size * 4), 0)
        edge = (4.0 + inset) * 4 * scale
        ImageDraw.Draw(mask).ellipse((edge, edge, size * 4 - edge, size * 4 - edge), fill=255)
        page.paste(view if color is None else color, (*corner, corner[0] + size, corner[1] + size), mask.reduce(4))


def _annotate(page: Image.Image, told: Story, scale: float) -> None:
    """Draws everything but the photographs, enlarged over an enlarged copy of the page, which is then
    reduced.
    """
    large = page.resize((page.width * _SMOOTHING, page.height * _SMOOTHING), Image.Resampling.NEAREST)
    pen = Pen(ImageDraw.Draw(large), scale * _SMOOTHING)
    marks = []
    for scene in SCENES:
        column = float(CAMERA.projected(np.array([[scene.x, 0.0, 0.0]]), WIDTH, PHOTOGRAPH)[0][0, 0])
        start = column - (32 + pen.length(scene.words)) / 2.0
        pen.words((start + 40, CAPTIONS), scene.words)
        marks.append((scene.time, (start + 16, CAPTIONS)))
    Chart(190.0, WIDTH - 50.0, 640.0, 35.0, told.times).draw(pen, told.strengths, ROWS, marks)
    _legend(pen, LEGEND)
    page.paste(large.reduce(_SMOOTHING))


def _legend(pen: Pen, corner: Point) -> None:
    """What the tint means."""
    x, y = corner
    pen.words((x, y), "skin moved by shapes", FAINT)
    steps = 120
    for step in range(steps):
        color, cover = tint(np.array(FULL * step / (steps - 1)))
        red, green, blue = np.rint(shown(GROUND + (color - GROUND) * cover) * 255.0).astype(int).tolist()
        pen.line([(x + 2 * step, y + TEXT), (x + 2 * step, y + TEXT + 12)], (red, green, blue), 2.0)
    pen.line([(x, y + TEXT + 13), (x + 2 * steps, y + TEXT + 13)], RULE, 1.0)
    pen.words((x, y + 2.3 * TEXT), "0", FAINT)
    pen.words((x + 2 * steps, y + 2.3 * TEXT), f"{FULL * 1000.0:.0f} mm or more", FAINT, "rm")


def main(arguments: list[str]) -> int:
    """Write the picture to the file that is named."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m plica.specs.wren.picture OUT.png\n")
        return 2
    Path(arguments[0]).write_bytes(picture())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

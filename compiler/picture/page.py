"""The pages around the views of pictures: words, a legend and marks."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple, TypeAlias

from PIL import Image, ImageDraw, ImageFont

from plica import foreign

Color: TypeAlias = tuple[int, int, int]
Point: TypeAlias = tuple[float, float]
_Font: TypeAlias = ImageFont.FreeTypeFont | ImageFont.ImageFont

INK: Final[Color] = (34, 34, 34)
FAINT: Final[Color] = (96, 96, 96)
PAPER: Final[Color] = (255, 255, 255)
FAILED: Final[Color] = (213, 94, 0)
TITLE, TEXT, LINE = 22, 18, 27
MARGIN: Final = 20
_RING: Final = 13.0
_SMOOTHING: Final = 3


@lru_cache(maxsize=4)
def _font(size: int) -> _Font:
    return ImageFont.load_default(size)


class LabelledView(NamedTuple):
    """A view of a contact sheet and the words for it."""

    view: Image.Image
    words: str


def contact_sheet(
    labels: Sequence[LabelledView],
    columns: int,
    title: str,
    lines: Sequence[str],
    scale: Sequence[tuple[Color, str]] = (),
) -> Image.Image:
    """Views of one size in rows, each with its words above it; below them a title, lines, and what colours mean."""
    width, height = labels[0].view.size
    rows = -(-len(labels) // columns)
    whole = (columns * width + (columns + 1) * MARGIN, rows * (height + LINE) + MARGIN)
    room = whole[0] - 2 * MARGIN
    below = [(words, size) for one, size in ((title, TITLE), *((line, TEXT) for line in lines)) if one
             for words in wrapped(one, size, room)]  # fmt: skip
    under = whole[1] + len(below) * LINE + (LINE if scale else 0) + MARGIN
    page = Image.new("RGB", (whole[0], under), PAPER)
    draw = ImageDraw.Draw(page)
    for number, label in enumerate(labels):
        left = MARGIN + (number % columns) * (width + MARGIN)
        top = MARGIN // 2 + (number // columns) * (height + LINE)
        draw.text((left, top + LINE / 2), wrapped(label.words, TEXT, width)[0], INK, _font(TEXT), anchor="lm")
        page.paste(label.view, (left, top + LINE))
    y = whole[1]
    for words, size in below:
        draw.text((MARGIN, y), words, INK if size == TITLE else FAINT, _font(size))
        y += LINE
    x = float(MARGIN)
    for color, words in scale:
        draw.rectangle((x, y + 6, x + LINE - 10, y + LINE - 5), fill=color, outline=FAINT)
        draw.text((x + LINE, y + LINE / 2), words, INK, _font(TEXT), anchor="lm")
        x += LINE + _font(TEXT).getlength(words) + MARGIN
    return page


def wrapped(words: str, size: int, width: float) -> list[str]:
    """Lines no wider than `width`; a single word that is wider stands alone."""
    lines = [""]
    for word in foreign.line(words).split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and _font(size).getlength(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


class Page:
    """A page with a large view, two small ones beside it, and a caption and a legend below."""

    def __init__(self, large: tuple[int, int], small: tuple[int, int]) -> None:
        self.large = (MARGIN, MARGIN)
        self.beside = (2 * MARGIN + large[0], MARGIN)
        self.below = (2 * MARGIN + large[0], 2 * MARGIN + small[1])
        self._width = 3 * MARGIN + large[0] + small[0]
        self._under = 2 * MARGIN + large[1]
        self._image = Image.new("RGB", (self._width, self._under + 5 * LINE + MARGIN), PAPER)
        self._draw = ImageDraw.Draw(self._image)

    def finished(self) -> Image.Image:
        """The page as it is now."""
        return self._image

    def view(self, view: Image.Image, corner: tuple[int, int], words: str) -> None:
        """Put a view on the page, with words in its upper left corner."""
        self._image.paste(view, corner)
        at = (corner[0] + 10, corner[1] + 9)
        left, top, right, bottom = self._draw.textbbox(at, words, _font(TEXT))
        self._draw.rectangle((left - 6, top - 5, right + 6, bottom + 5), fill=PAPER)
        self._draw.text(at, words, INK, _font(TEXT))

    def legend(self, entries: Sequence[tuple[Color | None, str]]) -> None:
        """A row for each colour; None draws the ring of a marked place."""
        x, y = self.beside[0], self._under
        for color, words in entries:
            if color is None:
                sample = Image.new("RGB", (2 * LINE, LINE), PAPER)
                self.mark(sample, [(LINE / 2.0, LINE / 2.0)], small=True)
                self._image.paste(sample.crop((0, 0, LINE, LINE)), (x, y))
            else:
                self._draw.rectangle((x + 4, y + 4, x + LINE - 5, y + LINE - 5), fill=color, outline=FAINT)
            for line in wrapped(words, TEXT, self._width - MARGIN - x - LINE - 8):
                self._draw.text((x + LINE + 8, y + LINE / 2), line, INK, _font(TEXT), anchor="lm")
                y += LINE

    def caption(self, title: str, failed: bool, lines: Sequence[str]) -> None:
        """The title and the lines below it, wrapped; the first line says whether the expectation holds."""
        y, width = self._under, self.beside[0] - 2 * MARGIN
        for words in wrapped(title, TITLE, width):
            self._draw.text((MARGIN, y), words, INK, _font(TITLE))
            y += LINE + 2
        for number, line in enumerate(lines):
            color = FAILED if failed and not number else INK if not number else FAINT
            for words in wrapped(line, TEXT, width):
                self._draw.text((MARGIN, y), words, color, _font(TEXT))
                y += LINE - 2

    @staticmethod
    def mark(image: Image.Image, places: Sequence[Point], small: bool = False) -> None:
        """Ring a place, or two places and the line between them, in black on white so that it shows on any colour."""
        large = image.resize((image.width * _SMOOTHING, image.height * _SMOOTHING), Image.Resampling.NEAREST)
        draw = ImageDraw.Draw(large)
        radius = (8.0 if small or len(places) > 1 else _RING) * _SMOOTHING
        middles = [(x * _SMOOTHING, y * _SMOOTHING) for x, y in places]
        for color, width in ((PAPER, 5 * _SMOOTHING), (INK, 2 * _SMOOTHING)):
            draw.line(middles, fill=color, width=width)
            for x, y in middles:
                grown = radius + width / 2.0
                draw.ellipse((x - grown, y - grown, x + grown, y + grown), outline=color, width=width)
        image.paste(large.reduce(_SMOOTHING))

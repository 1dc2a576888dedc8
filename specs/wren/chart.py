"""Strengths over a clip as rows of curves over one time axis: the left side solid, the right side dashed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from PIL import ImageDraw, ImageFont

from plica.picture.directions import Floats

INK: Final = (58, 54, 62)
FAINT: Final = (138, 132, 138)
RULE: Final = (218, 214, 210)
LEFT: Final = (68, 72, 128)
RIGHT: Final = (150, 84, 128)
LEFT_FILL: Final = (222, 223, 236)
RIGHT_FILL: Final = (239, 225, 234)
PAPER: Final = (255, 255, 255)
TEXT: Final = 24
"""The size of all words, in pixels of the full-size picture."""
_DASH: Final = (9.0, 6.0)
_LINE: Final = 3.0

Point: TypeAlias = tuple[float, float]
Color: TypeAlias = tuple[int, int, int]
Font: TypeAlias = ImageFont.FreeTypeFont | ImageFont.ImageFont


@lru_cache(maxsize=8)
def _font(size: float) -> Font:
    return ImageFont.load_default(size)


@dataclass(frozen=True)
class Pen:
    """Draws in pixels of the full-size picture, whatever the size of the image it draws on."""

    draw: ImageDraw.ImageDraw
    scale: float

    def line(self, points: Sequence[Point], color: Color, width: float) -> None:
        """A line through points."""
        self.draw.line(self._scaled(points), fill=color, width=max(1, round(width * self.scale)), joint="curve")

    def dashed(self, points: Sequence[Point], color: Color, width: float) -> None:
        """A line through points, dashed evenly along its length."""
        line = np.asarray(points)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
        for start in np.arange(0.0, along[-1], sum(_DASH)):
            stop = min(start + _DASH[0], along[-1])
            at = np.concatenate([[start], along[(along > start) & (along < stop)], [stop]])
            dash = np.stack([np.interp(at, along, line[:, k]) for k in (0, 1)], axis=1)
            self.line([(x, y) for x, y in dash.tolist()], color, width)

    def area(self, points: Sequence[Point], color: Color) -> None:
        """A filled polygon."""
        self.draw.polygon(self._scaled(points), fill=color)

    def words(self, at: Point, text: str, color: Color = INK, anchor: str = "lm") -> None:
        """Text, placed by Pillow's anchors."""
        (place,) = self._scaled([at])
        self.draw.text(place, text, fill=color, font=_font(TEXT * self.scale), anchor=anchor)

    def length(self, text: str) -> float:
        """How wide text is."""
        return _font(TEXT * self.scale).getlength(text) / self.scale

    def badge(self, at: Point, text: str) -> None:
        """A number in a disc."""
        self.disc(at, 16.0, INK)
        self.words(at, text, PAPER, "mm")

    def disc(self, center: Point, radius: float, color: Color) -> None:
        """A filled circle."""
        x, y = center
        (low, high) = self._scaled([(x - radius, y - radius), (x + radius, y + radius)])
        self.draw.ellipse((low, high), fill=color)

    def _scaled(self, points: Sequence[Point]) -> list[Point]:
        return [(x * self.scale, y * self.scale) for x, y in points]


@dataclass(frozen=True)
class Chart:
    """Where the chart lies: its curves between x `left` and `right`, its rows from y `top` on, `row` pixels
    each; and the clip's times (frames,) in seconds.
    """

    left: float
    right: float
    top: float
    row: float
    times: Floats

    def x(self, time: float) -> float:
        """The column of a time in seconds."""
        first, last = float(self.times[0]), float(self.times[-1])
        return self.left + (time - first) / (last - first) * (self.right - self.left)

    def draw(
        self,
        pen: Pen,
        strengths: Mapping[str, Floats],
        rows: Sequence[tuple[str, str]],
        marks: Sequence[tuple[float, Point]],
    ) -> None:
        """Rows of (strength's name without its side, words beside it), and marks: times in seconds,
        each with the place above the chart from which a numbered badge points to it.
        """
        bottom = self.top + self.row * len(rows)
        for number, (name, words) in enumerate(rows):
            base = self.top + self.row * (number + 1)
            self._row(pen, base, strengths[f"left_{name}"], strengths[f"right_{name}"])
            pen.words((self.left - 24, base - 0.36 * self.row), words, anchor="rm")
        self._sides(pen, strengths[f"left_{rows[0][0]}"], strengths[f"right_{rows[0][0]}"])
        for second in range(int(self.times[0]), int(self.times[-1]) + 1):
            pen.line([(self.x(second), bottom), (self.x(second), bottom + 7)], FAINT, 2)
            pen.words((self.x(second), bottom + 23), f"{second} s", FAINT, "mm")
        for number, (time, badge) in enumerate(marks, start=1):
            below = (badge[0], badge[1] + 30)
            pen.line([badge, below, (self.x(time), self.top - 4), (self.x(time), bottom)], INK, 1.5)
            pen.badge(badge, str(number))

    def _row(self, pen: Pen, base: float, left: Floats, right: Floats) -> None:
        pen.line([(self.left, base), (self.right, base)], RULE, 1.5)
        curves = [(stretch, LEFT, LEFT_FILL) for stretch in self._stretches(base, left)]
        curves += [(stretch, RIGHT, RIGHT_FILL) for stretch in self._stretches(base, right)]
        for curve, _, fill in curves:
            pen.area([(curve[0][0], base), *curve, (curve[-1][0], base)], fill)
        for curve, color, _ in curves:
            if color == LEFT:
                pen.line(curve, color, _LINE)
            else:
                pen.dashed(curve, color, _LINE)

    def _stretches(self, base: float, strength: Floats) -> list[list[Point]]:
        """The curve over each stretch of time in which the strength can be seen at all."""
        visible = np.concatenate([[False], strength > 0.004, [False]])
        turns = np.flatnonzero(np.diff(visible.astype(np.int8)))
        last = len(strength) - 1
        return [
            [
                (self.x(float(self.times[frame])), base - 0.76 * self.row * float(strength[frame]))
                for frame in range(max(start - 1, 0), min(stop, last) + 1)
            ]
            for start, stop in turns.reshape(-1, 2).tolist()
        ]

    def _sides(self, pen: Pen, left: Floats, right: Floats) -> None:
        """Names the two kinds of line before the first row's curves rise."""
        y = self.top + 0.62 * self.row
        for strength, words, color in ((left, "left", LEFT), (right, "right", RIGHT)):
            first = float(self.times[np.flatnonzero(strength > 0.5 * strength.max())[0]])
            pen.words((self.x(first) - 46, y), words, color, "rm")

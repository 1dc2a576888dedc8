"""What is said for people, and reference photographs, as the page shows them beside the entries that they belong to.

A photograph is put into the page once, made small; where others name the same file, they lead to it.
"""

from __future__ import annotations

import io
from base64 import b64encode
from collections.abc import Iterable
from typing import Any, Final, NamedTuple

import numpy as np
from PIL import Image, ImageOps

from plica.diagnostics import Diagnostics
from plica.mesh.images import ImageError, Texels
from plica.mesh.region_sources import Read
from plica.values import About, Photo
from plica.workspace import Refused

LARGEST: Final = 800
"""Texels across or down of a photograph in the page; larger ones are made smaller."""
_QUALITY: Final = 75


class PhotoView(NamedTuple):
    """A photograph. id: of its figure on the page; url: its data, "" where the figure of this id shows it already, or
    where it cannot be shown (`problem` says why then).
    """

    id: str
    caption: str
    url: str
    width: int
    height: int
    problem: str


class Said(NamedTuple):
    """What is said of an entry for people."""

    notes: tuple[str, ...]
    photos: tuple[PhotoView, ...]


class PhotoAlbum:
    """Reads the photographs of one page."""

    def __init__(self, read: Read, diagnostics: Diagnostics) -> None:
        self._read, self._diagnostics = read, diagnostics
        self._shown: dict[str, PhotoView] = {}

    def said(self, told: Iterable[About]) -> Said:
        """Notes and photographs of an entry, or of both sides of one, each once."""
        entries = list(told)
        photos = dict.fromkeys(photo for about in entries for photo in about.photos)
        return Said(
            tuple(dict.fromkeys(note for about in entries for note in about.notes)),
            tuple(self._view(photo) for photo in photos),
        )

    def _view(self, photo: Photo) -> PhotoView:
        caption = photo.caption or photo.file
        first = self._shown.get(photo.file)
        if first is not None:
            return first._replace(caption=caption, url="")
        made = self._made(photo.file, f"photo-{len(self._shown)}")
        self._shown[photo.file] = made
        if made.problem:
            self._diagnostics.add("photo-not-shown", None, file=photo.file, reason=made.problem)
        return made._replace(caption=caption)

    def _made(self, file: str, name: str) -> PhotoView:
        content = self._read(file)
        if isinstance(content, Refused):
            return PhotoView(name, "", "", 0, 0, content.values.get("reason", "it cannot be read"))
        try:
            picture = _small(Texels.of(content))
        except ImageError as error:
            return PhotoView(name, "", "", 0, 0, str(error))
        data = io.BytesIO()
        picture.save(data, "WEBP", quality=_QUALITY, method=4)
        url = f"data:image/webp;base64,{b64encode(data.getvalue()).decode('ascii')}"
        return PhotoView(name, "", url, picture.width, picture.height, "")


def _small(texels: Texels) -> Image.Image:
    """A photograph upright, in red, green and blue, at most `LARGEST` across and down. Raises ImageError."""
    if texels.largest is None:
        raise ImageError("its texels are numbers without a white")
    image: Any = texels.high
    if image.mode.startswith("I"):
        image = Image.fromarray((np.asarray(image, dtype=np.uint32) >> 8).astype(np.uint8))
    image = ImageOps.exif_transpose(image).convert("RGBA")
    paper = Image.new("RGBA", image.size, "white")
    paper.alpha_composite(image)
    paper.thumbnail((LARGEST, LARGEST))
    return paper.convert("RGB")

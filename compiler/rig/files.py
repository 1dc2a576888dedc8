"""The files that a rig names."""

from __future__ import annotations

from collections.abc import Iterator

from plica.rig.region_sources import files_in
from plica.rig.rig import Rig


def files_of(rig: Rig) -> Iterator[tuple[str, tuple[str, ...], str, str]]:
    """The files that a rig names, what each reaches, and the kind and name of the entry that names it.

    A file that is named twice comes twice.
    """
    if rig.character.geometry is not None:
        yield rig.character.geometry.file, ("geometry", "textures"), "character", rig.character.name
    for region in rig.regions:
        for file in files_in(region.source):
            yield file, ("geometry", "textures"), "region", region.name
    for shape in rig.shapes:
        for sculpt in shape.sculpts:
            yield sculpt.file, ("geometry",), "shape", shape.name
    for detail in rig.details:
        yield detail.relaxed, ("textures",), "detail", detail.name
        yield detail.contracted, ("textures",), "detail", detail.name
    for number, expectation in enumerate(rig.expectations):
        for clip in expectation.over_clips:
            yield clip, ("strengths",), "expect", str(number)

"""The target `json`: the rig as documented JSON, and its test vectors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.build.features import ALL_FEATURES
from plica.build.model import Build
from plica.build.names import safe_file_name
from plica.build.target import Target, option
from plica.diagnostics import Diagnostics


@dataclass(frozen=True)
class JsonTarget(Target):
    """`<character>.rig.json`, `<character>.vectors.json` and, where shapes were computed, `<character>.offsets.npz`.

    The README.md here describes the first two, offsets.md the third.
    """

    name: ClassVar[str] = "json"
    description: ClassVar[str] = "the whole rig as plain data, with test vectors"
    supports: ClassVar[frozenset[str]] = ALL_FEATURES

    listed: int = option(0, "shapes of at most so many vertices also stand in the JSON, as lists")

    def emit(self, build: Build, found: Diagnostics) -> dict[str, bytes]:
        """The rig, its test vectors and its offsets, named after the character."""
        from plica.build.masks import with_places
        from plica.build.vectors import vectors_bytes, vectors_file
        from plica.rig.json import encoded, write_rig

        name = safe_file_name(build.rig.character.name)
        rig, files = with_places(build), {vectors_file(build.rig): vectors_bytes(build.rig)}
        if build.attached is not None:
            from plica.build.offsets import offsets_bytes, with_offsets

            offsets = f"{name}.offsets.npz"
            files[offsets] = offsets_bytes(build.attached, build.rig.build)
            rig = with_offsets(rig, build.attached, offsets, self.listed)
        return {f"{name}.rig.json": encoded(write_rig(rig)), **files}


TARGET = JsonTarget()

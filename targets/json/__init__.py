"""The target `json`: the rig as documented JSON, and its test vectors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.emit.target import Target, option


@dataclass(frozen=True)
class JsonTarget(Target):
    """`<character>.rig.json`, `<character>.vectors.json` and, where shapes were computed, `<character>.offsets.npz`.

    The README.md here describes the first two, offsets.md the third.
    """

    name: ClassVar[str] = "json"
    description: ClassVar[str] = "the whole rig as plain data, with test vectors"
    supports: ClassVar[frozenset[str]] = frozenset(
        {
            "reading rotation",
            "reading bend",
            "reading swing",
            "reading euler",
            "reading offset",
            "reading scale",
            "reading gap",
            "reading control",
            "reading weight",
            "curve linear",
            "curve points",
            "curve hermite",
            "curve bezier",
            "combine product",
            "combine least",
            "combine greatest",
            "combine sum",
            "field rotation",
            "field direction",
            "kernel ramp",
            "kernel gaussian",
            "kernel linear",
            "shape weight",
            "shape inbetween",
            "driver unclamped",
            "fold strength",
            "skinning dual quaternion",
        }
    )

    listed: int = option(0, "shapes of at most so many vertices also stand in the JSON, as lists")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The rig, its test vectors and its offsets, named after the character."""
        from plica.emit.masks import with_places
        from plica.emit.offsets_table import offsets_files, with_offsets
        from plica.emit.vectors_json import vectors_bytes, vectors_file
        from plica.rig.rig_json import encoded, write_rig

        name = safe_file_name(build.rig.character.name)
        rig, files = with_places(build), {vectors_file(build.rig): vectors_bytes(build), **offsets_files(build)}
        if build.attached is not None:
            rig = with_offsets(rig, build.attached, self.listed)
        return {f"{name}.rig.json": encoded(write_rig(rig)), **files}


TARGET = JsonTarget()

"""The target `materialx`: the folds of each detail as a node graph of the MaterialX standard library."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.targets.masks import MasksTarget


@dataclass(frozen=True)
class MaterialxTarget(MasksTarget):
    """`<character>.mtlx`, and all that it reads: the normal maps and what the target `masks` writes.

    The README.md here describes the document. Strengths come in as inputs of the graphs, so no way of making them is
    beyond this target.
    """

    name: ClassVar[str] = "materialx"
    description: ClassVar[str] = "shading networks that fade each fold's detail in, for renderers with MaterialX"
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

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The document, the maps, and the masks with their manifest; nothing where there are no details."""
        from plica.emit.masks import direction_places, mask_places
        from plica.emit.output_file_names import safe_file_name
        from plica.targets.materialx.emit import FoldMaps, document, maps

        if not build.rig.details:
            diagnostics.add("no-details", None, target=self.name)
            return {}
        errors = diagnostics.count_of_errors
        files = super().emit(build, diagnostics) | maps(build, diagnostics)
        if diagnostics.count_of_errors > errors:
            return {}
        options = self.masks()
        places = FoldMaps(mask_places(build, diagnostics, options), direction_places(build, diagnostics, options))
        return files | {f"{safe_file_name(build.rig.character.name)}.mtlx": document(build, places, diagnostics)}


TARGET = MaterialxTarget()

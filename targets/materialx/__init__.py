"""The target `materialx`: the folds of each detail as a node graph of the MaterialX standard library."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.build.features import ALL_FEATURES
from plica.build.model import Build
from plica.build.target import Target
from plica.diagnostics import Diagnostics


@dataclass(frozen=True)
class MaterialxTarget(Target):
    """`<character>.mtlx`, and the normal maps that it reads; the README.md here describes them.

    Strengths come in as inputs of the graphs, so no way of making them is beyond this target.
    """

    name: ClassVar[str] = "materialx"
    description: ClassVar[str] = "shading networks that fade each fold's detail in, for renderers with MaterialX"
    supports: ClassVar[frozenset[str]] = ALL_FEATURES

    def emit(self, build: Build, found: Diagnostics) -> dict[str, bytes]:
        """The document, the maps and the textures of the masks."""
        from plica.targets.materialx.emit import emitted

        return emitted(build, found)


TARGET = MaterialxTarget()

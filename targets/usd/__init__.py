"""The target `usd`: the character as an OpenUSD layer with its shapes, clips and folds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.target import option
from plica.targets.masks import MasksTarget


@dataclass(frozen=True)
class UsdTarget(MasksTarget):
    """`<character>.rigged.usda` or `.usdc`, by usd-core, which comes with the extra `usd`, and its textures.

    Strengths are sampled over clips, so no way of making them is beyond this target. The README.md here describes it.
    """

    name: ClassVar[str] = "usd"
    description: ClassVar[str] = "an OpenUSD layer: skeleton, skin, shapes with inbetweens, clips and folds"
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

    clip: tuple[str, ...] = option(
        (), "a file of clips: glTF 2.0, OpenUSD or BVH (default: those of the model itself)", names_files=True
    )
    plays: str = option("", "the clip that the skeleton is bound to (default: the first; with no clip it stands still)")
    binary: bool = option(False, "write `.usdc`, which is smaller, instead of text")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The layer and its textures; nothing, after diagnostics, where it cannot be written."""
        try:
            import pxr  # noqa: F401
        except ImportError:
            diagnostics.add("usd-without-library", None)
            return {}
        from plica.targets.materialx.emit import maps
        from plica.targets.usd.emit import UsdOptions, usd_files

        errors = diagnostics.count_of_errors
        textures: dict[str, bytes] = {}
        if build.rig.details and build.attached is not None:
            textures = super().emit(build, diagnostics) | maps(build, diagnostics)
        if diagnostics.count_of_errors > errors:
            return {}
        options = UsdOptions(self.clip, self.plays, self.binary, self.masks())
        files = usd_files(build, options, diagnostics)
        return textures | files if files else {}


TARGET = UsdTarget()

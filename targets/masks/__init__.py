"""The target `masks`: the folds' masks as packed PNG textures, with a manifest in JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.target import Target, option

if TYPE_CHECKING:
    from plica.texture.mask_set import MaskOptions


@dataclass(frozen=True)
class MasksTarget(Target):
    """`<character>.masks.json` and the textures `<character>.masks.<number>.png`; if asked for, stills of the blended
    maps. The README.md here describes them.

    Strengths are named and not computed here, so no way of making them is beyond this target.
    """

    name: ClassVar[str] = "masks"
    description: ClassVar[str] = "the masks of folds as small packed textures, with a manifest"
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

    size: int = option(1024, "texels across of the masks at full size, a power of two from 4 to 8192")
    channels: int = option(4, "how many masks a texture holds, 1 to 4")
    still: tuple[str, ...] = option(
        (),
        "also write the blended normal map with folds or strengths at these amounts, as in `nose=1,elbow=0.5`, "
        "or in a declared pose, by its name",
    )

    def masks(self) -> MaskOptions | None:
        """How the masks are made; None where an option cannot be, which `emit` tells."""
        from plica.texture.mask_set import SIZES, MaskOptions

        fitting = self.size in SIZES and 1 <= self.channels <= 4
        return MaskOptions(self.size, self.channels) if fitting else None

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The manifest and the textures; nothing where there are no folds."""
        from plica.emit.masks import masks
        from plica.emit.output_file_names import safe_file_name
        from plica.targets.masks.manifest import manifest_bytes
        from plica.targets.masks.stills import stills
        from plica.texture.mask_set import SIZES

        if self.size not in SIZES:
            problem = f"it must be a power of two from {SIZES[0]} to {SIZES[-1]}"
            diagnostics.add("bad-target-option", None, target=self.name, option="size", problem=problem)
        if not 1 <= self.channels <= 4:
            diagnostics.add("bad-target-option", None, target=self.name, option="channels", problem="it must be 1 to 4")
        options = self.masks()
        made = None if options is None else masks(build, diagnostics, options)
        if options is None or made is None:
            return {}
        stem = safe_file_name(build.rig.character.name)
        manifest = f"{stem}.masks.json"
        textures = {texture.file: texture.content for texture in made.textures}
        more = stills(build, made, self.still, self.name, diagnostics)
        textures |= {one.file: one.content for one in made.directions}
        return {manifest: manifest_bytes(build.rig, made, options), **textures, **more}


TARGET = MasksTarget()

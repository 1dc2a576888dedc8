"""The target `gltf`: the character's own file with its shapes as morph targets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.target import Target, option


@dataclass(frozen=True)
class GltfTarget(Target):
    """`<character>.rigged.glb` or `.gltf`, and the files that it names. The README.md here describes them.

    Strengths are named and carried along, whatever makes them. Skins of glTF 2.0 are linear (section 3.7.3).
    """

    name: ClassVar[str] = "gltf"
    description: ClassVar[str] = "the character's own glTF 2.0 file with its shapes as morph targets"
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
        }
    )

    form: str = option(
        "plain",
        "plain: weights of 0, moved by whoever loads the file; baked: clips move them, by channels of their own; "
        "live: the file computes them from its joints",
    )
    clip: tuple[str, ...] = option(
        (), "with form=baked, a file of clips beside the model's own: glTF 2.0, OpenUSD or BVH", names_files=True
    )
    error: float = option(0.001, "with form=baked, how far a weight may be off, above 0 and below 1")
    starts: str = option("", "with form=live, the animation that the file starts; without one nothing starts by itself")
    tangents: bool = option(False, "with --normals, also write how shapes turn the tangents that the file has")

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The file and what it names; nothing, after diagnostics, where it cannot be written."""
        from plica.targets.gltf.emit import FORMS, GltfOptions, gltf_files

        problems = {
            "form": None if self.form in FORMS else f"it must be one of {', '.join(FORMS)}",
            "clip": "it needs form=baked" if self.clip and self.form != "baked" else None,
            "starts": "it needs form=live" if self.starts and self.form != "live" else None,
            "error": None if 0.0 < self.error < 1.0 else "it must be above 0 and below 1",
        }
        for name, problem in problems.items():
            if problem is not None:
                diagnostics.add("bad-target-option", None, target=self.name, option=name, problem=problem)
        if any(problems.values()):
            return {}
        options = GltfOptions(self.form, self.tangents, self.clip, self.error, self.starts)
        return gltf_files(build, options, diagnostics)


TARGET = GltfTarget()

"""The target `template`: a studio's own text, filled with the rig."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.emit.target import Target, option

_ENDING = ".jinja"
_CHARACTER = "{character}"


@dataclass(frozen=True)
class TemplateTarget(Target):
    """One output file for each template; the README.md here says what templates can use."""

    name: ClassVar[str] = "template"
    description: ClassVar[str] = "a text of your own, from your own Jinja template"
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

    template: tuple[str, ...] = option(
        (), "a template file, from the working folder; may be given several times", names_files=True
    )
    output: tuple[str, ...] = option(
        (), "the output's name, one for each template; {character} in it becomes the character's name"
    )

    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The filled templates. Reads the template files and those beside them that they include; nothing else."""
        from plica.emit.masks import with_places
        from plica.emit.offsets_table import with_offsets
        from plica.targets.template.within_limits import fill_within_limits

        if not self.template:
            diagnostics.add("template-not-given", None)
        if self.output and len(self.output) != len(self.template):
            diagnostics.add("template-outputs-differ", None, templates=len(self.template), outputs=len(self.output))
            return {}
        names = self.output or tuple(Path(template).name.removesuffix(_ENDING) for template in self.template)
        rig = with_places(build) if self.template else build.rig
        if build.attached is not None:
            rig = with_offsets(rig, build.attached, 0)
        files: dict[str, bytes] = {}
        for template, pattern in zip(self.template, names, strict=True):
            name = pattern.replace(_CHARACTER, safe_file_name(build.rig.character.name))
            if name in files:
                diagnostics.add("paths-collide", None, first=name, second=name)
            filled = fill_within_limits(Path(template), rig)
            if isinstance(filled, str):
                files[name] = filled.encode("utf-8", "backslashreplace")
            else:
                diagnostics.add_filled(filled.name, filled.span, filled.values)
        return files


TARGET = TemplateTarget()

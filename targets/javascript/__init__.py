"""The target `javascript`: one stand-alone module with straight-line code, and its test vectors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.generated_code import Literal
from plica.emit.output_file_names import safe_file_name
from plica.emit.output_set import manifest_file
from plica.emit.target import Target
from plica.foreign import script_literal
from plica.kinds.kernels import RADIAL_KERNELS
from plica.rig.ramps import HELD
from plica.rig.rig import Rig
from plica.rig.surfaces import Fold

if TYPE_CHECKING:
    from jinja2 import Template


@dataclass(frozen=True)
class JavaScriptTarget(Target):
    """`<character>_rig.mjs`, a module for browsers and node without any package, and test vectors to check it with."""

    name: ClassVar[str] = "javascript"
    description: ClassVar[str] = "a stand-alone JavaScript module that any page or program of the web can host"
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
        """The module and the test vectors, named after the character."""
        from plica.emit.masks import with_places
        from plica.emit.vectors_json import vectors_bytes, vectors_file

        text = module_text(with_places(build)).encode("ascii")
        return {module_file(build.rig): text, vectors_file(build.rig): vectors_bytes(build)}


def module_file(rig: Rig) -> str:
    """The name of the module of a rig."""
    return f"{safe_file_name(rig.character.name)}_rig.mjs"


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    text = files("plica.targets.javascript").joinpath("module.mjs.jinja").read_text("utf-8")
    return Environment(undefined=StrictUndefined, autoescape=False, keep_trailing_newline=True).from_string(text)


def module_text(rig: Rig, *, program: bool = True) -> str:
    """The source of the module: ASCII; texts of the rig appear in it only as literals made by `script_literal`.

    `program`: with what node runs for `--self-test`; what includes the module in a script of its own has no use for it.
    """
    from plica.emit.vectors_json import vectors_file
    from plica.targets.javascript.language import JAVASCRIPT
    from plica.targets.python.source import write_source

    source = write_source(rig, JAVASCRIPT)
    neutral = {joint.name: joint.neutral for joint in rig.skeleton}
    controls = {control.name: control for control in rig.controls if control.name in source.controls}
    read = [controls[name] for name in source.controls]
    kernels = JAVASCRIPT.choice(
        [(f"kernel === {script_literal(name)}", kernel.expression) for name, kernel in RADIAL_KERNELS.items()], "NaN"
    )
    return _template().render(
        functions_of_math="abs, atan, atan2, exp, max, min, sqrt",
        character=script_literal(rig.character.name),
        skinning=script_literal(rig.character.skinning),
        build=script_literal(rig.build),
        module=script_literal(module_file(rig)),
        vectors=script_literal(vectors_file(rig)),
        manifest=script_literal(manifest_file(rig.character.name)),
        joints=_listed(source.pose),
        rest=_mapped({name: (neutral[name].translation, neutral[name].rotation) for name in source.pose}),
        scaled=_mapped({name: neutral[name].scale for name in source.pose if name in source.scaled}),
        controls=_mapped({control.name: (*control.range, control.rest) for control in read}),
        weights=_mapped({control.name: control.morph for control in read if control.morph is not None}),
        has_weights=any(control.morph is not None for control in read),
        strengths=_listed(strength.name for strength in rig.strengths),
        shapes=_mapped(
            {
                shape.name: {"follows": shape.follows, "inbetweens": tuple(entry.at for entry in shape.inbetweens)}
                for shape in rig.shapes
            }
        ),
        folds=_mapped({fold.name: _fold(fold) for fold in rig.folds}),
        count=len(rig.strengths),
        parts=source.parts,
        functions=source.functions,
        uses_swing="swing" in source.helpers,
        uses_euler="euler" in source.helpers,
        uses_placed="placed" in source.helpers,
        uses_seen="seen" in source.helpers,
        uses_easing="easing" in source.helpers,
        uses_field="field" in source.helpers,
        kernel=kernels,
        program=program,
        unheld=JAVASCRIPT.literal(1.0 - HELD),
    )


def _fold(fold: Fold) -> dict[str, object]:
    return {
        "follows": fold.follows,
        "detail": fold.detail,
        "area": fold.area,
        "mask": None if fold.mask is None else fold.mask._asdict(),
        "directions": None if fold.directions is None else fold.directions._asdict(),
    }


def _listed(items: Iterable[Literal]) -> str:
    """An array with one item on each line."""
    lines = "".join(f"  {script_literal(item)},\n" for item in items)
    return f"[\n{lines}]" if lines else "[]"


def _mapped(entries: Mapping[str, object]) -> str:
    """A Map with one entry on each line: whatever a name is, it is no word of the language."""
    lines = "".join(f"  {script_literal(entry)},\n" for entry in entries.items())
    return f"new Map([\n{lines}])" if lines else "new Map()"


TARGET = JavaScriptTarget()

"""The target `python`: one stand-alone module with straight-line code, and its test vectors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.emit.output_set import manifest_file
from plica.emit.target import Target
from plica.kinds.kernels import kernel_expression
from plica.rig.ramps import HELD
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, StrengthOf
from plica.targets.python.installing import installer_file, installer_text
from plica.targets.python.literals import listed, mapped
from plica.targets.python.templates import template


@dataclass(frozen=True)
class PythonTarget(Target):
    """`<character>_rig.py`, for Python 3.7 and later without any package, test vectors to check it with; where
    shapes were computed, their offsets and the script that installs them."""

    name: ClassVar[str] = "python"
    description: ClassVar[str] = "a stand-alone Python module for any program's scripts, with the shapes' offsets"
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
        """The module, the test vectors and the offsets, named after the character."""
        from plica.emit.masks import with_places
        from plica.emit.offsets_table import offsets_files, with_offsets
        from plica.emit.vectors_json import vectors_bytes, vectors_file

        rig = with_places(build)
        if build.attached is not None:
            rig = with_offsets(rig, build.attached, 0)
        module, files = module_file(rig), {vectors_file(rig): vectors_bytes(build), **offsets_files(build)}
        if rig.offsets is not None:
            files[installer_file(rig)] = installer_text(rig, module).encode("ascii")
        return {module: module_text(rig).encode("ascii"), **files}


def module_file(rig: Rig) -> str:
    """The name of the module of a rig."""
    return f"{safe_file_name(rig.character.name)}_rig.py"


def module_text(rig: Rig) -> str:
    """The source of the module: ASCII; texts of the rig appear in it only as literals made by `ascii`."""
    from plica.emit.vectors_json import vectors_file
    from plica.targets.python.language import PYTHON
    from plica.targets.python.source import write_source

    source = write_source(rig, PYTHON)
    rests = {joint.name: (joint.neutral.translation, joint.neutral.rotation) for joint in rig.skeleton}
    rest_scales = {joint.name: joint.neutral.scale for joint in rig.skeleton if joint.name in source.scaled}
    shapes = {
        shape.name: {"follows": shape.follows, "inbetweens": tuple(entry.at for entry in shape.inbetweens)}
        for shape in rig.shapes
    }
    folds = {
        fold.name: {
            "follows": fold.follows,
            "detail": fold.detail,
            "area": fold.area,
            "mask": None if fold.mask is None else fold.mask._asdict(),
            "directions": None if fold.directions is None else fold.directions._asdict(),
        }
        for fold in rig.folds
    }
    controls = {
        control.name: (*control.range, control.rest) for control in rig.controls if control.name in source.controls
    }
    weights = {
        control.name: control.morph
        for control in rig.controls
        if control.morph is not None and control.name in source.controls
    }
    combinations = {
        strength.name: _combination(strength.combination) for strength in rig.strengths if strength.kind == "combine"
    }
    return template("module.py.jinja").render(
        character=ascii(rig.character.name),
        skinning=ascii(rig.character.skinning),
        build=ascii(rig.build),
        module=ascii(module_file(rig)),
        vectors=ascii(vectors_file(rig)),
        manifest=ascii(manifest_file(rig.character.name)),
        joints=listed("()", map(ascii, source.pose)),
        rest=mapped({joint: rests[joint] for joint in source.pose}),
        scaled=mapped(rest_scales),
        controls=mapped({name: controls[name] for name in source.controls}),
        weights=mapped(weights),
        has_weights=bool(weights),
        strengths=listed("()", (ascii(strength.name) for strength in rig.strengths)),
        combinations=mapped(combinations),
        offsets=ascii(None if rig.offsets is None else rig.offsets.file),
        fingerprint=ascii(None if rig.offsets is None else rig.offsets.fingerprint),
        mesh_parts=listed("()", () if rig.offsets is None else (ascii(part._asdict()) for part in rig.offsets.parts)),
        shapes=mapped(shapes),
        folds=mapped(folds),
        count=len(rig.strengths),
        parts=source.parts,
        functions=source.functions,
        uses_swing="swing" in source.helpers,
        uses_euler="euler" in source.helpers,
        uses_placed="placed" in source.helpers,
        uses_seen="seen" in source.helpers,
        uses_easing="easing" in source.helpers,
        uses_field="field" in source.helpers,
        kernel=kernel_expression("kernel"),
        held=HELD,
    )


def _combination(combination: Combination) -> tuple[str, tuple[object, ...]]:
    """How, and the parts: names of strengths, or combinations again."""
    parts = (part.strength if isinstance(part, StrengthOf) else _combination(part) for part in combination.parts)
    return combination.how, tuple(parts)


TARGET = PythonTarget()

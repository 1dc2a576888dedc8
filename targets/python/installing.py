"""The script beside the generated module that puts a character's shapes into a program's document."""

from __future__ import annotations

from plica.emit.output_file_names import safe_file_name
from plica.rig.rig import Rig
from plica.targets.python.literals import mapped
from plica.targets.python.templates import template


def installer_file(rig: Rig) -> str:
    """The name of the installing script of a rig."""
    return f"{safe_file_name(rig.character.name)}_install.py"


def installer_text(rig: Rig, module: str) -> str:
    """The source of the script beside a module of this name: ASCII; `targets/python/hosts.md` describes it."""
    places = {
        joint.name: (joint.neutral.translation, joint.neutral.rotation, joint.neutral.scale) for joint in rig.skeleton
    }
    renamed = {shape.name: shape.about.renamed_from for shape in rig.shapes if shape.about.renamed_from is not None}
    return template("installer.py.jinja").render(
        build=ascii(rig.build), module=ascii(module), skeleton=mapped(places), renamed=mapped(renamed)
    )

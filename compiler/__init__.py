"""Plica: a text language for how a character's skin reacts to motion, and its compiler.

The stages, each a function from one type to the next plus diagnostics:

    text --parse--> Document --bind--> Spec --expand--> Rig --attach mesh--> Build --emit--> artifacts

`import plica` offers the functions below and loads each when it is first used; `compiler/README.md` teaches them with
examples. Mistakes in a user's files are `diagnostics` on the results. Wrong use raises `PlicaError`s (`plica.errors`).
Lengths are metres, angles radians, times seconds; rotations are quaternions x y z w.
"""

from typing import TYPE_CHECKING, Final

__version__ = "0.1.0"

if TYPE_CHECKING:
    from plica.api.adopting import adopt_sculpt
    from plica.api.building import build_files, compare_folder, write_files
    from plica.api.character import Character, compile_file, compile_text, read_rig
    from plica.api.comparing import compare_characters
    from plica.api.drafting import draft_sculpts
    from plica.api.found_project import find_project
    from plica.api.motion import measure_clips
    from plica.api.picturing import draw_skin
    from plica.api.posing import pose, poses_from_arrays, read_clips
    from plica.api.previewing import preview_spec
    from plica.api.projects import build_project, check_project, prove_project
    from plica.api.proving import prove_expectations, write_baseline
    from plica.api.proving_files import prove_file
    from plica.api.rebasing import rebase_sculpts
    from plica.api.sculpting import pose_skin
    from plica.api.sheeting import make_sheet
    from plica.api.skin import attach_mesh, deform_mesh
    from plica.api.strengths import compute_strengths
    from plica.api.texts import format_text, start_spec
    from plica.api.transferring import transfer_sculpts
    from plica.api.watching import watch_spec
    from plica.errors import PlicaError
    from plica.evaluate.poses import Poses

__all__ = [
    "Character",
    "PlicaError",
    "Poses",
    "adopt_sculpt",
    "attach_mesh",
    "build_files",
    "build_project",
    "check_project",
    "compare_characters",
    "compare_folder",
    "compile_file",
    "compile_text",
    "compute_strengths",
    "deform_mesh",
    "draft_sculpts",
    "draw_skin",
    "find_project",
    "format_text",
    "make_sheet",
    "measure_clips",
    "pose",
    "pose_skin",
    "poses_from_arrays",
    "preview_spec",
    "prove_expectations",
    "prove_file",
    "prove_project",
    "read_clips",
    "read_rig",
    "rebase_sculpts",
    "start_spec",
    "transfer_sculpts",
    "watch_spec",
    "write_baseline",
    "write_files",
]

_MODULES: Final = {
    "Character": "api.character",
    "PlicaError": "errors",
    "Poses": "evaluate.poses",
    "adopt_sculpt": "api.adopting",
    "attach_mesh": "api.skin",
    "build_files": "api.building",
    "build_project": "api.projects",
    "check_project": "api.projects",
    "compare_characters": "api.comparing",
    "compare_folder": "api.building",
    "compile_file": "api.character",
    "compile_text": "api.character",
    "compute_strengths": "api.strengths",
    "deform_mesh": "api.skin",
    "draft_sculpts": "api.drafting",
    "draw_skin": "api.picturing",
    "find_project": "api.found_project",
    "format_text": "api.texts",
    "make_sheet": "api.sheeting",
    "measure_clips": "api.motion",
    "pose": "api.posing",
    "pose_skin": "api.sculpting",
    "poses_from_arrays": "api.posing",
    "preview_spec": "api.previewing",
    "prove_expectations": "api.proving",
    "prove_file": "api.proving_files",
    "prove_project": "api.projects",
    "read_clips": "api.posing",
    "read_rig": "api.character",
    "rebase_sculpts": "api.rebasing",
    "start_spec": "api.texts",
    "transfer_sculpts": "api.transferring",
    "watch_spec": "api.watching",
    "write_baseline": "api.proving",
    "write_files": "api.building",
}

if not TYPE_CHECKING:  # so that a checker of types refuses names that there are not

    def __getattr__(name: str) -> object:
        """Loads a public name when it is first used: numpy and others take longer to load than a spec to check."""
        if name not in _MODULES:
            raise AttributeError(f"module 'plica' has no attribute {name!r}")
        from importlib import import_module

        value = getattr(import_module(f"plica.{_MODULES[name]}"), name)
        globals()[name] = value
        return value


def __dir__() -> list[str]:
    """The public names, also those that are not loaded yet."""
    return sorted({*globals(), *__all__})

"""Wren's mesh with a short spec of a test's own: far quicker than the whole demo."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from plica.demo import demo_files
from plica.diagnostics import Severity
from plica.mesh.arrays import Mesh
from plica.mesh.mesh_reader import mesh_of_rig
from plica.pipeline import compile_file
from plica.rig.rig import Rig

CHARACTER = """plica 1
character wren "Wren" {
    geometry "wren.glb" mesh "skin"
    symmetry across x
    left "*_lf"
    right "*_rt"
    tolerance 0.01 mm
}
"""


class Skinned(NamedTuple):
    """A rig, its mesh, and the folder that its files lie in."""

    rig: Rig
    mesh: Mesh
    folder: Path

    def read(self, file: str) -> bytes:
        """A file of the folder."""
        return (self.folder / file).read_bytes()


@lru_cache(maxsize=1)
def _files() -> dict[str, bytes]:
    return {name: content for name, content in demo_files().items() if name.startswith(("wren.glb", "masks/"))}


def skinned(declarations: str, folder: Path, **files: bytes) -> Skinned:
    """Wren with these declarations; her model, her masks and `files` are written to the folder."""
    for name, content in {**_files(), **files}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    spec = folder / "wren.plica"
    spec.write_text(CHARACTER + declarations, "utf-8")
    result = compile_file(spec)
    errors = [found.message for found in result.diagnostics if found.severity is Severity.ERROR]
    assert not errors, errors
    assert result.rig is not None
    return Skinned(result.rig, mesh_of_rig(result.rig, folder / "wren.glb"), folder)

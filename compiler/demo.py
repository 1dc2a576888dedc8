"""The demo character's files, as they are shipped with the package: Wren, the otter who runs the river post."""

from __future__ import annotations

from importlib.resources import files as resources
from importlib.resources.abc import Traversable
from typing import Final

SPEC: Final = "wren.plica"
_ENDINGS: Final = (".plica", ".glb", ".npz", ".png")


def demo_files() -> dict[str, bytes]:
    """Every file of the demo, by path in its folder: the spec, the library of limbs, and Wren's data."""
    specs = resources("plica.specs")
    return {
        SPEC: (specs / SPEC).read_bytes(),
        **_files_below(specs / "library", "library/"),
        **_files_below(specs / "wren" / "data", ""),
    }


def _files_below(folder: Traversable, prefix: str) -> dict[str, bytes]:
    """The files of a folder of the package and of the folders in it; its modules are none of them."""
    result: dict[str, bytes] = {}
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            result |= _files_below(entry, f"{prefix}{entry.name}/")
        elif entry.name.endswith(_ENDINGS):
            result[prefix + entry.name] = entry.read_bytes()
    return result

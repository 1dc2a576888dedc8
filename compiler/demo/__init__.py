"""Makes the demo character's data: Wren, the otter who runs the river post.

Everything is computed, the same bytes on every run: the skinned model, a clip of his rounds, sculpted
shapes, painted masks and normal maps. `files()` returns them; nothing is written here.
"""

from __future__ import annotations

from importlib.resources import files as resources
from importlib.resources.abc import Traversable

SPEC = "wren.plica"


def files() -> dict[str, bytes]:
    """Every file of the demo character: path with forward slashes, relative to the demo's folder, and
    content.

    Takes a few seconds; needs NumPy and Pillow, which are imported only here.
    """
    from plica.demo.clip import rounds
    from plica.demo.glb import model_file
    from plica.demo.model import wren
    from plica.demo.paint import maps, masks
    from plica.demo.sculpts import sculpts

    model = wren()
    return {
        "wren.glb": model_file(model),
        "clips/rounds.glb": rounds(),
        **sculpts(model),
        **masks(model),
        **maps(model),
    }


def demo_files() -> dict[str, bytes]:
    """Every file of the demo, by path in its folder: the computed data, the spec and the library."""
    return {**files(), **_specs(resources("plica.specs"), "")}


def _specs(folder: Traversable, prefix: str) -> dict[str, bytes]:
    """The specs that are installed with the package."""
    result: dict[str, bytes] = {}
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".plica"):
            result[prefix + entry.name] = entry.read_bytes()
        elif entry.is_dir() and not entry.name.startswith("_"):
            result |= _specs(entry, f"{prefix}{entry.name}/")
    return result

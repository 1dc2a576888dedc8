"""Every file of the demo character that is computed, but for drafted sculpts."""

from __future__ import annotations

from plica.specs.wren.clip import rounds
from plica.specs.wren.glb import model_file
from plica.specs.wren.model import wren
from plica.specs.wren.paint import maps, masks
from plica.specs.wren.sculpts import sculpts


def made_files() -> dict[str, bytes]:
    """The content of each file, by its path in `data/`, with forward slashes. Takes some seconds."""
    model = wren()
    return {
        "wren.glb": model_file(model),
        "clips/rounds.glb": rounds(),
        **sculpts(model),
        **masks(model),
        **maps(model),
    }

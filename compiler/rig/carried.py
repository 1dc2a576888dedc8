"""The rig that a model carries in its extras: how it is called there, and reading it back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from plica.rig.rig import Rig
from plica.rig.rig_json import RigFormatError, read_rig

KEY: Final = "plica"
"""The member of a glTF document's extras (or of its asset's) that holds all this."""
CARRIED_FORMAT: Final = "plica-gltf"
CARRIED_VERSION: Final = 1


def carried_in(document: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """What Plica wrote into a document's extras; None where it wrote nothing there."""
    asset = document.get("asset")
    for holder in (document, asset if isinstance(asset, dict) else {}):
        extras = holder.get("extras")
        held = extras.get(KEY) if isinstance(extras, dict) else None
        if isinstance(held, dict) and held.get("format") == CARRIED_FORMAT:
            return held
    return None


def rig_of_extras(held: Mapping[str, Any]) -> Rig:
    """The rig. Raises RigFormatError."""
    version = held.get("version")
    if type(version) is not int or version != CARRIED_VERSION:
        raise RigFormatError("version", f"must be {CARRIED_VERSION}")
    return read_rig(json.dumps(held.get("rig"), ensure_ascii=False))

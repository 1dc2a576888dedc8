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
_TARGETS: Final = "must be a list of shapes with the places of their weights"


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


def sources_of_extras(held: Mapping[str, Any]) -> dict[str, str]:
    """The SHA-256 of each file that the rig was made of, by its name from the spec. Raises RigFormatError."""
    sources = held.get("sources")
    if not isinstance(sources, dict) or not all(isinstance(digest, str) for digest in sources.values()):
        raise RigFormatError("sources", "must be an object of texts")
    return dict(sources)


def targets_of_extras(held: Mapping[str, Any]) -> list[tuple[str, int, int]]:
    """The shapes at strength 1, each with a node and the number of its morph target there. Raises RigFormatError."""
    entries = held.get("targets")
    result: list[tuple[str, int, int]] = []
    for entry in entries if isinstance(entries, list) else [None]:
        if not isinstance(entry, dict) or not isinstance(entry.get("weights"), list):
            raise RigFormatError("targets", _TARGETS)
        for place in entry["weights"]:
            if not isinstance(place, list) or [type(each) for each in place] != [int, int] or min(place) < 0:
                raise RigFormatError("targets", _TARGETS)
            if isinstance(entry.get("shape"), str) and entry.get("at") == 1.0:
                result.append((entry["shape"], place[0], place[1]))
    return result

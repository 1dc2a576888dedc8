"""What of a rig stands in the extras of a glTF 2.0 document; `plica.rig.carried` reads it again."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from plica.rig.carried import CARRIED_FORMAT, CARRIED_VERSION, KEY
from plica.rig.rig import Rig
from plica.rig.rig_json import write_rig
from plica.targets.gltf.additions import Document
from plica.targets.gltf.placing import PlacedShapes


def carry_rig(
    document: Document,
    rig: Rig,
    form: str,
    placed: PlacedShapes,
    clips: Sequence[Mapping[str, Any]] = (),
    sources: Iterable[tuple[str, str]] = (),
) -> bool:
    """Puts the rig into the document's extras, else into those of its asset; whether there was a place for it.

    clips: what is to be said of baked ones; sources: the files that the rig was made of, with their digests.
    """
    for holder in (document, document["asset"]):
        if isinstance(holder.setdefault("extras", {}), dict):
            holder["extras"][KEY] = {
                "format": CARRIED_FORMAT,
                "version": CARRIED_VERSION,
                "build": rig.build,
                "form": form,
                "targets": _listed(placed),
                "clips": list(clips),
                "sources": dict(sources),
                "rig": json.loads(write_rig(rig._replace(offsets=None))),
            }
            return True
    return False


def _listed(placed: PlacedShapes) -> list[dict[str, Any]]:
    """Where each shape stands, by shape and strength."""
    held: dict[tuple[str, float], list[list[int]]] = {}
    for target in placed.targets:
        held.setdefault((target.shape, target.at), []).append([target.node, target.target])
    return [{"shape": shape, "at": at, "weights": places} for (shape, at), places in held.items()]

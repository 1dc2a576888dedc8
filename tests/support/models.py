"""Small models made for tests: glTF documents from skeletons, and a figure whose joints can be named in any way."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from plica.skeleton.skeleton import Joint, Skeleton

Vector = tuple[float, float, float]
Namer = Callable[[str, str], str]  # base name, "left" or "right" or "" -> joint name


def document_of(skeleton: Skeleton, *, skinned: bool = True, morphs: Sequence[str] = ()) -> dict[str, Any]:
    """A glTF document with these joints and one mesh of four vertices. Checks read no more, so no buffer is there."""
    nodes: list[dict[str, Any]] = [
        {
            "name": joint.name,
            "translation": list(joint.translation),
            "rotation": list(joint.rotation),
            "scale": list(joint.scale),
        }
        for joint in skeleton.joints
    ]
    for index, joint in enumerate(skeleton.joints):
        if joint.parent is not None:
            nodes[joint.parent].setdefault("children", []).append(index)
    primitive: dict[str, Any] = {"attributes": {"POSITION": 0, "TEXCOORD_0": 0}}
    mesh: dict[str, Any] = {"name": "skin", "primitives": [primitive]}
    if morphs:
        primitive["targets"] = [{"POSITION": 0} for _ in morphs]
        mesh["extras"] = {"targetNames": list(morphs)}
    nodes.append({"name": "skin", "mesh": 0, **({"skin": 0} if skinned else {})})
    document: dict[str, Any] = {
        "asset": {"version": "2.0"},
        "nodes": nodes,
        "meshes": [mesh],
        "accessors": [{"count": 4, "componentType": 5126, "type": "VEC3"}],
    }
    if skinned:
        document["skins"] = [{"joints": list(range(len(skeleton.joints)))}]
    return document


def write_model(path: Path, document: dict[str, Any]) -> Path:
    """The document as a `.gltf` file."""
    path.write_text(json.dumps(document), "utf-8")
    return path


def container(document: bytes, binary: bytes | None = None, *, version: int = 2) -> bytes:
    """A `.glb` container (glTF 2.0 section 4.4)."""
    padded = document + b" " * (-len(document) % 4)
    chunks = struct.pack("<II", len(padded), 0x4E4F534A) + padded
    if binary is not None:
        filled = binary + b"\0" * (-len(binary) % 4)
        chunks += struct.pack("<II", len(filled), 0x004E4942) + filled
    return struct.pack("<4sII", b"glTF", version, 12 + len(chunks)) + chunks


# A figure in metres: base name, parent, place in model space on the left side, whether it has two sides.
_FIGURE: tuple[tuple[str, str, Vector, bool], ...] = (
    ("hips", "", (0.0, 1.0, 0.0), False),
    ("spine", "hips", (0.0, 1.2, 0.0), False),
    ("chest", "spine", (0.0, 1.35, 0.0), False),
    ("neck", "chest", (0.0, 1.5, 0.0), False),
    ("head", "neck", (0.0, 1.6, 0.0), False),
    ("clavicle", "chest", (0.05, 1.45, 0.0), True),
    ("upperarm", "clavicle", (0.2, 1.45, 0.0), True),
    ("forearm", "upperarm", (0.5, 1.45, 0.0), True),
    ("hand", "forearm", (0.75, 1.45, 0.0), True),
    ("index1", "hand", (0.85, 1.45, 0.03), True),
    ("index2", "index1", (0.89, 1.45, 0.03), True),
    ("index3", "index2", (0.92, 1.45, 0.03), True),
    ("pinky1", "hand", (0.84, 1.45, -0.03), True),
    ("pinky2", "pinky1", (0.87, 1.45, -0.03), True),
    ("pinky3", "pinky2", (0.89, 1.45, -0.03), True),
    ("thigh", "hips", (0.1, 0.95, 0.0), True),
    ("shin", "thigh", (0.1, 0.5, 0.0), True),
    ("foot", "shin", (0.1, 0.08, 0.0), True),
    ("toe", "foot", (0.1, 0.02, 0.12), True),
)


def underscored(base: str, side: str) -> str:
    """`shin_l`, `spine`."""
    return f"{base}_{side[0]}" if side else base


def figure(namer: Namer = underscored, place: Callable[[Vector], Vector] = lambda at: at) -> Skeleton:
    """A straight-limbed figure in a T pose that faces +z; `place` moves and turns its points, `namer` names it.

    All frames are those of the model, so that axes found are easy to tell.
    """
    joints: list[Joint] = []
    places: dict[str, Vector] = {}
    index: dict[str, int] = {}
    for base, parent, at, two_sides in _FIGURE:
        for side in ("left", "right") if two_sides else ("",):
            x, y, z = at
            own = place((-x, y, z) if side == "right" else (x, y, z))
            above = f"{parent}/{side}" if f"{parent}/{side}" in index else f"{parent}/"
            start = places.get(above, (0.0, 0.0, 0.0))
            offset = (own[0] - start[0], own[1] - start[1], own[2] - start[2])
            key = f"{base}/{side}"
            places[key], index[key] = own, len(joints)
            joints.append(Joint(namer(base, side), index.get(above), offset))
    return Skeleton(tuple(joints))

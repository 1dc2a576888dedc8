"""Test vectors as JSON: poses, the strengths that they must give, and where the skin stands then; every export carries
them as its proof."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.rig.rig import Rig, unbuilt
from plica.rig.rig_json import encoded, encoder, plain, write_lines
from plica.rig.rig_schema import schema_head

if TYPE_CHECKING:
    from plica.emit.named_poses import NamedPose
    from plica.emit.posed_vertices import PosedVertices
    from plica.evaluate.poses import SparsePose
    from plica.evaluate.vectors import Example

VECTORS_FORMAT = "plica-vectors"
VECTORS_VERSION = 2
VECTORS_MINOR = 0
# Strengths are at most some units; two correct implementations in double precision agree far better than this.
TOLERANCE = 1e-9


def vectors_file(rig: Rig) -> str:
    """The name of the file with a character's test vectors."""
    return f"{safe_file_name(rig.character.name)}.vectors.json"


def vectors_bytes(build: Build) -> bytes:
    """The test vectors of a build: the same bytes from every target that emits them."""
    rig, examples = build.rig, _vectors(unbuilt(build.rig))
    skin = None
    if build.attached is not None:
        from plica.emit.posed_vertices import posed_vertices

        skin = posed_vertices(rig, build.attached, examples)
    return encoded(vectors_text(rig, examples, skin, _named(unbuilt(rig))))


@lru_cache(maxsize=2)
def _vectors(rig: Rig) -> tuple[Example, ...]:
    """Computed once for all targets, and for all builds of one rig."""
    from plica.evaluate.vectors import vectors

    return tuple(vectors(rig))


@lru_cache(maxsize=2)
def _named(rig: Rig) -> tuple[NamedPose, ...]:
    from plica.emit.named_poses import named_poses

    return tuple(named_poses(rig))


def vectors_text(
    rig: Rig, vectors: Iterable[Example], skin: PosedVertices | None = None, named: Iterable[NamedPose] = ()
) -> str:
    """Vectors as canonical JSON text, one pose on each line."""
    members: dict[str, Any] = {
        "format": VECTORS_FORMAT,
        "version": VECTORS_VERSION,
        "minor": VECTORS_MINOR,
        "build": rig.build,
        "made_from": plain(rig.made_from),
        "character": rig.character.name,
        "tolerance": TOLERANCE,
        "vectors": [
            {
                "pose": _pose(example.pose),
                "strengths": {name: plain(value) for name, value in example.strengths.items()},
            }
            for example in vectors
        ],
        "named_poses": [
            {
                "kind": one.kind,
                "name": one.name,
                "words": one.words,
                "pose": None if one.pose is None else _pose(one.pose),
            }
            for one in named
        ],
        "skin": None if skin is None else _skin(skin),
        "posed_vertices": [] if skin is None else _posed_vertices(skin),
    }
    return write_lines(members, encoder())


def _pose(pose: SparsePose) -> dict[str, Any]:
    """Joints away from rest with what moved of them, and controls away from rest."""
    joints = {}
    for name, placement in pose.joints.items():
        parts = {"translation": placement.translation, "rotation": placement.rotation, "scale": placement.scale}
        joints[name] = {part: plain(tuple(value)) for part, value in parts.items() if value is not None}
    return {"joints": joints, "controls": {name: plain(value) for name, value in pose.controls.items()}}


def _skin(skin: PosedVertices) -> dict[str, Any]:
    """Which vertices of which mesh, and how exactly."""
    return {
        "vertex_count": skin.vertex_count,
        "fingerprint": skin.fingerprint,
        "tolerance": skin.tolerance,
        "vertices": skin.vertices.tolist(),
    }


def _posed_vertices(skin: PosedVertices) -> list[dict[str, Any]]:
    """Where they stand in each pose."""
    return [
        {"vector": number, "positions": positions}
        for number, positions in zip(skin.vectors, skin.positions.tolist(), strict=True)
    ]


def vectors_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of `<character>.vectors.json`."""

    def numbers(count: int) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "number"}, "minItems": count, "maxItems": count}

    def record(properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
        return {
            "type": "object",
            "properties": properties,
            "required": required,
        }

    by_name = {"type": "object", "additionalProperties": {"type": "number"}}
    joint = record({"translation": numbers(3), "rotation": numbers(4), "scale": numbers(3)}, [])
    pose = record(
        {"joints": {"type": "object", "additionalProperties": joint}, "controls": by_name},
        ["joints", "controls"],
    )
    vector = record({"pose": pose, "strengths": by_name}, ["pose", "strengths"])
    named = record(
        {
            "kind": {"enum": ["pose", "sample"]},
            "name": {"type": "string"},
            "words": {"type": "string"},
            "pose": {"anyOf": [pose, {"type": "null"}]},
        },
        ["kind", "name", "words", "pose"],
    )
    rows = {"type": "integer", "minimum": 0}
    skin = record(
        {
            "vertex_count": rows,
            "fingerprint": {"type": "string"},
            "tolerance": {"type": "number", "minimum": 0},
            "vertices": {"type": "array", "items": rows, "uniqueItems": True},
        },
        ["vertex_count", "fingerprint", "tolerance", "vertices"],
    )
    posed = record(
        {"vector": rows, "positions": {"type": "array", "items": numbers(3)}},
        ["vector", "positions"],
    )
    source = record({"file": {"type": "string"}, "sha256": {"type": "string"}}, ["file", "sha256"])
    made_from = record(
        {
            "plica": {"type": "string"},
            "spec_sha256": {"type": "string"},
            "sources": {"type": "array", "items": source},
        },
        ["plica", "spec_sha256", "sources"],
    )
    top = {
        "format": {"const": VECTORS_FORMAT},
        "version": {"const": VECTORS_VERSION},
        "minor": {"type": "integer", "minimum": 0},
        "build": {"type": ["string", "null"]},
        "made_from": {"anyOf": [made_from, {"type": "null"}]},
        "character": {"type": "string"},
        "tolerance": {"type": "number", "exclusiveMinimum": 0},
        "vectors": {"type": "array", "items": vector},
        "named_poses": {"type": "array", "items": named},
        "skin": {"anyOf": [skin, {"type": "null"}]},
        "posed_vertices": {"type": "array", "items": posed},
    }
    described = schema_head(
        "vectors",
        VECTORS_VERSION,
        "Plica test vectors",
        "Poses of a character, the strengths that they must give, and where its skin stands then.",
    )
    return described | record(top, list(top))

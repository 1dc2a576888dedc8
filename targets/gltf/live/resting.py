"""Where joints stand in the file, in its own numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from plica.rig.rig import Rig
from plica.skeleton.algebra import Quaternion, normalised
from plica.skeleton.skeleton import ORIGIN, UNSCALED, LocalTransform
from plica.targets.gltf.additions import Document

_SAME: Final = 1e-5
"""How far a file's numbers may be from the rig's, which were made from them, in the components of rotations."""


def neutral_in_file(
    document: Document, rig: Rig, joints: Mapping[str, int], metres: float
) -> dict[str, LocalTransform]:
    """Each joint in the neutral stance in the file's own numbers; `metres`: in one length of the file.

    Of a character whose stance is the file's rest these are the numbers that stand in its nodes.
    """
    result = {}
    for joint in rig.skeleton:
        own = _local(document["nodes"][joints[joint.name]])
        if joint.neutral != joint.rest or own is None or not _alike(own.rotation, joint.rest.rotation):
            own = _in_file(joint.neutral, metres)
        result[joint.name] = own
    return result


def with_parts(document: Document, rig: Rig, joints: Mapping[str, int], metres: float, read: Iterable[str]) -> Document:
    """The document with translation, rotation and scale at those of its nodes whose parts are read, for a matrix.

    The object model of glTF 2.0 has no parts for a node that has a matrix.
    """
    by_name = {joint.name: joint for joint in rig.skeleton}
    nodes = list(document["nodes"])
    for name in sorted(read):
        node = nodes[joints[name]]
        if "matrix" in node:
            placed = _in_file(by_name[name].rest, metres)
            kept = {key: value for key, value in node.items() if key != "matrix"}
            nodes[joints[name]] = {**kept, **{part: list(value) for part, value in placed._asdict().items()}}
    return {**document, "nodes": nodes}


def _local(node: Mapping[str, object]) -> LocalTransform | None:
    """A node's parts; None where it has a matrix."""
    if "matrix" in node:
        return None
    translation, rotation, scale = (
        _numbers(node.get(part), default)
        for part, default in (("translation", ORIGIN), ("rotation", (0.0, 0.0, 0.0, 1.0)), ("scale", UNSCALED))
    )
    x, y, z, w = rotation
    a, b, c = scale
    return LocalTransform((translation[0], translation[1], translation[2]), (x, y, z, w), (a, b, c))


def _numbers(value: object, default: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(float(part) for part in value) if isinstance(value, list) else default


def _alike(own: Quaternion, other: Quaternion) -> bool:
    pairs = zip(normalised(own), normalised(other), strict=True)
    return any(own) and all(abs(a - b) <= _SAME for a, b in pairs)


def _in_file(placed: LocalTransform, metres: float) -> LocalTransform:
    x, y, z = placed.translation
    return placed._replace(translation=(x / metres, y / metres, z / metres))

"""What travels along with a posed mesh: which character, pose, shapes and neutral it was made of.

OBJ files hold it as a comment, glTF in `asset.extras`, OpenUSD in the layer's custom data, NPZ as an array; as programs
drop what they do not know, it also stands beside the mesh as a file of its own (`elbow.obj`, `elbow.pose.json`).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from plica.evaluate.poses import JointPlacement, SparsePose, sparse_pose
from plica.readers.gltf_document import content
from plica.readers.model_outline import UnreadableModel

VERSION: Final = 1
KEY: Final = "plica_pose"
"""The key that the record has in files that hold other things too."""
ENDING: Final = ".pose.json"
UpAxis = Literal["y", "z"]


@dataclass(frozen=True)
class PoseRecord:
    """How a posed mesh was made.

    said: the pose in the words of the language, or where it was taken from. pose: joints and controls that are not at
    rest. shapes: strengths of the shapes that were on, by output name. neutral: the fingerprint of the undeformed mesh.
    vertices: of the file. welded: whether they are welded points. metres: what one length of the file is; up: the axis
    that points up in it.
    """

    character: str
    shape: str | None
    said: str
    pose: SparsePose
    shapes: Mapping[str, float]
    neutral: str
    vertices: int
    welded: bool = False
    metres: float = 1.0
    up: UpAxis = "y"
    tool: str = field(default="")

    def plain(self) -> dict[str, Any]:
        """The record as plain data."""
        return {
            KEY: VERSION,
            "character": self.character,
            "shape": self.shape,
            "pose": {"said": self.said, **plain_pose(self.pose)},
            "shapes": dict(self.shapes),
            "neutral": self.neutral,
            "vertices": self.vertices,
            "welded": self.welded,
            "metres": self.metres,
            "up": self.up,
            "tool": self.tool,
        }

    def text(self) -> str:
        """The record as a line of JSON."""
        return json.dumps(self.plain(), ensure_ascii=True, allow_nan=False)


def record_of(plain: object) -> PoseRecord:
    """The record that plain data spell. Raises UnreadableModel."""
    try:
        return _record_of(plain)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise UnreadableModel("it is no record of a posed mesh as `plica pose` writes it") from error


def read_record(path: Path) -> PoseRecord:
    """The record in a file of its own. Raises UnreadableModel."""
    try:
        return record_of(json.loads(content(path)))
    except (ValueError, RecursionError) as error:
        raise UnreadableModel("it is no record of a posed mesh: it is not JSON") from error


def companion_of(path: Path) -> Path:
    """Where the record of a mesh stands beside it."""
    return path.with_name(path.stem + ENDING)


def _record_of(plain: Any) -> PoseRecord:
    if plain[KEY] != VERSION:
        raise UnreadableModel(f"it is a record of version {plain[KEY]!r}, this Plica knows {VERSION}")
    if plain["up"] not in ("y", "z") or not 0.0 < float(plain["metres"]) < 1e6:
        raise ValueError
    shape = plain["shape"]
    return PoseRecord(
        character=_text(plain["character"]),
        shape=None if shape is None else _text(shape),
        said=_text(plain["pose"]["said"]),
        pose=sparse_pose(plain["pose"]["joints"], plain["pose"]["controls"]),
        shapes={_text(name): float(amount) for name, amount in plain["shapes"].items()},
        neutral=_text(plain["neutral"]),
        vertices=int(plain["vertices"]),
        welded=bool(plain["welded"]),
        metres=float(plain["metres"]),
        up=plain["up"],
        tool=_text(plain.get("tool", "")),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def plain_pose(pose: SparsePose) -> dict[str, Any]:
    """A pose as plain data, as `plica.pose` takes it."""
    joints = {name: _plain_placement(placement) for name, placement in pose.joints.items()}
    return {"joints": joints, "controls": dict(pose.controls)}


def _plain_placement(placement: JointPlacement) -> dict[str, list[float]]:
    parts = {"rotation": placement.rotation, "translation": placement.translation, "scale": placement.scale}
    return {name: list(value) for name, value in parts.items() if value is not None}

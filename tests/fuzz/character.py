"""A character of a few dozen vertices with everything that a spec can name, for seeds and for whole commands."""

from __future__ import annotations

import base64
import io
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from plica.mesh.npz import written
from tests.fuzz.mutate import glb
from tests.support.meshes import Buffers

RINGS, AROUND = 6, 4
JOINTS = ("spine", "upperarm_lf", "lowerarm_lf", "upperarm_rt", "lowerarm_rt")
COUNT = 2 * RINGS * AROUND

SPEC = """plica 1
character wren "Wren at the river post" {
    geometry   "wren.glb" mesh "skin"
    symmetry   across x
    left       "*_lf"
    right      "*_rt"
}
use "limb.plica" as elbow with { joint = lowerarm   reach = 100 deg }
region forearm both { skin of lowerarm   feather 10 mm }
region patch   both { painted "patch.png" }
control mood        { range 0 .. 1   rest 0 }
driver cheer        { reads control mood   span 0 .. 1   curve ease-in }
combine both_of_them both = greatest(elbow_bend, cheer)
field shoulder both {
    reads   rotation of upperarm
    sample  raised   at about z 80 deg
    sample  forward  at about y 70 deg
}
shape hold both { sculpt "hold.npz" posed at elbow_bend 1   within forearm   follows elbow_bend }
shape lift both { sculpt "lift.obj"   follows both_of_them }
shape puff      { morph "puff"   follows cheer }
detail fur { relaxed "relaxed.png"   contracted "contracted.png"   budget 1 MiB }
fold lines both { in fur   area patch   follows elbow_bend   tolerance 50 % }
pose bent both { at elbow_bend 1 }
expect both { volume of forearm within 90 %    over elbow_bend }
expect both { crossing of forearm none         over pose bent }
expect both { reach elbow_bend                 over clip "rounds.bvh" }
expect      { rest }
"""
LIMB = """plica 1
parameter joint
parameter reach = 130 deg { note "how far it bends" }
driver bend both { reads rotation about z of {joint}   span 0 deg .. {reach}   curve 0 0, 0.5 0.35, 1 1 }
"""
CLIP = """HIERARCHY
ROOT spine
{
OFFSET 0 0 0
CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
JOINT upperarm_lf
{
OFFSET 0.1 0 0
CHANNELS 3 Zrotation Xrotation Yrotation
JOINT lowerarm_lf
{
OFFSET 0.4 0 0
CHANNELS 3 Zrotation Xrotation Yrotation
End Site
{
OFFSET 0.4 0 0
}
}
}
}
MOTION
Frames: 2
Frame Time: 0.041667
0 0 0 0 0 0 0 0 0 0 0 0
0 0.1 0 0 5 0 10 0 0 90 0 0
"""


def _arms() -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Positions (v, 3), texture coordinates (v, 2) and triangles (t, 3) of two tubes, mirrored across x = 0."""
    turn = np.arange(AROUND) * 2 * np.pi / AROUND
    along = np.linspace(0.1, 0.9, RINGS)
    ring = np.stack([np.zeros(AROUND), 0.05 * np.cos(turn), 0.05 * np.sin(turn)], axis=1)
    left = (ring[None] + np.stack([along, 0 * along, 0 * along], axis=1)[:, None]).reshape(-1, 3)
    uv = np.stack(np.meshgrid(np.arange(AROUND) / 8, along / 2), axis=-1).reshape(-1, 2)
    number = np.arange(RINGS * AROUND).reshape(RINGS, AROUND)
    a, b = number[:-1], np.roll(number[:-1], -1, axis=1)
    c, d = number[1:], np.roll(number[1:], -1, axis=1)
    faces = np.concatenate([np.stack(corners, -1).reshape(-1, 3) for corners in ((a, b, d), (a, d, c))])
    positions = np.concatenate([left, left * (-1.0, 1.0, 1.0)])
    return (
        positions,
        np.concatenate([uv, uv + np.array([0.5, 0.0])]),
        np.concatenate([faces, faces[:, ::-1] + len(left)]),
    )


def model() -> tuple[dict[str, Any], bytes]:
    """The glTF document of the character, with a clip and a morph target, and its buffer."""
    positions, uv, triangles = _arms()
    buffers = Buffers()
    share = np.clip((np.abs(positions[:, 0]) - 0.5) / 0.2 + 0.5, 0.0, 1.0)
    side = np.where(positions[:, :1] > 0, 1, 3)
    joints = np.concatenate([side, side + 1, 0 * side, 0 * side], axis=1)
    weights = np.stack([1 - share, share, 0 * share, 0 * share], axis=1)
    low, high = positions.min(axis=0).tolist(), positions.max(axis=0).tolist()
    attributes = {
        "POSITION": buffers.add(positions, min=low, max=high),
        "NORMAL": buffers.add(np.tile([0.0, 1.0, 0.0], (COUNT, 1))),
        "TEXCOORD_0": buffers.add(uv),
        "JOINTS_0": buffers.add(joints, np.uint8),
        "WEIGHTS_0": buffers.add(weights),
    }
    primitive = {
        "attributes": attributes,
        "indices": buffers.add(triangles.ravel(), np.uint16),
        "targets": [{"POSITION": buffers.add(np.full((COUNT, 3), 0.01))}],
    }
    binds = np.repeat(np.eye(4)[np.newaxis], len(JOINTS), axis=0)
    binds[1:, 0, 3] = (-0.1, -0.5, 0.1, 0.5)
    turned = np.array([[0, 0, 0, 1], [0, 0, np.sin(0.8), np.cos(0.8)]])
    sampler = {"input": buffers.add([0.0, 0.5]), "output": buffers.add(turned), "interpolation": "LINEAR"}
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0, 5]}],
        "nodes": [
            {"name": "spine", "children": [1, 3]},
            {"name": "upperarm_lf", "translation": [0.1, 0.0, 0.0], "children": [2]},
            {"name": "lowerarm_lf", "translation": [0.4, 0.0, 0.0]},
            {"name": "upperarm_rt", "translation": [-0.1, 0.0, 0.0], "children": [4]},
            {"name": "lowerarm_rt", "translation": [-0.4, 0.0, 0.0]},
            {"name": "skin", "mesh": 0, "skin": 0},
        ],
        "meshes": [{"name": "skin", "primitives": [primitive], "extras": {"targetNames": ["puff"]}}],
        "skins": [{"joints": list(range(len(JOINTS))), "inverseBindMatrices": buffers.add(binds)}],
        "animations": [
            {"name": "rounds", "samplers": [sampler],
             "channels": [{"sampler": 0, "target": {"node": 2, "path": "rotation"}}]}
        ],
        "buffers": [{"byteLength": len(buffers.data)}],
        "bufferViews": buffers.views,
        "accessors": buffers.accessors,
    }  # fmt: skip
    return document, buffers.data


def as_gltf() -> bytes:
    """The model as one JSON document."""
    document, data = model()
    document["buffers"][0]["uri"] = "data:;base64," + base64.b64encode(data).decode()
    return json.dumps(document).encode()


def as_glb() -> bytes:
    """The model as one binary file."""
    document, data = model()
    return glb([(0x4E4F534A, json.dumps(document).encode()), (0x004E4942, data)])


def image(mode: str, size: int = 8, form: str = "PNG", **how: Any) -> bytes:
    """A small picture with a slope in it."""
    slope = Image.linear_gradient("L").resize((size, size))
    held = io.BytesIO()
    (slope.convert("RGB").convert(mode) if mode not in ("I;16", "F") else slope.convert(mode)).save(held, form, **how)
    return held.getvalue()


def normals(tilt: int) -> bytes:
    """A normal map of one direction, turned out of the flat one by so many steps of 127."""
    held = io.BytesIO()
    up = round(127.5 + (127.0**2 - tilt**2) ** 0.5)
    Image.new("RGB", (16, 16), (128 + tilt, 128, up)).save(held, "PNG")
    return held.getvalue()


def sculpt() -> bytes:
    """Offsets of some vertices of the left arm."""
    count = RINGS * AROUND
    offsets = np.zeros((count, 3), "<f4")
    offsets[:, 1] = 0.01
    return written({"indices": np.arange(count, dtype="<i4"), "offsets": offsets, "vertex_count": np.array(COUNT)})


def obj() -> bytes:
    """The character's mesh, its left arm moved a little."""
    positions, _, triangles = _arms()
    moved = positions + np.where(positions[:, :1] > 0, 0.005, 0.0)
    lines = [f"v {x:g} {y:g} {z:g}" for x, y, z in moved] + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in triangles]
    return ("\n".join(lines) + "\n").encode()


@cache
def files() -> dict[str, bytes]:
    """The spec and everything that it names, by file name."""
    return {
        "relaxed.png": normals(0),
        "contracted.png": normals(30),
        "wren.plica": SPEC.encode(),
        "limb.plica": LIMB.encode(),
        "wren.glb": as_glb(),
        "rounds.bvh": CLIP.encode(),
        "hold.npz": sculpt(),
        "lift.obj": obj(),
        "patch.png": image("L"),
    }


def put_down(folder: Path) -> Path:
    """All the files in a folder; gives the spec's path."""
    for name, content in files().items():
        (folder / name).write_bytes(content)
    return folder / "wren.plica"
